import { describe, expect, it } from "vitest";
import { key_bearing } from "../src/views/dial";

describe("a key on the dial", () => {
  it.each([
    ["starts at north", "ArrowRight", false, null, 0],
    ["goes clockwise by a sector", "ArrowRight", false, 90, 95],
    ["goes by a degree with shift", "ArrowRight", true, 90, 91],
    ["crosses north", "ArrowLeft", false, 0, 355],
    ["leaps thirty degrees", "PageDown", false, 10, 340],
    ["goes to the last degree", "End", false, 90, 359],
    ["lets go", "Escape", false, 90, null],
    ["is not ours", "a", false, 90, undefined],
  ])("%s", (_, key, has_shift, chosen_deg, expected_deg) => {
    expect(key_bearing(key, has_shift, chosen_deg, 5)).toBe(expected_deg);
  });
});
