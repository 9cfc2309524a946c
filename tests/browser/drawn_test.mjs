// What is drawn, as it is seen: pixels of the shading, and whether things stay where they are.
import assert from "node:assert/strict";
import { describe, it } from "node:test";
import { desk, phone, settled, visit } from "./visit.mjs";

/** Colours of the page at some points, by a canvas in a page that may draw what it likes. */
async function pixels(page, points) {
  const png = (await page.screenshot()).toString("base64");
  const canvas = await page.context().newPage();
  try {
    return await canvas.evaluate(
      async ({ png, points }) => {
        const image = new Image();
        image.src = `data:image/png;base64,${png}`;
        await image.decode();
        const pen = new OffscreenCanvas(image.width, image.height).getContext("2d");
        pen.drawImage(image, 0, 0);
        return points.map(({ x, y }) => [...pen.getImageData(x, y, 1, 1).data].slice(0, 3));
      },
      { png, points },
    );
  } finally {
    await canvas.close();
  }
}

const shares = [0.1, 0.3, 0.5, 0.7, 0.9];
/** Every second ring of a bin, of known shares; the fifth sector is flown and never heard. */
const field = () => ({
  sector_deg: 30,
  range_step_km: 100,
  bins: [...shares, 0].map((share, i) => ({
    bearing_deg: 15 + 60 * i,
    range_km: 150,
    heard: share * 1000,
    expected: 1000,
  })),
});

/** Relative luminance (WCAG 2). */
const light = ([r, g, b]) =>
  [r, g, b].reduce((sum, value, i) => {
    const share = value / 255;
    const linear = share <= 0.04045 ? share / 12.92 : ((share + 0.055) / 1.055) ** 2.4;
    return sum + linear * [0.2126, 0.7152, 0.0722][i];
  }, 0);

describe("the shading", () => {
  for (const colorScheme of ["light", "dark"])
    it(`is the legend's colour for every share, in even steps of grey: ${colorScheme}`, () =>
      visit({ colorScheme, viewport: desk }, async (page, mock) => {
        mock.answer("/api/field", field());
        await page.reload();
        await settled(page);
        await page.locator(".map").scrollIntoViewIfNeeded();
        // Beside spokes, rings, names and outlines, whose lines would be hit else: the commonest of
        // a few points of the bin.
        const { left, top, size, px_per_km } = await page.evaluate(() => {
          const box = document.querySelector(".reach-map").getBoundingClientRect();
          const bin = document.querySelector(".reach-map .no-traffic");
          const px = Number(bin.getAttribute("r"));
          return { left: box.left, top: box.top, size: box.width, px_per_km: px / 200 };
        });
        const points = shares.flatMap((_, i) =>
          [-9, -6, -3, 3, 6, 9].flatMap((off_deg) =>
            [115, 125, 165, 175, 185].map((range_km) => {
              const angle = ((15 + 60 * i + off_deg) * Math.PI) / 180;
              const radius = range_km * px_per_km;
              return {
                x: Math.round(left + size / 2 + radius * Math.sin(angle)),
                y: Math.round(top + size / 2 - radius * Math.cos(angle)),
              };
            }),
          ),
        );
        const seen = await pixels(page, points);
        const per_share = seen.length / shares.length;
        const drawn = shares.map((_, i) => {
          const counts = new Map();
          for (const colour of seen.slice(i * per_share, (i + 1) * per_share))
            counts.set(String(colour), (counts.get(String(colour)) ?? 0) + 1);
          return [...counts]
            .sort((a, b) => b[1] - a[1])[0][0]
            .split(",")
            .map(Number);
        });
        const legend = await page.evaluate(() =>
          [...document.querySelectorAll(".legend rect.share")]
            .slice(0, 5)
            .map((rect) => getComputedStyle(rect).fill.match(/\d+/g).map(Number)),
        );
        assert.deepEqual(drawn, legend);
        // Lightness as it is perceived (CIE L*): each step goes the same way, by about as much.
        const lightness = drawn.map((colour) => 116 * Math.cbrt(light(colour)) - 16);
        const steps = lightness.slice(1).map((value, i) => value - lightness[i]);
        const least = Math.min(...steps.map(Math.abs));
        const most = Math.max(...steps.map(Math.abs));
        assert.equal(new Set(steps.map(Math.sign)).size, 1, String(lightness));
        assert.ok(least > 7 && most < 2 * least, String(lightness));
        assert.equal(await page.locator(".reach-map .share-silent").count(), 1);
      }));
});

describe("the first screen", () => {
  const watch = () => {
    globalThis.shifted = 0;
    new PerformanceObserver((list) => {
      for (const entry of list.getEntries()) globalThis.shifted += entry.value;
    }).observe({ type: "layout-shift", buffered: true });
  };
  for (const [name, options] of [
    ["on a desk", { viewport: { width: 1440, height: 900 } }],
    ["on a tablet", { viewport: { width: 768, height: 1024 } }],
    ["on a phone", { viewport: { width: 390, height: 844 } }],
    ["of nothing heard, on a phone", { viewport: phone, scenario: "empty" }],
  ])
    it(`stays where it is while answers come: ${name}`, () =>
      visit({ first: watch, ...options }, async (page) => {
        await settled(page);
        const shifted = await page.evaluate(() => globalThis.shifted);
        assert.ok(shifted < 0.05, String(shifted));
      }));

  it("of a phone has the map on it", () =>
    visit({ viewport: { width: 390, height: 844 } }, async (page) => {
      await settled(page);
      const { y } = await page.locator(".reach-map").boundingBox();
      assert.ok(y < 844, String(y));
    }));

  for (const width of [768, 1440])
    it(`has map and gain side by side as equals: ${width} pixels`, () =>
      visit({ viewport: { width, height: 900 } }, async (page) => {
        await settled(page);
        const [map, gain] = await Promise.all(
          [".reach-map", ".gain-rose"].map((picture) => page.locator(picture).boundingBox()),
        );
        assert.ok(Math.abs(map.width - gain.width) < 2 && Math.abs(map.y - gain.y) < 2);
      }));
});
