import { describe, expect, it } from "vitest";
import { places, type Place } from "../../src/marks/places";
import { new_document } from "../document";

const doc = new_document();
/** A flat world: a degree is ten pixels, north up. */
const flat = (longitude_deg: number, latitude_deg: number) => ({
  x: longitude_deg * 10,
  y: -latitude_deg * 10,
});

function named(list: Place[], radius = 300, taken = [] as Parameters<typeof places>[4]) {
  return [...places(doc, list, flat, radius, taken).querySelectorAll("text")].map(
    (text) => text.textContent,
  );
}

describe("named places", () => {
  it("are the more populous ones where two would overlap", () => {
    const list: Place[] = [
      ["Large", 10, 10],
      ["Small", 10.5, 10],
      ["Far", -10, -10],
    ];
    expect(named(list)).toEqual(["Large", "Far"]);
  });
  it("leave room for the antenna and for what is written already", () => {
    const taken = [{ left: 90, right: 140, top: -110, bottom: -90 }];
    expect(named([["Home", 0, 0]])).toEqual([]);
    expect(named([["Under", 10, 10]], 300, taken)).toEqual([]);
  });
  it("do not stand across the rim", () => {
    expect(named([["Edge", 0, 28]])).toEqual([]);
    expect(named([["Inside", 0, 20]])).toEqual(["Inside"]);
  });
  it("are few on a small map", () => {
    const many: Place[] = Array.from({ length: 60 }, (_, i) => [
      "Abc",
      -20 + Math.floor(i / 6) * 4.4,
      -20 + (i % 6) * 8,
    ]);
    expect(named(many, 300).length).toBeGreaterThan(8);
    expect(named(many, 300).length).toBeLessThanOrEqual(14);
    expect(named(many, 130).length).toBeLessThanOrEqual(2);
  });
  it("are written away from the antenna", () => {
    const [east, west] = places(
      doc,
      [
        ["East", 10, 10],
        ["West", 10, -10],
      ],
      flat,
      300,
    ).querySelectorAll("text");
    expect(Number(east?.getAttribute("x"))).toBeGreaterThan(100);
    expect(Number(west?.getAttribute("x"))).toBeLessThan(-100);
  });
});
