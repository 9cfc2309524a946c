import { scaleLinear } from "d3-scale";

/** About `count` round numbers in (0, end]. */
export function ticks(end: number, count: number): number[] {
  return scaleLinear([0, end], [0, 1])
    .ticks(count)
    .filter((tick) => tick > 0);
}
