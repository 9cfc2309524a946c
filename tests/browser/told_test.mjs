// What the page tells of its own accord: at the first visit, and as reports come.
import assert from "node:assert/strict";
import { describe, it } from "node:test";
import { asks, counts, eventually, is_visible, says, settled, text, visit } from "./visit.mjs";

describe("a first visit", () => {
  it("without a feed shows how to point one at roundeld", () =>
    visit({ scenario: "no_feed" }, async (page) => {
      await says(page, ".conclusion .sentence", /Nothing heard yet/);
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

  it("before the first report comes to show it without being loaded anew", () =>
    visit({ scenario: "fresh" }, async (page, mock) => {
      await says(page, ".lessons", /trying to connect to 127\.0\.0\.1:27411/);
      await says(page, "[data-question=round] b", "Not known yet");
      assert.ok(!mock.asked.some(({ path }) => /verdict|drift|field/.test(path)), "of nothing");
      mock.show("judged");
      mock.tell({ ...mock.live(), last_commit_s: mock.live().last_commit_s + 1 });
      await says(page, "[data-question=round] b", "Not round");
      await asks(mock, "/api/verdict", /antenna=collinear/);
      await is_visible(page, ".lessons", false);
    }));

  it("shows the verdict first, with its confidence, time and what is missing", () =>
    visit({}, async (page) => {
      await says(page, "[data-question=round] b", "Not round");
      await says(page, ".conclusion .sentence", /not omnidirectional/);
      await says(page, ".basis", /95%.*2026-03-01 00:00/);
      await says(page, ".conclusion .advice", /9 more hours/);
      await counts(page, ".conclusion [role=status].sentence", 1);
    }));

  it("shows reach's own sentence where there is no verdict, and hides what is not offered", () =>
    visit({ scenario: "reach" }, async (page) => {
      await says(page, ".conclusion .sentence", /^Farthest aircraft 402\skm \(217\sNM\)/);
      for (const hidden of [".gain", ".side-view", ".compare", ".time"])
        await is_visible(page, hidden, false);
    }));
});

describe("answers", () => {
  it("lead to their evidence", () =>
    visit({}, async (page) => {
      await settled(page);
      for (const [question, place] of [
        ["round", "gain"],
        ["wall", "map"],
        ["far", "bearing"],
        ["still", "time"],
        ["against", "compare"],
      ]) {
        await page.locator(`[data-question=${question}]`).click();
        await eventually(async () =>
          assert.equal(await page.evaluate(() => document.activeElement.id), place),
        );
      }
      await is_visible(page, ".desk", false);
      await page.locator("[data-question=round]").click();
      await is_visible(page, ".compare", false);
      await is_visible(page, ".gain-rose");
    }));

  it("tell from the side what the verdict tells, and nothing where it does not", () =>
    visit({}, async (page, mock) => {
      const { verdict, side } = mock.fixtures;
      const bare = { elevation_deg: 2, gain_db: 1, se_db: 0.2, flights: 40 };
      mock.answer("/api/verdict", { ...verdict(), elevation: [bare] });
      await page.reload();
      await says(page, "[data-question=round] b", "Not round");
      await is_visible(page, ".elevation-part", false);
      mock.answer("/api/verdict", { ...verdict(), ...side() });
      await page.reload();
      await says(page, ".elevation-part .note", /leans 1\.8° towards 070°[^]*flat ground/);
      await is_visible(page, ".elevation-plot .gain-line");
    }));
});

describe("live", () => {
  it("shows who is in sight, and who is in a gap", () =>
    visit({}, async (page) => {
      await counts(page, ".sky .aircraft", 3);
      await counts(page, ".sky .aircraft.silent", 1);
      await says(page, ".sight", /3 in sight, 1 of them in a gap · farthest of the hour 401\skm/);
    }));

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
