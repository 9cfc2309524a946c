// What a reader sets, and what a reader takes away: trials and notes, pictures and tables.
import assert from "node:assert/strict";
import { readFile } from "node:fs/promises";
import { describe, it } from "node:test";
import { counts, eventually, is_visible, says, settled, visit } from "./visit.mjs";

describe("setting things", () => {
  it("is refused without a token, and says so", () =>
    visit({}, async (page) => {
      await says(page, ".trials .note", /read-only/);
      await is_visible(page, ".setting", false);
    }));

  it("sends the token in a header, and shows the answer's own words", () =>
    visit({ scenario: "writable" }, async (page, mock) => {
      await page.getByRole("button", { name: "Add note" }).click();
      await says(page, ".trials [role=status]", /note first/);
      await page.getByLabel("Note", { exact: true }).fill("cable dried");
      await page.getByLabel("Token").fill("let me in");
      await page.getByRole("button", { name: "Add note" }).click();
      await says(page, ".trials [role=status]", "Note added.");
      const sent = mock.asked.find(({ method }) => method === "POST");
      assert.equal(sent.path, "/api/notes");
      assert.equal(sent.headers.authorization, "Bearer let me in");
      assert.equal(sent.query, "");
    }));

  it("with a wrong token is refused in words", () =>
    visit({ scenario: "writable", may_complain: true }, async (page) => {
      await page.getByLabel("Token").fill("guess");
      await page.getByRole("button", { name: "Stop trial" }).click();
      await says(page, ".trials [role=status]", /not the token/);
    }));
});

describe("taking away", () => {
  it("a picture as SVG carries its styles and colours along", () =>
    visit({}, async (page) => {
      await settled(page);
      const waiting = page.waitForEvent("download");
      await page.locator(".map").getByRole("button", { name: "Save as SVG" }).click();
      const download = await waiting;
      assert.equal(download.suggestedFilename(), "roundel-reach.svg");
      const saved = await readFile(await download.path(), "utf8");
      assert.match(saved, /^<svg[^>]*xmlns="http:\/\/www.w3.org\/2000\/svg"/);
      assert.match(saved, /\.reach-line \{[^}]*stroke: rgb/);
      assert.doesNotMatch(saved, /var\(--/);
    }));

  it("a picture as PNG is one", () =>
    visit({}, async (page) => {
      await settled(page);
      const waiting = page.waitForEvent("download");
      await page.locator(".gain").getByRole("button", { name: "Save as PNG" }).click();
      const saved = await readFile(await (await waiting).path());
      assert.equal(saved.subarray(1, 4).toString(), "PNG");
      assert.ok(saved.readUInt32BE(16) > 500, "twice the pixels of the page");
    }));

  it("every picture can be", () =>
    visit({ hash: "#bearing=67&against=antenna%3Dspider" }, async (page) => {
      await settled(page);
      const n = await page.locator(".picture:not(.sample):visible").count();
      assert.ok(n >= 7, `${n} pictures`); // map, gain, comparison, cut, its hours, all hours, drift
      await counts(page, ".save button:text-is('Save as SVG'):visible", n);
      await counts(page, ".save button:text-is('Save as PNG'):visible", n);
    }));

  it("a table as CSV has a line for each sector", () =>
    visit({ hash: "#table=1" }, async (page) => {
      await settled(page);
      const waiting = page.waitForEvent("download");
      await page.locator(".table.panel").getByRole("button", { name: "Save as CSV" }).click();
      const saved = await readFile(await (await waiting).path(), "utf8");
      assert.equal(saved.trim().split("\r\n").length, 73);
    }));

  it("a bearing's altitudes as CSV have both ends of each band", () =>
    visit({ hash: "#bearing=10" }, async (page) => {
      await settled(page);
      const waiting = page.waitForEvent("download");
      await page.locator(".bearing-body").getByRole("button", { name: "Save as CSV" }).click();
      const saved = await readFile(await (await waiting).path(), "utf8");
      const lines = saved.trim().split("\r\n");
      assert.equal(lines[0], "altitude_low_ft,altitude_high_ft,reach_km,horizon_km,flights");
      assert.match(lines[1], /^0,10000,/);
      assert.equal(lines.length, 5);
    }));

  it("every picture has its numbers as a table", () =>
    visit({ hash: "#bearing=67" }, async (page) => {
      await settled(page);
      for (const [summary, head] of [
        [".side-view .behind >> nth=0", "Range, middle"],
        [".side-view .behind >> nth=2", "Hour"],
        [".time .behind >> nth=0", "Hour"],
        [".time .behind >> nth=1", "Day"],
      ]) {
        const details = page.locator(summary);
        await details.locator("summary").click();
        await says(details, "th", head);
        await eventually(async () =>
          assert.ok((await details.locator("tbody tr").count()) > 3, summary),
        );
      }
    }));

  it("prints the pictures and the verdict without the controls", () =>
    visit({ hash: "#bearing=67" }, async (page) => {
      await settled(page);
      await page.emulateMedia({ media: "print" });
      await is_visible(page, ".settings", false);
      await is_visible(page, ".reach-map");
      await is_visible(page, ".sentence");
    }));
});
