// For everyone: screen readers, keys, small screens, no motion, right to left.
import assert from "node:assert/strict";
import { describe, it } from "node:test";
import {
  address_is,
  counts,
  phone,
  serious_violations,
  settled,
  visit,
  width_over,
} from "./visit.mjs";

describe("everyone", () => {
  for (const [name, options] of [
    [
      "on a desk, light",
      {
        colorScheme: "light",
        hash: "#bearing=67&against=antenna%3Dspider&versus=difference&table=1",
      },
    ],
    ["on a desk, dark", { colorScheme: "dark", hash: "#bearing=67&against=antenna%3Dspider" }],
    ["on a phone", { viewport: phone, hash: "#bearing=255" }],
    ["with nothing heard", { scenario: "empty" }],
    ["who may set things", { scenario: "writable" }],
  ])
    it(`finds no serious barrier: ${name}`, () =>
      visit(options, async (page) => {
        await settled(page);
        assert.deepEqual(await serious_violations(page), []);
      }));

  for (const [name, options] of [
    ["with everything shown", { hash: "#bearing=67&against=antenna%3Dspider&table=1" }],
    ["in nautical miles", { hash: "#bearing=67&units=aviation" }],
    ["with nothing heard", { scenario: "no_feed" }],
    ["who may set things", { scenario: "writable" }],
  ])
    it(`scrolls only downwards at 360 pixels: ${name}`, () =>
      visit({ viewport: phone, ...options }, async (page) => {
        await settled(page);
        assert.ok((await width_over(page)) <= 0);
      }));

  it("can skip to the conclusion by keyboard, and the address stays as it was", () =>
    visit({ hash: "#bearing=67" }, async (page) => {
      await page.keyboard.press("Tab");
      await counts(page, ".skip:focus", 1);
      await page.keyboard.press("Enter");
      await counts(page, "main:focus", 1);
      await address_is(page, "#bearing=67");
    }));

  it("is spared motion who wants none", () =>
    visit({ reducedMotion: "reduce" }, async (page) => {
      await settled(page);
      const moving = await page.evaluate(
        () =>
          [...document.querySelectorAll("*")].filter((element) => {
            const style = getComputedStyle(element);
            const lasts = `${style.transitionDuration} ${style.animationDuration}`;
            return /[1-9]/.test(lasts);
          }).length,
      );
      assert.equal(moving, 0);
    }));

  it("can read it from right to left", () =>
    visit({ viewport: phone, hash: "#bearing=67" }, async (page) => {
      await settled(page);
      await page.evaluate(() => (document.documentElement.dir = "rtl"));
      assert.ok((await width_over(page)) <= 0);
    }));
});
