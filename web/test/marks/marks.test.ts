import { describe, expect, it } from "vitest";
import { antenna_mark, hand } from "../../src/marks/hand";
import { bezel, rings, spokes } from "../../src/marks/grid";
import { limit_labels, limits } from "../../src/marks/limits";
import { reach } from "../../src/marks/reach";
import { range_scale } from "../../src/marks/scale";
import { state_band } from "../../src/marks/states";
import { km_per_nautical_mile } from "../../src/units";
import { new_document, structure } from "../document";

const doc = new_document();

describe("the range scale", () => {
  it("sets rings at round kilometres inside the rim", () => {
    const scale = range_scale(465, 340, "metric");
    expect(scale.rings_km).toEqual([100, 200, 300, 400]);
    expect(scale.px(scale.domain_km)).toBe(340);
  });
  it("sets rings at round nautical miles too", () => {
    const rings_nm = range_scale(465, 340, "aviation").rings_km.map(
      (km) => km / km_per_nautical_mile,
    );
    expect(rings_nm.map((nm) => Math.round(nm * 1e6) / 1e6)).toEqual([50, 100, 150, 200, 250]);
  });
  it("draws fewer rings where there is little room", () => {
    expect(range_scale(465, 130, "metric").rings_km).toEqual([200, 400]);
  });
});

describe("marks", () => {
  it("draw a scale of degrees with the four cardinal letters", () => {
    const element = bezel(doc, 100);
    const words = [...element.querySelectorAll("text")].map((text) => text.textContent);
    expect(words).toEqual([
      "N",
      "030",
      "060",
      "E",
      "120",
      "150",
      "S",
      "210",
      "240",
      "W",
      "300",
      "330",
    ]);
    expect(structure(element)).toMatchSnapshot();
  });
  it("draw spokes every 30 degrees", () => {
    expect(spokes(doc, 100).querySelectorAll("path")).toHaveLength(12);
    expect(structure(spokes(doc, 100))).toMatchSnapshot();
  });
  it("draw rings", () => {
    expect(structure(rings(doc, [{ radius: 50, label: "100" }]))).toMatchSnapshot();
  });
  it("draw limits as circles or by sector", () => {
    const list = [
      { label: "low", radius: 60 },
      {
        label: "high",
        radius: [0, 90, 180, 270].map((bearing_deg) => ({ bearing_deg, radius: 80 })),
      },
    ];
    expect(structure(limits(doc, list))).toMatchSnapshot();
    expect(limit_labels(doc, list, "t").querySelectorAll("textPath")).toHaveLength(2);
  });
  it("hatch sectors without a reach instead of drawing them as zero", () => {
    const sectors = [45, 135, 225, 315].map((bearing_deg, i) => ({
      bearing_deg,
      radius: i === 2 ? null : 50,
    }));
    const element = reach(doc, sectors, { sector_deg: 90, radius: 100, id: "t" });
    expect(element.querySelector(".unknown")?.getAttribute("fill")).toBe("url(#t)");
    expect(structure(element)).toMatchSnapshot();
  });
  it("hatch nothing when nothing at all was heard: the sheet is empty", () => {
    const sectors = [90, 270].map((bearing_deg) => ({ bearing_deg, radius: null }));
    const element = reach(doc, sectors, { sector_deg: 180, radius: 100, id: "t" });
    expect(element.querySelector(".unknown")).toBeNull();
  });
  it("give each state of a sector a pattern of its own", () => {
    const element = state_band(doc, {
      sectors: (["horizon", "signal", "obstructed", "unjudged"] as const).map((state, i) => ({
        bearing_deg: 45 + 90 * i,
        state,
      })),
      sector_deg: 90,
      inner: 100,
      outer: 110,
      id: "t",
    });
    const fills = [...element.querySelectorAll(".state")].map((path) => path.getAttribute("fill"));
    expect(new Set(fills).size).toBe(4);
    expect(structure(element)).toMatchSnapshot();
  });
  it("point the hand at the bearing chosen", () => {
    const element = hand(doc, {
      bearing_deg: 90,
      sector_deg: 5,
      sector_bearing_deg: 87.5,
      rim: 100,
      bead: 40,
    });
    expect(element.querySelector(".hand-line")?.getAttribute("d")).toBe("M0,0L100,0");
    expect(element.querySelector(".hand-bead")?.getAttribute("cx")).toBe("40");
    expect(structure(element)).toMatchSnapshot();
  });
  it("mark the antenna", () => {
    expect(structure(antenna_mark(doc))).toMatchSnapshot();
  });
});
