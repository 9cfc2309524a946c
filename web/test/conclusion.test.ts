import { describe, expect, it } from "vitest";
import { reach, verdict } from "../dev/fixtures";
import { empty_model } from "../src/model";
import { as_of_s } from "../src/api";
import { as_of_text, lead_and_rest } from "../src/views/conclusion";
import { part_text, reach_sentence } from "../src/views/words";

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

describe("reach in a sentence", () => {
  const model = { ...empty_model, reach: { kind: "ok" as const, value: reach() } };
  it("leads with the unit that is chosen", () => {
    expect(reach_sentence(model, "metric")).toMatch(/^Farthest aircraft 402 km \(217 NM\)/);
    expect(reach_sentence(model, "aviation")).toMatch(/^Farthest aircraft 217 NM \(402 km\)/);
  });
});

describe("an answer of too much", () => {
  it("tells from when on it is", () => {
    expect(part_text({ only_from: "2026-12-19T07:00:00Z" })).toBe(
      "From 2026-12-19 07:00\u00a0UTC on, the newest part of what is chosen.",
    );
    expect(part_text({})).toBe("");
  });
});

describe("an answer of some time ago", () => {
  const date = "Thu, 26 Nov 2026 20:00:30 GMT";
  it("is of the time that roundeld's clock says", () => {
    expect(as_of_s(new Headers({ date, age: "630" }))).toBe(Date.UTC(2026, 10, 26, 19, 50) / 1000);
    expect(as_of_s(new Headers({ date, age: "0" }))).toBeNull();
    expect(as_of_s(new Headers({ date }))).toBeNull();
  });
  it("says so", () => {
    const at_s = Date.UTC(2026, 10, 26, 19, 50) / 1000;
    const older = { kind: "ok" as const, value: verdict(), as_of_s: at_s };
    expect(as_of_text({ verdict: older })).toEqual(["as of 2026-11-26 19:50\u00a0UTC"]);
    expect(as_of_text({ verdict: { kind: "ok", value: verdict() } })).toEqual([]);
  });
});
