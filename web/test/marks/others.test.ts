import { describe, expect, it } from "vitest";
import * as fixtures from "../../dev/fixtures";
import { cut } from "../../src/marks/cut";
import { field, share_step } from "../../src/marks/field";
import { gain_rose } from "../../src/marks/gain_rose";
import { band, db_scale } from "../../src/marks/radial";
import {
  drift_strip,
  hour_strip,
  strip_margin,
  time_axis,
  time_ticks,
} from "../../src/marks/strip";
import { new_document, structure } from "../document";

const doc = new_document();
const words = { title: "T", description: "D", id: "t" };
const day_s = 86400;

describe("the scale of decibels", () => {
  it("has its rings 3 dB apart, zero among them, and room below the least value", () => {
    const scale = db_scale([-4.2, 1.1], 100);
    expect(scale.rings_db).toEqual([-6, -3, 0, 3]);
    expect(scale.px(-4.2)).toBeGreaterThan(0);
    expect(scale.px(scale.high_db)).toBe(100);
  });
  it("takes wider steps for a wide span", () => {
    expect(db_scale([-30, 2], 100).rings_db).toEqual([-30, -24, -18, -12, -6, 0, 6]);
  });
});

describe("the gain rose", () => {
  const points = [0, 90, 180, 270].map((bearing_deg) => ({ bearing_deg, low: 10, high: 20 }));

  it("closes its band where every bearing is known", () => {
    expect(band(doc, points, "b").getAttribute("d")).toBe(
      "M0,-20L20,0L0,20L-20,0ZM-10,0L0,10L10,0L0,-10Z",
    );
  });
  it("leaves a gap in its band, and joins over north", () => {
    const gap = points.map((point, i) => (i === 2 ? { ...point, low: null, high: null } : point));
    expect(band(doc, gap, "b").getAttribute("d")).toBe("M-20,0L0,-20L20,0L10,0L0,-10L-10,0Z");
  });
  it("is drawn from the verdict", () => {
    const verdict = fixtures.verdict();
    const data = {
      sectors: verdict.sectors.map((sector) => ({
        bearing_deg: sector.bearing_deg,
        value_db: sector.gain_db,
        low_db: sector.gain_low_db,
        high_db: sector.gain_high_db,
        state: sector.state,
      })),
      sector_deg: 5,
      tolerance_db: verdict.tolerance_db,
    };
    expect(structure(gain_rose(doc, data, { size: 400, ...words }).element)).toMatchSnapshot();
  });
  it("marks what stands out of a difference", () => {
    const data = {
      sectors: [45, 135, 225, 315].map((bearing_deg, i) => ({
        bearing_deg,
        value_db: i,
        low_db: i - 1,
        high_db: i + 1,
        is_significant: i > 1,
      })),
      sector_deg: 90,
      tolerance_db: null,
    };
    const { element } = gain_rose(doc, data, { size: 400, ...words });
    expect(element.querySelector(".gain-marked")?.getAttribute("d")?.match(/L/g)).toHaveLength(1);
    expect(element.querySelector(".tolerance")).toBeNull();
  });
});

describe("the field", () => {
  it.each([
    [0, 5, 0],
    [0, 20, "silent"],
    [19, 100, 0],
    [20, 100, 1],
    [999, 1000, 4],
    [10, 10, 4],
  ])("puts %d heard of %d into step %s", (heard, expected, step) => {
    expect(share_step({ heard, expected })).toBe(step);
  });
  it("is one element for each step, however many bins", () => {
    const bins = Array.from({ length: 50 }, (_, i) => ({
      bearing_deg: i * 5,
      inner: 10,
      outer: 20,
      heard: i * 2,
      expected: 100,
    }));
    const drawn = [...field(doc, bins, 5, "t").querySelectorAll(".share")];
    expect(drawn).toHaveLength(6);
    expect(drawn.at(-1)?.getAttribute("fill")).toBe("url(#t-silent)");
  });
});

describe("the vertical cut", () => {
  const options = { width: 500, height: 300, units: "metric", ...words } as const;
  it("is drawn with horizon, elevations and the cut-off among them", () => {
    const element = cut(doc, fixtures.cut(67.5), options);
    expect(element.querySelectorAll(".elevation")).toHaveLength(5);
    expect(element.querySelectorAll(".elevation.cutoff")).toHaveLength(1);
    expect(structure(element)).toMatchSnapshot();
  });
  it("is an empty sheet with its horizon where nothing was heard", () => {
    const element = cut(doc, fixtures.cut(255), options);
    expect(element.querySelectorAll(".share")).toHaveLength(0);
    expect(element.querySelector(".horizon-line")?.getAttribute("d")).toMatch(/^M/);
  });
});

describe("the strip of time", () => {
  it("leads from time to place and back", () => {
    const axis = time_axis(0, 10 * day_s, 600);
    expect(axis.x(0)).toBe(strip_margin.left);
    expect(axis.x(10 * day_s)).toBe(600 - strip_margin.right);
    expect(axis.time(axis.x(4 * day_s))).toBeCloseTo(4 * day_s, 6);
    expect(axis.time(-50)).toBe(0);
  });
  it("labels no more than there is room for", () => {
    expect(time_ticks(time_axis(0, 7 * day_s, 1000))).toHaveLength(8);
    expect(time_ticks(time_axis(0, 365 * day_s, 360)).length).toBeLessThanOrEqual(5);
  });
  it("keeps the highest hour where hours are narrower than a pixel", () => {
    const axis = time_axis(0, 365 * day_s, 360);
    const bars = Array.from({ length: 365 * 24 }, (_, i) => ({
      time_s: i * 3600,
      heard: i === 4000 ? 1000 : 10,
    }));
    const element = hour_strip(doc, axis, bars, [], { height: 84, ...words });
    const d = element.querySelector(".hour-bars")?.getAttribute("d") ?? "";
    expect(d.match(/M/g)?.length).toBeLessThan(720);
    expect(d).toContain("v-56H"); // the whole height: 84 less 8 above and 20 below
  });
  it("shows hours without a report as a gap, and notes as flags", () => {
    const axis = time_axis(0, day_s, 600);
    const bars = [
      { time_s: 0, heard: 5 },
      { time_s: 7200, heard: 5 },
    ];
    const notes = [{ time_s: 3600, text: "reseated" }];
    const element = hour_strip(doc, axis, bars, notes, { height: 84, ...words });
    expect(element.querySelector(".flag title")?.textContent).toBe("reseated");
    expect(structure(element)).toMatchSnapshot();
  });
  it("shows drift with its intervals and its changes", () => {
    const { days, changes } = fixtures.drift();
    const seconds = (time: string) => Date.parse(time) / 1000;
    const axis = time_axis(seconds(days[0]?.date ?? ""), seconds(days[6]?.date ?? "") + day_s, 600);
    const element = drift_strip(
      doc,
      axis,
      days.map((day) => ({
        time_s: seconds(day.date) + day_s / 2,
        value_db: day.index_db,
        low_db: day.low_db,
        high_db: day.high_db,
      })),
      changes.map((change) => ({ time_s: seconds(change.time), text: "step" })),
      [],
      { height: 120, ...words },
    );
    expect(element.querySelectorAll(".drift-point")).toHaveLength(7);
    expect(structure(element)).toMatchSnapshot();
  });
});
