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
        assert.notEqual(await page.locator("#select-from").inputValue(), "2026-03-01 00:00"),
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

  it("is held against another in a view of its own, which the address keeps", () =>
    visit({}, async (page, mock) => {
      await page.getByLabel("Compare with").selectOption("antenna=spider");
      await page.waitForSelector(".compare .gain-line");
      await page.waitForSelector(".compare .reach-map .against-line", { state: "attached" });
      await says(page, ".compare .sentence", /^collinear hears better than spider by \+1\.3\sdB/);
      await says(page, ".compare .advice", /one after the other/);
      await says(page, ".compare .legend", /Reach of collinear\s+Reach of spider/);
      assert.doesNotMatch(await page.locator(".compare").innerText(), /\bthe other\b hears/i);
      await counts(page, ".compare .field", 0);
      await asks(mock, "/api/compare", /^\?a=antenna=collinear&b=antenna=spider$/);
      await address_is(page, "#against=antenna%3Dspider");
      await page.getByRole("button", { name: "End the comparison" }).click();
      await is_visible(page, ".desk");
    }));

  it("is held against another over the same time, or over all of its own", () =>
    visit({ hash: "#range=day&against=antenna%3Dspider" }, async (page, mock) => {
      const day = "from=2026-03-07T00:00:00.000Z";
      await asks(mock, "/api/compare", new RegExp(`a=[^&]*${day}&b=antenna=spider,${day}`));
      await page.getByRole("button", { name: "All its time" }).click();
      await asks(mock, "/api/compare", /b=antenna=spider$/);
      await address_is(page, /against_all=1/);
    }));

  it("is renewed each minute, the comparison with it", () =>
    visit({ hash: "#against=antenna%3Dspider", clock: true }, async (page, mock) => {
      await page.waitForSelector(".compare .gain-line");
      await settled(page);
      mock.answer("/api/compare", {
        ...mock.fixtures.compare(),
        difference_db: { value: -2, low: -3, high: -1 },
      });
      await page.clock.fastForward(61_000);
      await says(page, ".compare .sentence", /^spider hears better than collinear/);
    }));

  it("of time is typed, and the record's own ends are no choice", () =>
    visit({}, async (page) => {
      const from = page.locator("#select-from");
      await eventually(async () => assert.equal(await from.inputValue(), "2026-03-01 00:00"));
      const type = async (text) => {
        await from.fill(text);
        await from.blur();
      };
      await type("2026-03-03 06:00");
      await address_is(page, "#from=2026-03-03T06%3A00%3A00Z");
      await type("03/04/2026");
      await address_is(page, "#from=2026-03-03T06%3A00%3A00Z");
      await type("2026-03-01 00:00");
      await address_is(page, "");
    }));

  it("of an altitude band holds for outline, shading, ring, numbers and cut", () =>
    visit({ hash: "#bearing=10" }, async (page) => {
      const outline = () => page.locator(".reach-map .reach-line").getAttribute("d");
      const before = await outline();
      await page.getByLabel("Altitude", { exact: true }).selectOption("0");
      await address_is(page, /band=0/);
      await eventually(async () => assert.notEqual(await outline(), before));
      await counts(page, ".reach-map .field", 0);
      await counts(page, ".reach-map .states", 0);
      await says(page, ".headline", /0 to 1850\sm$/);
      await says(page, ".side-view .note", /^Only 0 to 1850\sm/);
    }));
});
