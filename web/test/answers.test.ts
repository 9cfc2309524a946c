import { describe, expect, it } from "vitest";
import * as fixtures from "../dev/fixtures";
import { plain_answers } from "../src/answers";
import type { Answer } from "../src/api";
import { empty_model, type Model } from "../src/model";
import { initial_state } from "../src/state";
import { compare_sentence } from "../src/views/compare";
import { side_sentences } from "../src/views/cut";
import { rising_reject, type Look } from "../src/views/live";
import { input_time } from "../src/views/selection";

const ok = <T>(value: T): Answer<T> => ({ kind: "ok", value });

function model(is_flat: boolean, change: Partial<Model> = {}): Model {
  return {
    ...empty_model,
    site: fixtures.site,
    trials: ok(fixtures.trials),
    reach: ok(fixtures.reach(is_flat)),
    verdict: ok(fixtures.verdict(is_flat)),
    compare: ok(fixtures.compare()),
    drift: ok(fixtures.drift()),
    ...change,
  };
}
const words = (of: Model, state = initial_state) =>
  plain_answers(of, state).map(({ word, tone }) => `${word} (${tone})`);

describe("the five answers", () => {
  it("tell a spoilt antenna", () => {
    expect(words(model(false))).toEqual([
      "Not round (bad)",
      "A wall (bad)",
      "As far as it should (good)",
      "Better than spider (good)",
      "It changed (bad)",
    ]);
  });
  it("tell a round one that has stayed as it was", () => {
    const drift = ok({ ...fixtures.drift(), changes: [] });
    expect(words(model(true, { drift })).filter((_, i) => [0, 4].includes(i))).toEqual([
      "Round (good)",
      "Still as it was (good)",
    ]);
  });
  it("do not know what is undecided, and wait for what is asked", () => {
    const undecided = { ...fixtures.verdict(), verdict: "undecided" as const };
    const of = model(false, { verdict: ok(undecided), drift: null });
    expect(words(of)[0]).toBe("Undecided (open)");
    expect(words(of)[4]).toBe("… (waiting)");
  });
  it("know nothing while nothing is heard, and wait for nothing", () => {
    const reach = ok({ ...fixtures.reach(), sectors: [] });
    const of = { ...empty_model, reach };
    expect(new Set(words(of))).toEqual(new Set(["Not known yet (open)"]));
  });
  it("call a shortfall on open bearings by its name, and leave walls out of it", () => {
    const reach = fixtures.reach();
    const deaf = (ratio: number) =>
      ok({ ...reach, sectors: reach.sectors.map((sector) => ({ ...sector, ratio })) });
    expect(words(model(false, { reach: deaf(0.7) }))[2]).toBe("Not as far as it should (bad)");
  });
});

describe("a comparison in one sentence", () => {
  const pair: [string, string] = ["collinear", "spider"];
  it("names both, the better one first", () => {
    expect(compare_sentence(fixtures.compare(), pair)).toBe(
      "collinear hears better than spider by +1.3\u00a0dB (+0.9 to +1.7\u00a0dB), one after the other.",
    );
    const turned = { ...fixtures.compare(), difference_db: { value: -1.3, low: -1.7, high: -0.9 } };
    expect(compare_sentence(turned, pair)).toMatch(/^spider hears better than collinear by \+1\.3/);
    const alike = { ...fixtures.compare(), difference_db: { value: 0.1, low: -0.4, high: 0.6 } };
    expect(compare_sentence(alike, pair)).toMatch(/no clear difference/);
  });
});

describe("from the side", () => {
  it("a lean and a reflection are told where they are known", () => {
    expect(side_sentences({ ...fixtures.verdict(), ...fixtures.side() }, "metric")).toEqual([
      "It leans 1.8° towards 070°\u202fENE (0.9 to 2.6).",
      "At 200\u2013240° flat ground throws back, 14\u00a0m below the antenna.",
    ]);
    expect(side_sentences({ ...fixtures.verdict(), lean: null }, "metric")).toEqual([]);
  });
});

describe("rejects that rise", () => {
  it("are named once they are many of what comes", () => {
    const looks: Look[] = [];
    const at = (received: number, no_altitude: number, now_s: number) =>
      rising_reject(looks, { received, rejects: { no_altitude, stale: 9 } }, now_s);
    expect(at(1000, 500, 0)).toBeNull();
    expect(at(1100, 505, 10)).toBeNull();
    expect(at(1200, 540, 20)).toEqual({ reason: "no_altitude", count: 40 });
    expect(at(9000, 540, 75)).toBeNull();
  });
});

describe("a time that is typed", () => {
  it.each([
    ["2026-03-01 14:05", "2026-03-01T14:05:00Z"],
    [" 2026-03-01 ", "2026-03-01T00:00:00Z"],
    ["", null],
    ["03/01/2026", undefined],
    ["2026-13-01", undefined],
  ])("%j", (text, time) => {
    expect(input_time(text)).toBe(time);
  });
});
