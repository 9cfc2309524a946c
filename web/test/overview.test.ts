import { describe, expect, it } from "vitest";
import * as fixtures from "../dev/fixtures";
import { empty_model, sectors_of, weakest_bearing_deg, type Model } from "../src/model";
import { overview, spans_of } from "../src/overview";

const model: Model = {
  ...empty_model,
  site: fixtures.site,
  reach: { kind: "ok", value: fixtures.reach() },
  verdict: { kind: "ok", value: fixtures.verdict() },
};

describe("the whole circle in a few lines", () => {
  it("joins neighbours of one state", () => {
    expect(spans_of(sectors_of(model), 5, "obstructed")).toEqual(["040–095°"]);
    expect(spans_of(sectors_of(model), 5, "unjudged")).toEqual(["245–265°"]);
  });
  it("joins across north", () => {
    // Where the others are: 040-095 obstructed, 140-190 signal, 245-265 unjudged.
    expect(spans_of(sectors_of(model), 5, "horizon")).toEqual(["095–140°", "190–245°", "265–040°"]);
  });
  it("counts every sector once, what wants looking at first", () => {
    const { states, n_sectors } = overview(model);
    expect(states[0]?.state).toBe("obstructed");
    expect(states.reduce((sum, state) => sum + state.n_sectors, 0)).toBe(n_sectors);
  });
  it("leads to the weakest bearing, which is behind the wall", () => {
    const weakest = weakest_bearing_deg(model) ?? NaN;
    expect(weakest).toBeGreaterThan(40);
    expect(weakest).toBeLessThan(95);
    expect(overview(model).weakest?.bearing_deg).toBe(weakest);
  });
  it("has nothing to say where nothing was heard", () => {
    expect(weakest_bearing_deg(empty_model)).toBeNull();
    expect(overview(empty_model)).toMatchObject({ farthest: null, weakest: null, states: [] });
  });
});
