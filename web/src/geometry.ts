// Angles and ranges in a picture. Every bearing enters a picture through `polar`.

export interface Point {
  x: number;
  y: number;
}

/**
 * Where a bearing points: north up, clockwise, y downward as in SVG, the antenna at (0, 0).
 * @param bearing_deg clockwise from true north, any turn
 */
export function polar(bearing_deg: number, radius: number): Point {
  const angle = (bearing_deg * Math.PI) / 180;
  return { x: radius * Math.sin(angle), y: -radius * Math.cos(angle) };
}

/** The inverse of `polar`; 0 at the antenna itself, by convention. */
export function bearing_of(point: Point): number {
  if (point.x === 0 && point.y === 0) return 0;
  return wrap_deg((Math.atan2(point.x, -point.y) * 180) / Math.PI);
}

/** Into [0, 360). */
export function wrap_deg(angle_deg: number): number {
  const turned = angle_deg % 360;
  const wrapped = turned < 0 ? turned + 360 : turned;
  return wrapped === 360 || wrapped === 0 ? 0 : wrapped;
}

/** Smaller angle between two bearings, [0, 180]. */
export function apart_deg(a_deg: number, b_deg: number): number {
  const between = wrap_deg(a_deg - b_deg);
  return Math.min(between, 360 - between);
}

/** Short and stable text of a coordinate: two decimals, no "-0". */
export function coordinate(value: number): string {
  const rounded = Math.round(value * 100) / 100;
  return String(rounded === 0 ? 0 : rounded);
}

export function at(point: Point): string {
  return `${coordinate(point.x)},${coordinate(point.y)}`;
}

/** Along the circle, clockwise. */
function arc_to(radius: number, from_deg: number, to_deg: number): string {
  const r = coordinate(radius);
  const large = to_deg - from_deg > 180 ? 1 : 0;
  return `A${r},${r} 0 ${large} 1 ${at(polar(to_deg, radius))}`;
}

export function arc(from_deg: number, to_deg: number, radius: number): string {
  return `M${at(polar(from_deg, radius))}${arc_to(radius, from_deg, to_deg)}`;
}

/** A slice of a ring, clockwise from `from_deg` to `to_deg` (less than a whole turn). */
export function wedge(from_deg: number, to_deg: number, inner: number, outer: number): string {
  const out = `M${at(polar(from_deg, outer))}${arc_to(outer, from_deg, to_deg)}`;
  if (inner <= 0) return `${out}L0,0Z`;
  const r = coordinate(inner);
  const large = to_deg - from_deg > 180 ? 1 : 0;
  return `${out}L${at(polar(to_deg, inner))}A${r},${r} 0 ${large} 0 ${at(polar(from_deg, inner))}Z`;
}

/** A radius for each of evenly spaced sectors; null: nothing is known there. */
export interface SectorRadius {
  bearing_deg: number;
  radius: number | null;
}

/**
 * Steps at each sector's radius, across the sector's whole width; a gap where nothing is known.
 * A sector is stated as it is: no line leads from one sector's middle to the next one's.
 */
export function stepped_outline(sectors: SectorRadius[], sector_deg: number): string {
  const parts: string[] = [];
  sectors.forEach(({ bearing_deg, radius }, i) => {
    if (radius === null) return;
    const before = sectors[(i + sectors.length - 1) % sectors.length];
    const start_deg = bearing_deg - sector_deg / 2;
    const joins = i > 0 && before !== undefined && before.radius !== null;
    parts.push(`${joins ? "L" : "M"}${at(polar(start_deg, radius))}`);
    parts.push(arc_to(radius, start_deg, bearing_deg + sector_deg / 2));
  });
  const first = sectors[0];
  const last = sectors[sectors.length - 1];
  if (first !== undefined && last !== undefined && first.radius !== null && last.radius !== null)
    parts.push(`L${at(polar(first.bearing_deg - sector_deg / 2, first.radius))}`);
  return parts.join("");
}

/** A closed or broken line through the middles of sectors; broken where nothing is known. */
export function smooth_outline(sectors: SectorRadius[]): string {
  const known = sectors.map(({ bearing_deg, radius }) =>
    radius === null ? null : at(polar(bearing_deg, radius)),
  );
  if (known.length > 0 && known.every((point) => point !== null)) return `M${known.join("L")}Z`;
  // Start behind a gap, so that the line over north is not cut.
  const gap = known.indexOf(null);
  const turned = [...known.slice(gap), ...known.slice(0, gap)];
  return turned
    .map((point, i) => (point === null ? "" : `${turned[i - 1] == null ? "M" : "L"}${point}`))
    .join("");
}

const compass_points = [
  "N", "NNE", "NE", "ENE", "E", "ESE", "SE", "SSE", "S", "SSW", "SW", "WSW", "W", "WNW", "NW", "NNW",
]; // prettier-ignore

export function compass_point(bearing_deg: number): string {
  return compass_points[Math.round(wrap_deg(bearing_deg) / 22.5) % 16] ?? "N";
}

/** A sector's edges, as bearings are spoken: 065–070°. */
export function span_text(from_deg: number, to_deg: number): string {
  return `${three_digits(from_deg + 360)}\u2013${three_digits(to_deg + 360)}\u00b0`;
}

/** Three digits, as bearings are spoken: 005. */
export function three_digits(bearing_deg: number): string {
  return String(Math.round(bearing_deg) % 360).padStart(3, "0");
}

/** The sector a bearing falls into, which holds its lower edge; null when there is none. */
export function sector_at<T extends { bearing_deg: number }>(
  sectors: T[],
  bearing_deg: number,
): T | null {
  let nearest: T | null = null;
  let least_deg = Infinity;
  for (const sector of sectors) {
    const away_deg = apart_deg(sector.bearing_deg, bearing_deg);
    const is_edge = Math.abs(away_deg - least_deg) < 1e-9;
    const is_above = wrap_deg(sector.bearing_deg - bearing_deg) < 180;
    if (is_edge ? is_above : away_deg < least_deg) {
      nearest = sector;
      least_deg = away_deg;
    }
  }
  return nearest;
}

/** Width of evenly spaced sectors, from the answer or from their number. */
export function sector_width_deg(sectors: { bearing_deg: number }[], stated?: number): number {
  return stated ?? (sectors.length > 0 ? 360 / sectors.length : 5);
}
