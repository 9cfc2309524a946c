import { describe, expect, it } from "vitest";
import { difference, difference_style } from "../../src/marks/difference";
import { new_document } from "../document";

const doc = new_document();

describe("the difference map", () => {
  it.each([
    ["better by a little", 1.2, true, "better"],
    ["better by much", 3, true, "much-better"],
    ["worse by a little", -1.2, true, "worse"],
    ["worse by much", -4, true, "much-worse"],
    ["not told apart, however large", 5, false, "same"],
    ["not known", null, false, null],
  ])("shows a sector that is %s", (_, difference_db, significant, style) => {
    expect(difference_style(difference_db, significant)).toBe(style);
  });

  it("draws nothing where nothing is known, and signs beside colours", () => {
    const sectors = [45, 135, 225, 315].map((bearing_deg, i) => ({
      bearing_deg,
      difference_db: [2, -2, 0.1, null][i] ?? null,
      significant: i < 2,
      outer: 100,
    }));
    const element = difference(doc, sectors, 90, "d");
    const drawn = [...element.querySelectorAll(".differs")];
    expect(drawn.map((path) => path.getAttribute("fill"))).toEqual([
      "url(#d-better)",
      null,
      "url(#d-worse)",
    ]);
    expect(element.querySelector("#d-better .difference-figure")?.getAttribute("d")).toContain("V");
  });
});
