// A bearing and how to choose it, and the address that keeps what was chosen.
import assert from "node:assert/strict";
import { describe, it } from "node:test";
import { address_is, asks, counts, eventually, phone, says, settled, visit } from "./visit.mjs";

describe("a bearing", () => {
  it("is chosen by mouse, and pointed at before", () =>
    visit({}, async (page) => {
      await settled(page); // answers above the map move it away from under the pointer
      const dial = page.locator(".map .dial");
      const { width, height } = await dial.boundingBox();
      await dial.hover({ position: { x: width * 0.75, y: height / 2 } });
      await says(page, ".degrees", "090°");
      await address_is(page, "");
      await dial.click({ position: { x: width / 2, y: height * 0.75 } });
      await page.mouse.move(1, 1);
      await says(page, ".degrees", "180°");
      await address_is(page, "#bearing=180");
    }));

  it("is chosen by touch", () =>
    visit({ viewport: phone, hasTouch: true, isMobile: true }, async (page) => {
      await settled(page);
      const dial = page.locator(".map .dial");
      const { width, height } = await dial.boundingBox();
      await dial.tap({ position: { x: width / 4, y: height / 2 } });
      await address_is(page, /^#bearing=270/);
      await says(page, ".degrees", "270°");
    }));

  it("is chosen by keys, and read out", () =>
    visit({}, async (page) => {
      const dial = page.locator(".map .dial");
      await dial.focus();
      for (const key of ["ArrowRight", "PageUp", "ArrowRight", "Shift+ArrowLeft"])
        await page.keyboard.press(key);
      await address_is(page, "#bearing=34");
      await eventually(async () =>
        assert.match(await dial.getAttribute("aria-valuetext"), /^34 degrees NE, .*km$/),
      );
      await page.keyboard.press("Escape");
      await address_is(page, "");
      await says(page, ".hint", "Point at the map, tap it, or use the arrow keys on it.");
    }));

  it("none is chosen at first: the circle in a few lines, and the cut of the weakest", () =>
    visit({}, async (page, mock) => {
      await says(page, ".whole", /Obstructed\s+11 of 72: 040–095°/);
      await page.waitForSelector(".picture.cut .horizon-line", { state: "attached" });
      await says(page, ".side-view .note", /No bearing is chosen/);
      await eventually(() => {
        const asked = mock.asked.filter(({ path }) => path === "/api/cut").at(-1);
        const bearing_deg = Number(new URLSearchParams(asked.query).get("bearing_deg"));
        assert.ok(bearing_deg > 40 && bearing_deg < 95, "behind the wall");
      });
      await page.locator(".whole button").first().click();
      await address_is(page, /^#bearing=/);
    }));

  it("that heard nothing is shown as absent, not as zero", () =>
    visit({ hash: "#bearing=255" }, async (page) => {
      await says(page, ".headline", "nothing heard");
      await counts(page, ".reach-map .hand-bead", 0);
    }));

  it("has its vertical cut, with its flights", () =>
    visit({ hash: "#bearing=67" }, async (page, mock) => {
      await page.waitForSelector(".picture.cut .elevation.cutoff");
      await says(page, ".side-view h2", /065–070°/);
      await counts(page, ".side-view .picture.hours", 1);
      await page.getByText("Flights (8)").click();
      await counts(page, ".side-view tbody tr", 8);
      await asks(mock, "/api/cut", /^\?antenna=collinear&bearing_deg=67\.5$/);
    }));

  it("that is pointed at brings its counts at that range, and its cut", () =>
    visit({ hash: "#bearing=67" }, async (page, mock) => {
      await settled(page);
      await says(page, ".counts", /^[\d\u202f]+ of [\d\u202f]+ reports heard \(\d+%\)$/);
      const dial = page.locator(".map .dial");
      const { width, height } = await dial.boundingBox();
      await dial.hover({ position: { x: width * 0.62, y: height / 2 } });
      await says(page, ".counts", /at this range$|^Nobody flew/);
      await asks(mock, "/api/cut", /bearing_deg=92\.5$/);
      await says(page, ".side-view h2", /090–095°/);
    }));
});

describe("the address", () => {
  it("restores bearing, units, theme, table and time", () =>
    visit(
      {
        hash: "#bearing=75&units=aviation&theme=dark&from=2026-03-02T00%3A00%3A00Z&to=2026-03-03T00%3A00%3A00Z&table=1",
      },
      async (page, mock) => {
        await says(page, ".degrees", "075°");
        await says(page, ".headline", /NM$/);
        await counts(page, "html[data-theme=dark]", 1);
        await counts(page, ".table.panel tbody tr", 72);
        const reach = mock.asked.filter(({ path }) => path === "/api/reach");
        assert.match(decodeURIComponent(reach[0].query), /from=2026-03-02T00:00:00Z&to=2026-03-03/);
      },
    ));

  it("follows when the hash is changed by hand or by history", () =>
    visit({ hash: "#bearing=75" }, async (page) => {
      await page.evaluate(() => (location.hash = "#bearing=120"));
      await says(page, ".degrees", "120°");
    }));

  it("keeps units and theme for the next visit, nothing else", () =>
    visit({ hash: "#bearing=75" }, async (page, mock) => {
      await page.getByRole("button", { name: "NM, ft" }).click();
      await page.goto(`${mock.url}?anew`);
      await page.waitForSelector(".legend li");
      await says(page, ".settings [aria-pressed=true]", "NM, ft");
      await says(page, ".compass", "All bearings");
    }));
});
