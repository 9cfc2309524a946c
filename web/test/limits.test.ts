import { describe, expect, it } from "vitest";
import type { ExpectAnswer } from "../src/api";
import { empty_model, limits_of } from "../src/model";

const answer: ExpectAnswer = {
  antenna_m: 22,
  altitudes: [{ altitude_ft: 38000, horizon_km: 453 }],
  bearings: [
    {
      bearing_deg: 45,
      mask_deg: null,
      expected_km_by_altitude: [353],
      limited_by_altitude: ["link"],
    },
    {
      bearing_deg: 225,
      mask_deg: 4,
      expected_km_by_altitude: [140],
      limited_by_altitude: ["mask"],
    },
  ],
};

describe("limit outlines", () => {
  it("follow mask and terrain, but take a link budget for no limit", () => {
    const model = { ...empty_model, expect: { kind: "ok" as const, value: answer } };
    expect(limits_of(model, "metric")[0]?.range_km).toEqual([
      { bearing_deg: 45, range_km: 453 },
      { bearing_deg: 225, range_km: 140 },
    ]);
  });
});
