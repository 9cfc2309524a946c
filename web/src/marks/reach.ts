// The farthest believable range by sector. Sectors without one are hatched, never drawn as zero.
import { svg } from "../dom";
import { stepped_outline, wedge, type SectorRadius } from "../geometry";

export interface ReachOptions {
  sector_deg: number;
  /** Of the disc: how far a sector's hatching goes. */
  radius: number;
  /** For the hatching's id, which must be the picture's own. */
  id: string;
}

export function hatch(doc: Document, id: string): SVGElement {
  return svg(
    doc,
    "pattern",
    {
      id,
      width: 7,
      height: 7,
      patternUnits: "userSpaceOnUse",
      patternTransform: "rotate(45)",
    },
    svg(doc, "path", { class: "hatch-line", d: "M0,0V7" }),
  );
}

export function reach(
  doc: Document,
  sectors: SectorRadius[],
  { sector_deg, radius, id }: ReachOptions,
): SVGElement {
  const group = svg(doc, "g", { class: "reach" });
  const half_deg = sector_deg / 2;
  const unknown = sectors.filter((sector) => sector.radius === null);
  if (unknown.length > 0 && unknown.length < sectors.length) {
    group.append(
      svg(doc, "defs", {}, hatch(doc, id)),
      svg(doc, "path", {
        class: "unknown",
        fill: `url(#${id})`,
        d: unknown
          .map(({ bearing_deg }) =>
            wedge(bearing_deg - half_deg, bearing_deg + half_deg, 0, radius),
          )
          .join(""),
      }),
    );
  }
  group.append(
    svg(doc, "path", {
      class: "reach-area",
      d: sectors
        .filter((sector) => sector.radius !== null)
        .map((sector) =>
          wedge(
            sector.bearing_deg - half_deg,
            sector.bearing_deg + half_deg,
            0,
            sector.radius ?? 0,
          ),
        )
        .join(""),
    }),
    svg(doc, "path", { class: "reach-line", d: stepped_outline(sectors, sector_deg) }),
  );
  return group;
}
