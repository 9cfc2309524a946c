// Numbers as people read them. Answers are always in km, ft and dB; only the display changes.

export type Units = "metric" | "aviation";

export const km_per_nautical_mile = 1.852; // exact
export const metres_per_foot = 0.3048; // exact

export function range_unit(units: Units): string {
  return units === "metric" ? "km" : "NM";
}

export function altitude_unit(units: Units): string {
  return units === "metric" ? "m" : "ft";
}

export function km_to(units: Units, range_km: number): number {
  return units === "metric" ? range_km : range_km / km_per_nautical_mile;
}

export function to_km(units: Units, range: number): number {
  return units === "metric" ? range : range * km_per_nautical_mile;
}

export function ft_to(units: Units, altitude_ft: number): number {
  return units === "metric" ? altitude_ft * metres_per_foot : altitude_ft;
}

/** 12 345 with thin spaces, which break no line; minus as a minus sign. */
export function grouped(value: number): string {
  const digits = String(Math.abs(Math.round(value)));
  const text = digits.length > 4 ? digits.replace(/\B(?=(\d{3})+$)/g, "\u202f") : digits;
  return Math.round(value) < 0 ? `\u2212${text}` : text;
}

export function range_text(units: Units, range_km: number): string {
  return `${grouped(km_to(units, range_km))}\u00a0${range_unit(units)}`;
}

export function altitude_text(units: Units, altitude_ft: number): string {
  const step = units === "metric" ? 50 : 100;
  const altitude = Math.round(ft_to(units, altitude_ft) / step) * step;
  return `${grouped(altitude)}\u00a0${altitude_unit(units)}`;
}

/** One decimal and a sign: +0.4, −1.2, 0.0. */
export function signed(value: number): string {
  const text = Math.abs(value).toFixed(1);
  if (text === "0.0") return text;
  return `${value < 0 ? "\u2212" : "+"}${text}`;
}

export function db_text(value: number): string {
  return `${signed(value)}\u00a0dB`;
}

export function percent_text(share: number): string {
  return `${Math.round(share * 100)}%`;
}

/** 2026-03-01 14:05 UTC */
export function time_text(time_s: number): string {
  const text = new Date(time_s * 1000).toISOString();
  return `${text.slice(0, 10)} ${text.slice(11, 16)}\u00a0UTC`;
}

export function seconds_of(time: string): number {
  return Date.parse(time) / 1000;
}

/** How long ago, to the precision that matters: 4 s, 3 min, 2 h, 5 d. */
export function age_text(age_s: number): string {
  const age = Math.max(0, age_s);
  if (age < 99.5) return `${Math.round(age)}\u00a0s`;
  if (age < 99.5 * 60) return `${Math.round(age / 60)}\u00a0min`;
  if (age < 48 * 3600) return `${Math.round(age / 3600)}\u00a0h`;
  return `${Math.round(age / 86400)}\u00a0d`;
}
