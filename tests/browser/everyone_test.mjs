// For everyone: screen readers, keys, small screens, no motion, right to left.
import assert from "node:assert/strict";
import { describe, it } from "node:test";
import { address_is, counts, phone, settled, violations, visit, width_over } from "./visit.mjs";

/** In the page: texts that stand out from their ground by less than 4.5 to 1 (WCAG 2, 1.4.3). */
function faint_texts() {
  const pen = document.createElement("canvas").getContext("2d", { willReadFrequently: true });
  const rgba = (colour) => {
    pen.clearRect(0, 0, 1, 1);
    pen.fillStyle = colour;
    pen.fillRect(0, 0, 1, 1);
    return [...pen.getImageData(0, 0, 1, 1).data];
  };
  const light = (colour) => {
    const [r, g, b] = rgba(colour).map((value) => {
      const share = value / 255;
      return share <= 0.04045 ? share / 12.92 : ((share + 0.055) / 1.055) ** 2.4;
    });
    return 0.2126 * r + 0.7152 * g + 0.0722 * b;
  };
  const ground_of = (element) => {
    for (let at = element; at !== null; at = at.parentElement) {
      const colour = getComputedStyle(at).backgroundColor;
      if (rgba(colour)[3] === 255) return colour;
    }
    return "white";
  };
  const found = new Set();
  const words = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (words.nextNode()) {
    const element = words.currentNode.parentElement;
    if (words.currentNode.data.trim() === "" || !element.checkVisibility()) continue;
    if (element.matches("title, desc, option, noscript *")) continue;
    const style = getComputedStyle(element);
    const drawn = element.closest("svg") !== null;
    const halo = drawn && element.matches(".halo, .halo *");
    const ink = light(drawn ? style.fill : style.color);
    const ground = light(halo ? style.stroke : ground_of(element));
    const ratio = (Math.max(ink, ground) + 0.05) / (Math.min(ink, ground) + 0.05);
    if (ratio < 4.5) found.add(`${words.currentNode.data.trim()}: ${ratio.toFixed(2)}`);
  }
  return [...found];
}

/** In the page: what is to be hit and is lower or narrower than 44 pixels. */
const small_targets = () =>
  [...document.querySelectorAll("button, select, input, summary")]
    .filter((element) => element.checkVisibility() && !element.closest(".skip"))
    .map((element) => [element, element.getBoundingClientRect()])
    .filter(([, { width, height }]) => height < 43.5 || width < 43.5)
    .map(([element, { width, height }]) => `${element.textContent}: ${width} x ${height}`);

describe("everyone", () => {
  for (const [name, options] of [
    [
      "on a desk, light",
      {
        colorScheme: "light",
        hash: "#bearing=67&against=antenna%3Dspider&table=1",
      },
    ],
    ["on a desk, dark", { colorScheme: "dark", hash: "#bearing=67" }],
    ["on a phone", { viewport: phone, hash: "#bearing=255" }],
    ["with nothing heard", { scenario: "empty" }],
    ["who may set things", { scenario: "writable" }],
  ])
    it(`finds no barrier: ${name}`, () =>
      visit(options, async (page) => {
        await settled(page);
        assert.deepEqual(await violations(page), []);
        assert.deepEqual(await page.evaluate(faint_texts), []);
        assert.deepEqual(await page.evaluate(small_targets), []);
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
