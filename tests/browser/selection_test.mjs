// Choosing what is looked at: time, altitude, and what it is held against.
import assert from "node:assert/strict";
import { describe, it } from "node:test";
import {
  address_is,
  asks,
  counts,
  eventually,
  is_visible,
  says,
  settled,
  visit,
} from "./visit.mjs";

describe("a selection", () => {
  it("of time is pulled on the strip, and asked for", () =>
    visit({}, async (page, mock) => {
      await settled(page); // answers above the strip move it away from under the pointer
      const stage = page.locator(".strip-stage");
      await stage.scrollIntoViewIfNeeded();
      const box = await stage.boundingBox();
      await page.mouse.move(box.x + box.width * 0.3, box.y + 30);
      await page.mouse.down();
      await page.mouse.move(box.x + box.width * 0.5, box.y + 30, { steps: 4 });
      await page.mouse.up();
      await address_is(page, /from=2026-03-0\d.*to=2026-03-0\d/);
      await is_visible(page, ".brush");
      await eventually(async () =>
        assert.notEqual(await page.locator(".time input").first().inputValue(), ""),
      );
      await asks(mock, "/api/reach", /from=.*to=/);
    }));

  it("of the last day counts back from the end of the record", () =>
    visit({}, async (page, mock) => {
      await page.getByRole("button", { name: "Day", exact: true }).click();
      await address_is(page, "#range=day");
      await is_visible(page, ".brush");
      await asks(mock, "/api/verdict", /from=2026-03-07T00:00:00/);
    }));

  it("is held against another: words, difference and both outlines", () =>
    visit({}, async (page, mock) => {
      await page.getByLabel("Compare with").selectOption("antenna=spider");
      await page.waitForSelector(".compare .gain-line");
      await page.waitForSelector(".reach-map .against-line", { state: "attached" });
      await says(page, ".compare .strong", /\+1\.3\sdB/);
      await says(page, ".compare .advice", /one after the other/);
      await asks(mock, "/api/compare", /^\?a=antenna=collinear&b=antenna=spider$/);
    }));

  it("is held against another as a difference map, which the address keeps", () =>
    visit({ hash: "#against=antenna%3Dspider" }, async (page, mock) => {
      await page.getByRole("button", { name: "Difference" }).click();
      await page.waitForSelector(".reach-map .differs.better", { state: "attached" });
      await says(page, ".legend", /Hears better[^]*No clear difference/);
      await counts(page, ".reach-map .field", 0);
      await address_is(page, /versus=difference/);
      await page.reload();
      await page.waitForSelector(".reach-map .differs.better", { state: "attached" });
    }));

  it("of time is typed, and the record's own ends are no choice", () =>
    visit({}, async (page) => {
      const from = page.locator(".time-inputs input").first();
      await eventually(async () => assert.equal(await from.inputValue(), "2026-03-01T00:00"));
      await from.fill("2026-03-03T06:00");
      await address_is(page, "#from=2026-03-03T06%3A00%3A00Z");
      await from.fill("2026-03-01T00:00");
      await address_is(page, "");
    }));

  it("of an altitude band redraws the reach", () =>
    visit({ hash: "#bearing=10" }, async (page) => {
      const outline = () => page.locator(".reach-map .reach-line").getAttribute("d");
      const before = await outline();
      await page.getByLabel("Altitude", { exact: true }).selectOption("0");
      await address_is(page, /band=0/);
      await eventually(async () => assert.notEqual(await outline(), before));
    }));
});
