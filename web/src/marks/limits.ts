// How far an aircraft at a given altitude can be heard at most: outlines to hold reach against.
import { svg } from "../dom";
import { arc, coordinate, sector_at, smooth_outline, type SectorRadius } from "../geometry";

export interface LimitOutline {
  label: string;
  /** One radius for every bearing, or one for each sector. */
  radius: number | SectorRadius[];
}

const label_span_deg = 60;
const label_inset = 4;

/** Drawn from low to high, each in a dash of its own. */
export function limits(doc: Document, list: LimitOutline[]): SVGElement {
  const group = svg(doc, "g", { class: "limits" });
  list.forEach(({ radius }, i) => {
    const style = `limit limit-${i + 1}`;
    group.append(
      typeof radius === "number"
        ? svg(doc, "circle", { class: style, r: coordinate(radius) })
        : svg(doc, "path", { class: style, d: smooth_outline(radius) }),
    );
  });
  return group;
}

/**
 * Drawn after all lines. A label follows its line, on the inner side.
 * @param id prefix of the labels' paths, the picture's own
 */
export function limit_labels(
  doc: Document,
  list: LimitOutline[],
  id: string,
  label_bearing_deg = 315,
): SVGElement {
  const group = svg(doc, "g", { class: "limit-labels" });
  list.forEach(({ radius, label }, i) => {
    const at_label = typeof radius === "number" ? radius : radius_at(radius, label_bearing_deg);
    if (at_label === null || at_label < 30) return;
    const half_deg = label_span_deg / 2;
    group.append(
      svg(doc, "path", {
        id: `${id}-${i + 1}`,
        class: "limit-label-path",
        d: arc(label_bearing_deg - half_deg, label_bearing_deg + half_deg, at_label - label_inset),
      }),
      svg(
        doc,
        "text",
        { class: "limit-label halo", dy: "0.75em" },
        svg(doc, "textPath", { href: `#${id}-${i + 1}`, startOffset: "50%" }, label),
      ),
    );
  });
  return group;
}

function radius_at(sectors: SectorRadius[], bearing_deg: number): number | null {
  return sector_at(sectors, bearing_deg)?.radius ?? null;
}
