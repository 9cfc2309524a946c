// The whole circle in a few lines: for when no bearing is chosen.
import type { SectorState } from "./api";
import { span_text } from "./geometry";
import { sector_deg_of, sectors_of, weakest_bearing_deg, type Model, type Sector } from "./model";

export interface Overview {
  farthest: Sector | null;
  /** Furthest short of its horizon. */
  weakest: Sector | null;
  states: { state: SectorState; n_sectors: number; spans: string[] }[];
  n_sectors: number;
}

/** Neighbours of one state as spans, "225-315"; the circle is closed at north. */
export function spans_of(sectors: Sector[], sector_deg: number, state: SectorState): string[] {
  const is_of = sectors.map((sector) => sector.verdict?.state === state);
  const first = is_of.findIndex((here, i) => here && !is_of.at(i - 1));
  if (first === -1) return [];
  const spans: string[] = [];
  let from_deg: number | null = null;
  for (let step = 0; step <= sectors.length; step += 1) {
    const i = (first + step) % sectors.length;
    const edge_deg = (sectors[i]?.bearing_deg ?? 0) - sector_deg / 2;
    const is_in = step < sectors.length && is_of[i] === true;
    if (is_in && from_deg === null) from_deg = edge_deg;
    if (!is_in && from_deg !== null) {
      spans.push(span_text(from_deg, edge_deg));
      from_deg = null;
    }
  }
  return spans;
}

const order: SectorState[] = ["obstructed", "signal", "unjudged", "horizon"];

export function overview(model: Model): Overview {
  const sectors = sectors_of(model);
  const sector_deg = sector_deg_of(model);
  const weakest_deg = weakest_bearing_deg(model);
  const reach_of = (sector: Sector | null) => sector?.reach?.reach_km ?? 0;
  const farthest = sectors.reduce<Sector | null>(
    (best, sector) => (reach_of(sector) > reach_of(best) ? sector : best),
    null,
  );
  return {
    farthest,
    weakest: sectors.find((sector) => sector.bearing_deg === weakest_deg) ?? null,
    states: order.flatMap((state) => {
      const n_sectors = sectors.filter((sector) => sector.verdict?.state === state).length;
      return n_sectors === 0
        ? []
        : [{ state, n_sectors, spans: spans_of(sectors, sector_deg, state) }];
    }),
    n_sectors: sectors.length,
  };
}
