// The share heard by range and bearing, in even steps of lightness: what is darkest (on a dark page
// brightest) was heard best. Where aircraft flew and nothing was heard stands a mark of its own.
import { svg } from "../dom";
import { coordinate, wedge } from "../geometry";
import { hatch } from "./reach";

export interface FieldBin {
  bearing_deg: number;
  inner: number;
  outer: number;
  heard: number;
  expected: number;
}

/** Steps of share; one path each, so that a full field is a few elements. */
export const share_steps = 5;

/** Chances that all passed unheard, so many or more, are no accident. */
const silent_chances = 20;

/** "silent": flew here, was not heard. */
export type ShareStep = number | "silent";
export const share_styles: ShareStep[] = [...Array(share_steps).keys(), "silent"];

export function share_step({ heard, expected }: Pick<FieldBin, "heard" | "expected">): ShareStep {
  if (heard === 0 && expected >= silent_chances) return "silent";
  return Math.min(share_steps - 1, Math.floor((heard / expected) * share_steps));
}

/** Crosses, to be seen without colour. */
export function silent_pattern(doc: Document, id: string): SVGElement {
  return svg(
    doc,
    "pattern",
    { id, width: 9, height: 9, patternUnits: "userSpaceOnUse" },
    svg(doc, "rect", { class: "silent-ground", width: 9, height: 9 }),
    svg(doc, "path", { class: "silent-figure", d: "M2,2L7,7M7,2L2,7" }),
  );
}

/** Paths of one style each. @param outline  of a bin, in pixels */
export function share_paths<Bin extends Pick<FieldBin, "heard" | "expected">>(
  doc: Document,
  bins: Bin[],
  outline: (bin: Bin) => string,
  id: string,
): SVGElement[] {
  return share_styles.flatMap((step) => {
    const d = bins
      .filter((bin) => bin.expected > 0 && share_step(bin) === step)
      .map(outline)
      .join("");
    if (d === "") return [];
    const fill = step === "silent" ? `url(#${id})` : null;
    return [svg(doc, "path", { class: `share share-${step}`, fill, d })];
  });
}

/** @param id prefix of the patterns, the picture's own */
export function field(doc: Document, bins: FieldBin[], sector_deg: number, id: string): SVGElement {
  const half_deg = sector_deg / 2;
  return svg(
    doc,
    "g",
    { class: "field" },
    svg(doc, "defs", {}, hatch(doc, `${id}-none`), silent_pattern(doc, `${id}-silent`)),
    // As far as anybody flew; what is filled in hides it.
    svg(doc, "circle", {
      class: "no-traffic",
      fill: `url(#${id}-none)`,
      r: coordinate(Math.max(0, ...bins.map((bin) => bin.outer))),
    }),
    ...share_paths(
      doc,
      bins,
      ({ bearing_deg, inner, outer }) =>
        wedge(bearing_deg - half_deg, bearing_deg + half_deg, inner, outer),
      `${id}-silent`,
    ),
  );
}
