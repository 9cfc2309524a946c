import { describe, expect, it } from "vitest";
import {
  apart_deg,
  bearing_of,
  compass_point,
  polar,
  sector_at,
  smooth_outline,
  stepped_outline,
  three_digits,
  wedge,
  wrap_deg,
} from "../src/geometry";

describe("a bearing", () => {
  // Four points of the compass, in SVG's coordinates: x to the right, y downward.
  it.each([
    ["north is up", 0, 0, -1],
    ["east is right", 90, 1, 0],
    ["south is down", 180, 0, 1],
    ["west is left", 270, -1, 0],
  ])("%s", (_, bearing_deg, x, y) => {
    const point = polar(bearing_deg, 1);
    expect(point.x).toBeCloseTo(x, 12);
    expect(point.y).toBeCloseTo(y, 12);
    expect(bearing_of({ x, y })).toBeCloseTo(bearing_deg, 12);
  });

  it("comes back from the point it leads to", () => {
    for (let bearing_deg = 0; bearing_deg < 360; bearing_deg += 7.5)
      expect(bearing_of(polar(bearing_deg, 3))).toBeCloseTo(bearing_deg, 9);
  });

  it("is 0 at the antenna, by convention", () => {
    expect(bearing_of({ x: 0, y: 0 })).toBe(0);
  });

  it.each([
    ["a whole turn", 360, 0],
    ["minus nothing", -0, 0],
    ["just left of north", -1, 359],
    ["two turns and a half", 900, 180],
    ["so little left of north that it rounds to a turn", -1e-15, 0],
  ])("wraps %s", (_, angle_deg, expected_deg) => {
    expect(wrap_deg(angle_deg)).toBe(expected_deg);
  });

  it("is apart from another by the smaller angle, over north too", () => {
    expect(apart_deg(350, 10)).toBe(20);
    expect(apart_deg(10, 350)).toBe(20);
    expect(apart_deg(0, 180)).toBe(180);
  });

  it("has three digits, and never reads 360", () => {
    expect(three_digits(5)).toBe("005");
    expect(three_digits(359.7)).toBe("000");
  });

  it("falls on the nearest of sixteen compass points", () => {
    expect(compass_point(0)).toBe("N");
    expect(compass_point(67)).toBe("ENE");
    expect(compass_point(350)).toBe("N");
    expect(compass_point(180)).toBe("S");
  });

  it("falls into the sector around it, over north too", () => {
    const sectors = [2.5, 7.5, 357.5].map((bearing_deg) => ({ bearing_deg }));
    expect(sector_at(sectors, 4.9)?.bearing_deg).toBe(2.5);
    expect(sector_at(sectors, 359)?.bearing_deg).toBe(357.5);
    expect(sector_at([], 0)).toBeNull();
  });

  it("falls into the sector that begins there, where two meet", () => {
    const sectors = [2.5, 267.5, 272.5, 357.5].map((bearing_deg) => ({ bearing_deg }));
    for (const list of [sectors, [...sectors].reverse()]) {
      expect(sector_at(list, 270)?.bearing_deg).toBe(272.5);
      expect(sector_at(list, 0)?.bearing_deg).toBe(2.5);
    }
  });
});

describe("an outline", () => {
  const quarter = [45, 135, 225, 315];

  it("keeps a sector's radius across its whole width", () => {
    const path = stepped_outline(
      quarter.map((bearing_deg) => ({ bearing_deg, radius: 10 })),
      90,
    );
    expect(path).toBe(
      "M0,-10A10,10 0 0 1 10,0L10,0A10,10 0 0 1 0,10L0,10A10,10 0 0 1 -10,0L-10,0A10,10 0 0 1 0,-10L0,-10",
    );
  });

  it("has a gap where nothing is known, and never a zero", () => {
    const path = stepped_outline(
      quarter.map((bearing_deg, i) => ({ bearing_deg, radius: i === 1 ? null : 10 })),
      90,
    );
    expect(path.match(/M/g)).toHaveLength(2);
    expect(path).not.toContain("L0,0");
  });

  it("is closed where every sector is known", () => {
    expect(smooth_outline(quarter.map((bearing_deg) => ({ bearing_deg, radius: 10 })))).toMatch(
      /Z$/,
    );
  });

  it("crosses north unbroken when the gap is elsewhere", () => {
    const radii = [10, null, 10, 10];
    const path = smooth_outline(
      [0, 90, 180, 270].map((bearing_deg, i) => ({ bearing_deg, radius: radii[i] ?? null })),
    );
    expect(path).toBe("M0,10L-10,0L0,-10");
  });

  it("of a slice runs clockwise and comes back", () => {
    expect(wedge(0, 90, 5, 10)).toBe("M0,-10A10,10 0 0 1 10,0L5,0A5,5 0 0 0 0,-5Z");
    expect(wedge(0, 90, 0, 10)).toBe("M0,-10A10,10 0 0 1 10,0L0,0Z");
  });
});
