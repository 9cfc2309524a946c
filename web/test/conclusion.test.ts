import { describe, expect, it } from "vitest";
import { lead_and_rest } from "../src/views/conclusion";

describe("the conclusion", () => {
  it("leads with its first sentence", () => {
    expect(lead_and_rest("The antenna is omnidirectional. Its ripple is 0.8 dB.")).toEqual([
      "The antenna is omnidirectional.",
      "Its ripple is 0.8 dB.",
    ]);
  });
  it("does not end at a decimal point or an abbreviation that goes on small", () => {
    const text = "Ripple 2.9 dB, i.e. less than the tolerance.";
    expect(lead_and_rest(text)).toEqual([text, ""]);
  });
});
