// What each sector was judged to be, as a band around the disc: a pattern of its own for each
// state, so that nothing hangs on colour alone.
import type { SectorState } from "../api";
import { svg } from "../dom";
import { wedge } from "../geometry";
import { hatch } from "./reach";

export interface StateBand {
  /** A sector without a state is not judged. */
  sectors: { bearing_deg: number; state?: SectorState | null }[];
  sector_deg: number;
  inner: number;
  outer: number;
  /** For patterns' ids, which must be the picture's own. */
  id: string;
}

export const states: SectorState[] = ["horizon", "signal", "obstructed", "unjudged"];

/** Dots: signal runs out. Bricks: something stands in the way. Hatching: not known. Plain: horizon. */
export function state_patterns(doc: Document, id: string): SVGElement {
  return svg(
    doc,
    "defs",
    {},
    svg(
      doc,
      "pattern",
      { id: `${id}-signal`, width: 6, height: 6, patternUnits: "userSpaceOnUse" },
      svg(doc, "rect", { class: "pattern-ground signal", width: 6, height: 6 }),
      svg(doc, "circle", { class: "pattern-figure", cx: 3, cy: 3, r: 1.3 }),
    ),
    svg(
      doc,
      "pattern",
      { id: `${id}-obstructed`, width: 10, height: 8, patternUnits: "userSpaceOnUse" },
      svg(doc, "rect", { class: "pattern-ground obstructed", width: 10, height: 8 }),
      svg(doc, "path", { class: "pattern-line", d: "M0,0.5H10M0,4.5H10M2.5,0.5V4.5M7.5,4.5V8.5" }),
    ),
    hatch(doc, `${id}-unjudged`),
  );
}

export function state_fill(id: string, state: SectorState): string | null {
  return state === "horizon" ? null : `url(#${id}-${state})`;
}

export function state_band(doc: Document, band: StateBand): SVGElement {
  const group = svg(doc, "g", { class: "states" }, state_patterns(doc, band.id));
  const half_deg = band.sector_deg / 2;
  for (const state of states) {
    const d = band.sectors
      .filter((sector) => (sector.state ?? "unjudged") === state)
      .map(({ bearing_deg }) =>
        wedge(bearing_deg - half_deg, bearing_deg + half_deg, band.inner, band.outer),
      )
      .join("");
    if (d !== "")
      group.append(
        svg(doc, "path", { class: `state state-${state}`, fill: state_fill(band.id, state), d }),
      );
  }
  return group;
}
