import { readFileSync } from "node:fs";
import { describe, expect, it } from "vitest";
import * as fixtures from "../../dev/fixtures";
import { coast, land_of, map_names, type Atlas } from "../../src/marks/coast";
import { point_hand, reach_map } from "../../src/marks/reach_map";
import { empty_model, map_data, type Model } from "../../src/model";
import { new_document, structure } from "../document";

const doc = new_document();
const options = { size: 400, units: "metric", title: "T", description: "D", id: "t" } as const;

function model(change: Partial<Model> = {}): Model {
  return {
    ...empty_model,
    site: fixtures.site,
    reach: { kind: "ok", value: fixtures.reach() },
    ...change,
  };
}

function data_of(from: Model) {
  const data = map_data(from, "metric");
  if (data === null) throw new Error("a model with a site has a map");
  return data;
}

describe("the map", () => {
  it("is drawn from reach alone", () => {
    expect(structure(reach_map(doc, data_of(model()), options).element)).toMatchSnapshot();
  });

  it("shows the verdict's states around the disc", () => {
    const judged = model({ verdict: { kind: "ok", value: fixtures.verdict() } });
    const { element } = reach_map(doc, data_of(judged), options);
    expect(element.querySelectorAll(".state")).toHaveLength(4);
  });

  it("has a title and a description that it points to", () => {
    const { element } = reach_map(doc, data_of(model()), options);
    expect(element.getAttribute("role")).toBe("img");
    for (const id of (element.getAttribute("aria-labelledby") ?? "").split(" "))
      expect(element.querySelector(`#${id}`)?.textContent).not.toBe("");
  });

  it("moves only the hand when a bearing is chosen", () => {
    const data = data_of(model());
    const map = reach_map(doc, data, options);
    const before = [...map.element.children].map((child) => structure(child));
    point_hand(doc, map, data, 300);
    expect(map.hand_layer.querySelectorAll(".hand-bead")).toHaveLength(1);
    const after = [...map.element.children].map((child) => structure(child));
    expect(after.filter((text, i) => text !== before[i])).toHaveLength(1);
    point_hand(doc, map, data, 255); // the empty quarter: a hand, but no bead
    expect(map.hand_layer.querySelectorAll(".hand-bead")).toHaveLength(0);
    point_hand(doc, map, data, null);
    expect(map.hand_layer.children).toHaveLength(0);
  });

  it("needs a site, and nothing else", () => {
    expect(map_data(empty_model, "metric")).toBeNull();
    const bare = data_of({ ...empty_model, site: fixtures.site });
    expect(reach_map(doc, bare, options).element.querySelector(".unknown")).toBeNull();
  });
});

describe("the coast", () => {
  const atlas = JSON.parse(
    readFileSync(
      new URL("../../node_modules/world-atlas/countries-50m.json", import.meta.url),
      "utf8",
    ),
  ) as Atlas;

  it("stays inside the disc", () => {
    const place = { latitude_deg: 52.1, longitude_deg: 19.4, radius: 100, domain_km: 480 };
    const element = coast(doc, land_of(atlas), place);
    const numbers = (element.querySelector(".land")?.getAttribute("d") ?? "").match(
      /-?\d+(\.\d+)?,-?\d+(\.\d+)?/g,
    );
    expect(numbers?.length).toBeGreaterThan(100);
    for (const pair of numbers ?? []) {
      const [x, y] = pair.split(",").map(Number);
      expect(Math.hypot(x ?? NaN, y ?? NaN)).toBeLessThan(100.5);
    }
  });

  it("names the country around the site", () => {
    const place = { latitude_deg: 52.1, longitude_deg: 19.4, radius: 300, domain_km: 480 };
    const names = [...map_names(doc, land_of(atlas), place).querySelectorAll("text")];
    expect(names.map((name) => name.textContent)).toContain("Poland");
  });
});
