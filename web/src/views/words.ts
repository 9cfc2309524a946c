// Answers put into words, the same wherever they are shown.
import type { Site, Time } from "../api";
import { compass_point, three_digits } from "../geometry";
import type { Model } from "../model";
import { value_of } from "../model";
import { strings } from "../strings";
import {
  db_text,
  grouped,
  metres_per_foot,
  range_text,
  seconds_of,
  time_text,
  type Units,
} from "../units";

function degrees_minutes(value_deg: number, positive: string, negative: string): string {
  const minutes = Math.round(Math.abs(value_deg) * 60);
  const text = `${Math.floor(minutes / 60)}°\u202f${String(minutes % 60).padStart(2, "0")}′`;
  return `${text}\u202f${value_deg < 0 ? negative : positive}`;
}

export function height_text(units: Units, height_m: number): string {
  return units === "metric"
    ? `${grouped(height_m)}\u00a0m`
    : `${grouped(height_m / metres_per_foot)}\u00a0ft`;
}

export function coordinate_text(site: Site, units: Units): string {
  return strings.place(
    degrees_minutes(site.latitude_deg, "N", "S"),
    degrees_minutes(site.longitude_deg, "E", "W"),
    height_text(units, site.antenna_m),
  );
}

export function bearing_text(bearing_deg: number): string {
  return `${three_digits(bearing_deg)}°\u202f${compass_point(bearing_deg)}`;
}

/** Reach in one sentence, where roundeld has not put it into words itself. */
export function reach_sentence(model: Model, units: Units): string | null {
  const answer = value_of(model.reach);
  if (answer === null) return null;
  const sentence = (units === "aviation" && answer.sentence_aviation) || answer.sentence;
  if (sentence !== undefined && sentence !== "") return sentence;
  const heard = answer.sectors.filter((sector) => sector.reach_km !== null);
  const farthest = heard.reduce<(typeof heard)[number] | null>(
    (best, sector) =>
      best === null || (sector.reach_km ?? 0) > (best.reach_km ?? 0) ? sector : best,
    null,
  );
  if (farthest === null) return null;
  return strings.reach_summary(
    heard.length,
    answer.sectors.length,
    range_text(units, farthest.reach_km ?? 0),
    bearing_text(farthest.bearing_deg),
  );
}

/** Of what part of the selection an answer is; of all: nothing. */
export function part_text({ only_from }: { only_from?: Time }): string {
  return only_from === undefined ? "" : strings.only_from(time_text(seconds_of(only_from)));
}

/** A gain as a screen reader tells it. */
export function gain_words({ value_db }: { value_db: number | null }): string {
  return value_db === null ? strings.not_judged : db_text(value_db);
}
