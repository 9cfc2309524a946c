// From kilometres to pixels around the antenna, and where the rings stand.
import { ticks } from "./ticks";
import { km_to, to_km, type Units } from "../units";

export interface RangeScale {
  /** Radius of the disc, pixels. */
  radius: number;
  /** Range at its rim. */
  domain_km: number;
  /** Ranges at which rings are drawn. */
  rings_km: number[];
  px(range_km: number): number;
}

/**
 * Rings at round numbers of the unit shown; the rim lies just outside of what is to be seen.
 * @param farthest_km farthest thing to draw
 */
export function range_scale(farthest_km: number, radius: number, units: Units): RangeScale {
  const domain_km = Math.max(farthest_km, 50) * 1.04;
  const rings_km = ticks(km_to(units, domain_km), radius < 160 ? 2 : radius < 260 ? 4 : 5).map(
    (range) => to_km(units, range),
  );
  return { radius, domain_km, rings_km, px: (range_km) => (range_km / domain_km) * radius };
}
