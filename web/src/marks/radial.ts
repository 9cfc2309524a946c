// From decibels to pixels around the middle, for pictures of gain by bearing.
import { svg } from "../dom";
import { at, polar } from "../geometry";

export interface DbScale {
  low_db: number;
  high_db: number;
  rings_db: number[];
  px(value_db: number): number;
}

/** Rings every 3 dB (6 where the span is wide); the middle lies below everything drawn. */
export function db_scale(values_db: number[], radius: number): DbScale {
  const step = Math.max(...values_db, 0) - Math.min(...values_db, 0) > 24 ? 6 : 3;
  const high_db = Math.max(step, Math.ceil(Math.max(0, ...values_db) / step) * step);
  const low_db = Math.min(-2 * step, Math.floor(Math.min(0, ...values_db) / step) * step) - step;
  const rings_db: number[] = [];
  for (let ring = low_db + step; ring <= high_db; ring += step) rings_db.push(ring);
  return {
    low_db,
    high_db,
    rings_db,
    px: (value_db) => ((value_db - low_db) / (high_db - low_db)) * radius,
  };
}

export interface BandPoint {
  bearing_deg: number;
  low: number | null;
  high: number | null;
}

/** Runs of neighbours that are known, around the circle; one closed run where all are. */
function runs(points: BandPoint[]): { list: BandPoint[]; is_closed: boolean }[] {
  const is_known = (point: BandPoint) => point.low !== null && point.high !== null;
  if (points.every(is_known)) return [{ list: points, is_closed: true }];
  const gap = points.findIndex((point) => !is_known(point));
  const turned = [...points.slice(gap), ...points.slice(0, gap)];
  const found: BandPoint[][] = [];
  let open = false;
  for (const point of turned) {
    if (!is_known(point)) {
      open = false;
    } else if (open) {
      found[found.length - 1]?.push(point);
    } else {
      found.push([point]);
      open = true;
    }
  }
  return found.map((list) => ({ list, is_closed: false }));
}

/** The area between two outlines, with gaps where it is not known. */
export function band(doc: Document, points: BandPoint[], style: string): SVGElement {
  const parts = runs(points)
    .filter(({ list }) => list.length > 0)
    .map(({ list, is_closed }) => {
      const outer = list.map((point) => at(polar(point.bearing_deg, point.high ?? 0)));
      const inner = list.map((point) => at(polar(point.bearing_deg, point.low ?? 0))).reverse();
      return is_closed
        ? `M${outer.join("L")}ZM${inner.join("L")}Z`
        : `M${[...outer, ...inner].join("L")}Z`;
    });
  return svg(doc, "path", { class: style, "fill-rule": "evenodd", d: parts.join("") });
}
