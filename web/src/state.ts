// What is shown, as kept in the page's address: a link shows the same view.
import { wrap_deg } from "./geometry";
import type { Units } from "./units";

export type Theme = "auto" | "light" | "dark";

export const time_ranges = { day: 86400, week: 7 * 86400, month: 30 * 86400 } as const;
export type TimeRange = keyof typeof time_ranges;

export interface ViewState {
  /** The bearing chosen, in whole degrees, or none. */
  bearing_deg: number | null;
  units: Units;
  theme: Theme;
  /** Which cells: as `roundel`'s selection. Empty: all. */
  antenna: string | null;
  trial: string | null;
  /** Back from the end of the record; from and to where none is given. */
  range: TimeRange | null;
  from: string | null;
  to: string | null;
  /** A second selection to hold against the first, in `roundel compare`'s words. */
  against: string | null;
  /** The second one over all of its time, not over the same as the first. */
  against_all: boolean;
  /** Reach of one altitude band only: its number from the lowest, or all. */
  band: number | null;
  /** Whether the table behind the picture is open. */
  table: boolean;
}

export const initial_state: ViewState = {
  bearing_deg: null,
  units: "metric",
  theme: "auto",
  antenna: null,
  trial: null,
  range: null,
  from: null,
  to: null,
  against: null,
  against_all: false,
  band: null,
  table: false,
};

const texts = ["antenna", "trial", "from", "to", "against"] as const;

/** Unknown keys and values that make no sense are ignored: an old link still opens. */
export function read_state(hash: string, defaults: ViewState = initial_state): ViewState {
  const query = new URLSearchParams(hash.replace(/^#/, ""));
  const state = { ...defaults };
  const bearing = query.get("bearing");
  if (bearing !== null && /^\d{1,3}(\.\d+)?$/.test(bearing))
    state.bearing_deg = wrap_deg(Math.round(Number(bearing)));
  const units = query.get("units");
  if (units === "metric" || units === "aviation") state.units = units;
  const theme = query.get("theme");
  if (theme === "auto" || theme === "light" || theme === "dark") state.theme = theme;
  const range = query.get("range");
  if (range === "day" || range === "week" || range === "month") state.range = range;
  state.against_all = query.get("against_all") === "1";
  const band = query.get("band");
  if (band !== null && /^\d$/.test(band)) state.band = Number(band);
  for (const key of texts) {
    const value = query.get(key);
    if (value !== null && value !== "") state[key] = value;
  }
  state.table = query.get("table") === "1" || (query.get("table") === null && defaults.table);
  return state;
}

/** Only what differs from a first visit, in a fixed order; "" for a first visit. */
export function write_state(state: ViewState): string {
  const query = new URLSearchParams();
  if (state.bearing_deg !== null) query.set("bearing", String(state.bearing_deg));
  if (state.units !== initial_state.units) query.set("units", state.units);
  if (state.theme !== initial_state.theme) query.set("theme", state.theme);
  if (state.range !== null) query.set("range", state.range);
  if (state.against_all) query.set("against_all", "1");
  if (state.band !== null) query.set("band", String(state.band));
  for (const key of texts) if (state[key] !== null) query.set(key, state[key]);
  if (state.table) query.set("table", "1");
  const text = query.toString();
  return text === "" ? "" : `#${text}`;
}

/** What the record itself adds to a selection. */
export interface RecordEnds {
  /** Its end, which ranges of time count back from. */
  end_s: number | null;
  /** The antenna to show where neither antenna nor trial is chosen. */
  antenna: string | null;
}

/** The selection's part of the state, as the API takes it. */
export function selection_query(state: ViewState, record: RecordEnds): URLSearchParams {
  const query = new URLSearchParams();
  if (state.trial !== null) query.set("trial", state.trial);
  const antenna = state.antenna ?? record.antenna;
  if (state.trial === null && antenna !== null) query.set("antenna", antenna);
  if (state.range !== null) {
    if (record.end_s !== null) {
      const from_s = record.end_s - time_ranges[state.range];
      query.set("from", new Date(from_s * 1000).toISOString());
    }
  } else {
    for (const key of ["from", "to"] as const) if (state[key] !== null) query.set(key, state[key]);
  }
  return query;
}

/** A second selection: over the same time as the first, unless it has one of its own. */
export function against_query(
  against: string,
  first: URLSearchParams,
  is_all: boolean,
): URLSearchParams {
  const query = new URLSearchParams(
    against.split(",").map((pair) => {
      const end = pair.indexOf("=");
      return [pair.slice(0, end), pair.slice(end + 1)];
    }),
  );
  if (is_all || query.has("trial")) return query;
  for (const key of ["from", "to"]) {
    const value = first.get(key);
    if (value !== null && !query.has(key)) query.set(key, value);
  }
  return query;
}

/** The same in one word, as `compare` takes it. */
export function selection_word(query: URLSearchParams): string {
  return [...query].map(([key, value]) => `${key}=${value}`).join(",");
}
