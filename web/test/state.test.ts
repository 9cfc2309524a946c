import { describe, expect, it } from "vitest";
import {
  against_query,
  initial_state,
  read_state,
  selection_query,
  selection_word,
  write_state,
  type ViewState,
} from "../src/state";

const unknown = { end_s: null, antenna: null };

describe("the state in the address", () => {
  it("is nothing at a first visit", () => {
    expect(write_state(initial_state)).toBe("");
    expect(read_state("")).toEqual(initial_state);
  });

  it("comes back as it was written", () => {
    const state: ViewState = {
      ...initial_state,
      bearing_deg: 75,
      units: "aviation",
      theme: "dark",
      antenna: "long & thin",
      from: "2026-03-01T00:00:00Z",
      against: "antenna=spider",
      against_all: true,
      table: true,
    };
    expect(read_state(write_state(state))).toEqual(state);
  });

  it.each([
    ["an unknown key", "#colour=red"],
    ["a bearing that is none", "#bearing=north"],
    ["a negative bearing", "#bearing=-4"],
    ["unknown units", "#units=miles"],
    ["an empty antenna", "#antenna="],
  ])("ignores %s", (_, hash) => {
    expect(read_state(hash)).toEqual(initial_state);
  });

  it("brings a bearing of 360 to north", () => {
    expect(read_state("#bearing=360").bearing_deg).toBe(0);
  });

  it("asks the API only for what selects", () => {
    const query = selection_query({ ...initial_state, bearing_deg: 9, antenna: "spider" }, unknown);
    expect(query.toString()).toBe("antenna=spider");
  });

  it("takes the record's usual antenna, unless one or a trial is chosen", () => {
    const record = { ...unknown, antenna: "spider" };
    expect(selection_query(initial_state, record).toString()).toBe("antenna=spider");
    const other = { ...initial_state, antenna: "collinear" };
    expect(selection_query(other, record).toString()).toBe("antenna=collinear");
    expect(selection_query({ ...initial_state, trial: "2" }, record).toString()).toBe("trial=2");
  });

  it("counts a range of time back from the end of the record, not from today", () => {
    const end_s = Date.parse("2026-03-08T00:00:00Z") / 1000;
    const query = selection_query({ ...initial_state, range: "week" }, { ...unknown, end_s });
    expect(query.get("from")).toBe("2026-03-01T00:00:00.000Z");
    expect(query.get("to")).toBeNull();
  });

  it("holds a second selection against the same time, unless it has one of its own", () => {
    const day = new URLSearchParams({ antenna: "collinear", from: "2026-03-07" });
    const word = (against: string, is_all: boolean) =>
      selection_word(against_query(against, day, is_all));
    expect(word("antenna=spider", false)).toBe("antenna=spider,from=2026-03-07");
    expect(word("antenna=spider", true)).toBe("antenna=spider");
    expect(word("antenna=spider,from=2026-02-01", false)).toBe("antenna=spider,from=2026-02-01");
    expect(word("trial=1", false)).toBe("trial=1");
    expect(word("antenna=a=b", true)).toBe("antenna=a=b");
  });

  it("says a selection in one word, as compare takes it", () => {
    expect(selection_word(new URLSearchParams({ antenna: "spider", from: "2026-03-01" }))).toBe(
      "antenna=spider,from=2026-03-01",
    );
  });
});
