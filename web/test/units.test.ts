import { describe, expect, it } from "vitest";
import { age_text, altitude_text, db_text, grouped, range_text, time_text } from "../src/units";

describe("a number", () => {
  it("shows ranges in kilometres or nautical miles of 1852 m", () => {
    expect(range_text("metric", 370.4)).toBe("370\u00a0km");
    expect(range_text("aviation", 370.4)).toBe("200\u00a0NM");
  });
  it("shows altitudes in metres or feet of 0.3048 m", () => {
    expect(altitude_text("aviation", 36012)).toBe("36\u202f000\u00a0ft");
    expect(altitude_text("metric", 36000)).toBe("10\u202f950\u00a0m"); // 10 972.8 m, to 50 m
  });
  it("groups digits from five on", () => {
    expect(grouped(9999)).toBe("9999");
    expect(grouped(12345)).toBe("12\u202f345");
    expect(grouped(1234567)).toBe("1\u202f234\u202f567");
    expect(grouped(-12345)).toBe("\u221212\u202f345");
  });
  it("has a sign in decibels, but nothing is not minus nothing", () => {
    expect(db_text(0.44)).toBe("+0.4\u00a0dB");
    expect(db_text(-1.25)).toBe("\u22121.3\u00a0dB");
    expect(db_text(-0.01)).toBe("0.0\u00a0dB");
  });
  it("is UTC where it is a time", () => {
    expect(time_text(0)).toBe("1970-01-01 00:00\u00a0UTC");
  });
  it.each([
    [-3, "0\u00a0s"],
    [4.4, "4\u00a0s"],
    [180, "3\u00a0min"],
    [7200, "2\u00a0h"],
    [5 * 86400, "5\u00a0d"],
  ])("is an age: %d s", (age_s, text) => {
    expect(age_text(age_s)).toBe(text);
  });
});
