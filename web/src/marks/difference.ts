// Which of two selections hears better in each sector, as a map: the sector's colour is that of the
// outline of the better one, deeper where it is better by more. Plus and minus say the same without
// colour, where the interval leaves out zero.
import { svg } from "../dom";
import { wedge } from "../geometry";

export interface DifferenceSector {
  bearing_deg: number;
  /** The first less the second; null: not known. */
  difference_db: number | null;
  significant: boolean;
  /** How far out it is drawn, pixels. */
  outer: number;
}

/** From so many dB on a step deeper. */
export const deep_db = 3;

export type DifferenceStyle = "same" | "better" | "much-better" | "worse" | "much-worse";

export const difference_styles: DifferenceStyle[] = [
  "much-better",
  "better",
  "same",
  "worse",
  "much-worse",
];

/** null: not known, and not drawn. */
export function difference_style(
  difference_db: number | null,
  significant: boolean,
): DifferenceStyle | null {
  if (difference_db === null) return null;
  if (!significant) return "same";
  const is_deep = Math.abs(difference_db) >= deep_db;
  if (difference_db > 0) return is_deep ? "much-better" : "better";
  return is_deep ? "much-worse" : "worse";
}

const cross = "M3,6H9M6,3V9";
const bar = "M3,6H9";

/** Plus signs and bars for the better and the worse. */
export function difference_patterns(doc: Document, id: string): SVGElement {
  const pattern = (style: DifferenceStyle, figure: string) =>
    svg(
      doc,
      "pattern",
      { id: `${id}-${style}`, width: 12, height: 12, patternUnits: "userSpaceOnUse" },
      svg(doc, "rect", { class: `difference-ground ${style}`, width: 12, height: 12 }),
      svg(doc, "path", { class: `difference-figure ${style}`, d: figure }),
    );
  return svg(
    doc,
    "defs",
    {},
    pattern("better", cross),
    pattern("much-better", cross),
    pattern("worse", bar),
    pattern("much-worse", bar),
  );
}

export function difference_fill(id: string, style: DifferenceStyle): string | null {
  return style === "same" ? null : `url(#${id}-${style})`;
}

/** @param id prefix of the patterns, the picture's own */
export function difference(
  doc: Document,
  sectors: DifferenceSector[],
  sector_deg: number,
  id: string,
): SVGElement {
  const group = svg(doc, "g", { class: "difference" }, difference_patterns(doc, id));
  const half_deg = sector_deg / 2;
  for (const style of difference_styles) {
    const d = sectors
      .filter((sector) => difference_style(sector.difference_db, sector.significant) === style)
      .map(({ bearing_deg, outer }) =>
        wedge(bearing_deg - half_deg, bearing_deg + half_deg, 0, outer),
      )
      .join("");
    if (d !== "")
      group.append(
        svg(doc, "path", { class: `differs ${style}`, fill: difference_fill(id, style), d }),
      );
  }
  return group;
}
