// Journeys through the page with Chromium, against a roundeld made of fixtures (web/dev/mock.mjs).
// Run by ctest, or: cd web && npm run browser
import assert from "node:assert/strict";
import { readFile } from "node:fs/promises";
import { describe, it } from "node:test";
import {
  address_is,
  asks,
  counts,
  eventually,
  is_visible,
  phone,
  says,
  serious_violations,
  settled,
  text,
  visit,
  width_over,
} from "./visit.mjs";

describe("a first visit", () => {
  it("without a feed shows how to point one at roundeld", () =>
    visit({ scenario: "no_feed" }, async (page) => {
      await says(page, ".sentence", /Nothing heard yet/);
      await says(page, ".lessons", /\[\[feed\]\]/);
      assert.equal(await page.locator(".reach-line").getAttribute("d"), "");
    }));

  it("with a silent feed says since when", () =>
    visit({ scenario: "stalled" }, async (page) => {
      await says(page, ".lessons", /silent since 2026-03-07 23:47/);
    }));

  it("without altitude says what is missing", () =>
    visit({ scenario: "no_altitude" }, async (page) => {
      await says(page, ".lessons", /carries no altitude/);
    }));

  it("shows the verdict first, with its confidence, time and what is missing", () =>
    visit({}, async (page) => {
      await says(page, ".sentence", /not omnidirectional/);
      await says(page, ".basis", /95\s%.*2026-03-01 00:00/);
      await says(page, ".advice", /9 more hours/);
      await counts(page, "[role=status].sentence", 1);
    }));

  it("shows reach's own sentence where there is no verdict, and hides what is not offered", () =>
    visit({ scenario: "reach" }, async (page) => {
      await says(page, ".sentence", /Reaches 96\s%/);
      for (const hidden of [".gain", ".side-view", ".compare", ".time"])
        await is_visible(page, hidden, false);
    }));
});

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
        assert.match(await dial.getAttribute("aria-valuetext"), /^034°.*km$/),
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
      await says(page, "[aria-pressed=true]", "NM, ft");
      await says(page, ".compass", "All bearings");
    }));
});

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
      await says(page, ".legend", /better[^]*No clear difference/);
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

describe("live", () => {
  it("numbers move without redrawing the picture", () =>
    visit({}, async (page, mock) => {
      await settled(page);
      await page.evaluate(() => (document.querySelector(".reach-map").dataset.mark = "same"));
      const live = mock.live();
      live.feeds[0].received = 2_000_001;
      live.feeds[0].aircraft = 51;
      mock.tell(live);
      await says(page, ".feeds", /2\u202f000\u202f001/);
      await counts(page, ".reach-map[data-mark=same]", 1);
    }));

  it("an age grows while nothing is told", () =>
    visit({}, async (page) => {
      const age_s = async () => {
        const told = /last report (\d+)\ss ago/.exec(await text(page, ".feeds"));
        assert.notEqual(told, null);
        return Number(told[1]);
      };
      const before_s = await eventually(age_s);
      await eventually(async () => assert.ok((await age_s()) > before_s));
    }));

  it("a lost connection is shown, what was known stays, and it recovers", () =>
    visit({ may_complain: true }, async (page, mock) => {
      mock.drop();
      await page.waitForSelector(".notice:not([hidden])");
      await says(page, ".notice", /Connection to roundeld lost at/);
      await is_visible(page, ".reach-line");
      mock.pick_up();
      await page.waitForSelector(".notice", { state: "hidden" });
    }));
});

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

  it("a table as CSV has a line for each sector", () =>
    visit({ hash: "#table=1" }, async (page) => {
      await settled(page);
      const waiting = page.waitForEvent("download");
      await page.locator(".table.panel").getByRole("button", { name: "Save as CSV" }).click();
      const saved = await readFile(await (await waiting).path(), "utf8");
      assert.equal(saved.trim().split("\r\n").length, 73);
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
