// Tables behind pictures: which columns, as people read them and as CSV.
import type { CutBin, CutFlight, DriftDay, ElevationGain, Hour } from "./api";
import { three_digits } from "./geometry";
import type { Sector } from "./model";
import { strings } from "./strings";
import {
  altitude_text,
  db_text,
  grouped,
  percent_text,
  range_text,
  seconds_of,
  time_text,
  type Units,
} from "./units";

export interface Column<Row> {
  /** The API's own name, which is also the column's in CSV. */
  key: string;
  label: string;
  /** null: not known. */
  value(row: Row): string | number | null;
  text(row: Row, units: Units): string | null;
}

export function of<Row, T extends string | number>(
  key: string,
  label: string,
  value: (row: Row) => T | null | undefined,
  text: (value: T, units: Units) => string,
): Column<Row> {
  return {
    key,
    label,
    value: (row) => value(row) ?? null,
    text: (row, units) => {
      const known = value(row) ?? null;
      return known === null ? null : text(known, units);
    },
  };
}

export const range = (value: number, units: Units) => range_text(units, value);

export const sector_columns: Column<Sector>[] = [
  of(
    "bearing_deg",
    strings.bearing,
    (row) => row.bearing_deg,
    (value) =>
      Number.isInteger(value) ? `${three_digits(value)}°` : `${value.toFixed(1).padStart(5, "0")}°`,
  ),
  of("reach_km", strings.reach, (row) => row.reach?.reach_km ?? row.verdict?.reach_km, range),
  of(
    "horizon_km",
    strings.horizon,
    (row) => row.reach?.horizon_km ?? row.verdict?.horizon_km,
    range,
  ),
  of("ratio", strings.of_horizon, (row) => row.reach?.ratio, percent_text),
  of("half_rate_km", strings.half_rate, (row) => row.reach?.half_rate_km, range),
  of(
    "altitude_ft",
    strings.farthest_altitude,
    (row) => row.reach?.altitude_ft,
    (value, units) => altitude_text(units, value),
  ),
  of(
    "time",
    strings.farthest_time,
    (row) => row.reach?.time,
    (value) => time_text(seconds_of(value)),
  ),
  of(
    "state",
    strings.sector_state,
    (row) => row.verdict?.state,
    (value) => strings.state[value],
  ),
  of("gain_db", strings.gain, (row) => row.verdict?.gain_db, db_text),
  of("gain_low_db", strings.gain_low, (row) => row.verdict?.gain_low_db, db_text),
  of("gain_high_db", strings.gain_high, (row) => row.verdict?.gain_high_db, db_text),
  of(
    "cutoff_deg",
    strings.cutoff,
    (row) => row.verdict?.cutoff_deg,
    (value) => `${value.toFixed(1)}°`,
  ),
  of("flights", strings.flights, (row) => row.verdict?.flights ?? row.reach?.flights, grouped),
  of("cells", strings.cells, (row) => row.verdict?.cells ?? row.reach?.cells, grouped),
];

const share = (row: { heard: number; expected: number }) =>
  row.expected > 0 ? row.heard / row.expected : null;
const time = (value: string) => time_text(seconds_of(value));

export const hour_columns: Column<Hour>[] = [
  of("time", strings.hour, (row) => row.time, time),
  of("heard", strings.reports_heard, (row) => row.heard, grouped),
  of("expected", strings.reports_expected, (row) => row.expected, grouped),
  of("share", strings.share_heard, share, percent_text),
];

export const drift_columns: Column<DriftDay>[] = [
  of(
    "date",
    strings.day,
    (row) => row.date,
    (value) => value.slice(0, 10),
  ),
  of("index_db", strings.sensitivity, (row) => row.index_db, db_text),
  of("low_db", strings.low, (row) => row.low_db, db_text),
  of("high_db", strings.high, (row) => row.high_db, db_text),
  of("flights", strings.flights, (row) => row.flights, grouped),
];

export const bin_columns: Column<CutBin>[] = [
  of("range_km", strings.range_of_bin, (row) => row.range_km, range),
  of(
    "altitude_ft",
    strings.altitude_of_bin,
    (row) => row.altitude_ft,
    (value, units) => altitude_text(units, value),
  ),
  of("heard", strings.reports_heard, (row) => row.heard, grouped),
  of("expected", strings.reports_expected, (row) => row.expected, grouped),
  of("share", strings.share_heard, share, percent_text),
];

export const flight_columns: Column<CutFlight>[] = [
  of(
    "address",
    strings.address,
    (row) => row.address,
    (value) => value,
  ),
  of("from", strings.heard_from, (row) => row.from, time),
  of("to", strings.heard_to, (row) => row.to, time),
  of("nearest_km", strings.nearest, (row) => row.nearest_km, range),
  of("farthest_km", strings.farthest, (row) => row.farthest_km, range),
  of("share", strings.share_heard, share, percent_text),
];

export const elevation_columns: Column<ElevationGain>[] = [
  of(
    "elevation_deg",
    strings.elevation,
    (row) => row.elevation_deg,
    (value) => `${value.toFixed(1)}°`,
  ),
  of("gain_db", strings.gain, (row) => row.gain_db, db_text),
  of("low_db", strings.low, (row) => row.low_db, db_text),
  of("high_db", strings.high, (row) => row.high_db, db_text),
  of("flights", strings.flights, (row) => row.flights, grouped),
];

/** Those of which at least one row has a value. */
export function filled<Row>(columns: Column<Row>[], rows: Row[]): Column<Row>[] {
  return columns.filter((column) => rows.some((row) => column.value(row) !== null));
}

/** RFC 4180. Units of the API; unknown is empty. */
export function csv<Row>(columns: Column<Row>[], rows: Row[]): string {
  const field = (value: string | number | null) => {
    const text = value === null ? "" : String(value);
    return /[",\r\n]/.test(text) ? `"${text.replace(/"/g, '""')}"` : text;
  };
  const lines = [
    columns.map((column) => field(column.key)),
    ...rows.map((row) => columns.map((column) => field(column.value(row)))),
  ];
  return lines.map((line) => `${line.join(",")}\r\n`).join("");
}
