import { describe, expect, it } from "vitest";
import { scenario, type ScenarioName } from "../dev/fixtures";
import type { ReachAnswer, SiteAnswer } from "../src/api";
import { empty_model, type Model } from "../src/model";
import { lessons } from "../src/views/empty";

function model_of(name: ScenarioName): Model {
  const { answers, live } = scenario(name);
  return {
    ...empty_model,
    site: answers["/api/site"] as SiteAnswer,
    reach: { kind: "ok", value: answers["/api/reach"] as ReachAnswer },
    live,
  };
}

describe("a lesson", () => {
  it("is not given while all is well", () => {
    expect(lessons(model_of("reach"))).toEqual([]);
  });
  it("is not given before anything is known", () => {
    expect(lessons(empty_model)).toEqual([]);
  });
  it("shows how to configure a feed when there is none", () => {
    expect(lessons(model_of("no_feed"))[0]?.snippet).toContain("[[feed]]");
  });
  it("names the feed that cannot connect, and for how long", () => {
    expect(lessons(model_of("empty"))[0]?.text).toContain(
      "“roof” has been trying to connect to 127.0.0.1:27411 for 3\u00a0min",
    );
  });
  it("shows the address that the feed has", () => {
    expect(lessons(model_of("empty")).at(-1)?.snippet).toBe("roundeld peek 127.0.0.1:27411");
  });
  it("says when altitude is missing", () => {
    expect(
      lessons(model_of("no_altitude"))
        .map(({ text }) => text)
        .join(),
    ).toContain("carries no altitude");
  });
  it("says since when a feed is silent, though there are data", () => {
    expect(lessons(model_of("stalled"))[0]?.text).toContain("silent since 2026-03-07 23:47");
  });
});
