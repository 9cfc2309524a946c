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

/** By the one menu. @param what  as the menu calls it */
async function saved(page, what) {
  await settled(page);
  await page.getByText("Save", { exact: true }).click();
  const waiting = page.waitForEvent("download");
  await page.getByRole("button", { name: what }).click();
  return waiting;
}

describe("taking away", () => {
  it("a picture as SVG carries its styles and colours along", () =>
    visit({}, async (page) => {
      const download = await saved(page, "Reach and share heard: SVG");
      assert.equal(download.suggestedFilename(), "roundel-reach.svg");
      const text = await readFile(await download.path(), "utf8");
      assert.match(text, /^<svg[^>]*xmlns="http:\/\/www.w3.org\/2000\/svg"/);
      assert.match(text, /\.reach-line \{[^}]*stroke: rgb/);
      assert.doesNotMatch(text, /var\(--/);
    }));

  it("a picture as PNG is one", () =>
    visit({}, async (page) => {
      const download = await saved(page, "Gain by bearing: PNG");
      const bytes = await readFile(await download.path());
      assert.equal(bytes.subarray(1, 4).toString(), "PNG");
      assert.ok(bytes.readUInt32BE(16) > 500, "twice the pixels of the page");
    }));

  for (const hash of ["#bearing=67", "#against=antenna%3Dspider"])
    it(`every picture can be: ${hash}`, () =>
      visit({ hash }, async (page) => {
        await settled(page);
        const n = await page.locator(".picture:not(.sample):visible").count();
        assert.ok(n >= 4, `${n} pictures`);
        await page.getByText("Save", { exact: true }).click();
        await counts(page, ".menu button:text-is('SVG')", n);
        await counts(page, ".menu button:text-is('PNG')", n);
      }));

  it("a table as CSV has a line for each sector", () =>
    visit({}, async (page) => {
      const download = await saved(page, "Reach by sector as a table: CSV");
      const lines = (await readFile(await download.path(), "utf8")).trim().split("\r\n");
      assert.equal(lines.length, 73);
    }));

  it("a bearing's altitudes as CSV have both ends of each band", () =>
    visit({ hash: "#bearing=10" }, async (page) => {
      const download = await saved(page, "By altitude: CSV");
      const lines = (await readFile(await download.path(), "utf8")).trim().split("\r\n");
      assert.equal(lines[0], "altitude_low_ft,altitude_high_ft,reach_km,horizon_km,flights");
      assert.match(lines[1], /^0,6000,/);
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

  it("prints a page for the answer and one for its evidence, with every value and no control", () =>
    visit({}, async (page) => {
      await settled(page);
      const paper = (await page.pdf({ format: "A4", printBackground: true })).toString("latin1");
      assert.equal(paper.match(/\/Type \/Page\b/g).length, 2);
      await page.emulateMedia({ media: "print" });
      await is_visible(page, ".settings", false);
      await is_visible(page, ".selection", false);
      for (const shown of [".reach-map", ".gain-rose", ".conclusion .sentence", ".picture.cut"])
        await is_visible(page, shown);
      await says(page, ".whole", /Farthest\s+450\skm[^]*Least of its horizon\s+37%/);
    }));
});
