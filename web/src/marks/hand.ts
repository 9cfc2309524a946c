// The bearing chosen: a hand from the antenna to the scale of degrees, with a bead at the reach.
import { svg } from "../dom";
import { at, coordinate, polar, sector_at, wedge } from "../geometry";

export interface Hand {
  bearing_deg: number;
  sector_deg: number;
  /** Middle of the sector that the bearing falls into. */
  sector_bearing_deg: number;
  rim: number;
  bead: number | null;
}

export function hand(doc: Document, data: Hand): SVGElement {
  const tip = polar(data.bearing_deg, data.rim);
  const group = svg(
    doc,
    "g",
    { class: "hand" },
    svg(doc, "path", {
      class: "hand-sector",
      d: wedge(
        data.sector_bearing_deg - data.sector_deg / 2,
        data.sector_bearing_deg + data.sector_deg / 2,
        0,
        data.rim,
      ),
    }),
    svg(doc, "path", { class: "hand-line", d: `M0,0L${at(tip)}` }),
    svg(doc, "path", {
      class: "hand-tip",
      d: `M0,2L-5,-8L5,-8Z`,
      transform: `translate(${at(polar(data.bearing_deg, data.rim))}) rotate(${coordinate(data.bearing_deg)})`,
    }),
  );
  if (data.bead !== null) {
    const place = polar(data.bearing_deg, data.bead);
    group.append(
      svg(doc, "circle", {
        class: "hand-bead",
        cx: coordinate(place.x),
        cy: coordinate(place.y),
        r: 4.5,
      }),
    );
  }
  return group;
}

/**
 * Moves the hand in its layer, or takes it away. Cheap: nothing else is touched.
 * @param bead where a sector's bead stands, in pixels from the middle; null: it has none
 */
export function turn_hand<T extends { bearing_deg: number }>(
  doc: Document,
  layer: SVGElement,
  circle: { sectors: T[]; sector_deg: number },
  bearing_deg: number | null,
  rim: number,
  bead: (sector: T) => number | null,
): void {
  if (bearing_deg === null) {
    layer.replaceChildren();
    return;
  }
  const sector = sector_at(circle.sectors, bearing_deg);
  layer.replaceChildren(
    hand(doc, {
      bearing_deg,
      sector_deg: circle.sector_deg,
      sector_bearing_deg: sector?.bearing_deg ?? bearing_deg,
      rim,
      bead: sector === null ? null : bead(sector),
    }),
  );
}

/** The antenna itself, in the middle. */
export function antenna_mark(doc: Document): SVGElement {
  return svg(
    doc,
    "g",
    { class: "antenna" },
    svg(doc, "circle", { class: "antenna-ring", r: 5 }),
    svg(doc, "circle", { class: "antenna-dot", r: 1.8 }),
  );
}
