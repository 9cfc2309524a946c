// What is shown, as kept in the page's address: a link shows the same view.
import { wrap_deg } from "./geometry";
import type { Units } from "./units";

export type Theme = "auto" | "light" | "dark";

export interface ViewState {
  /** The bearing chosen, in whole degrees, or none. */
  bearing_deg: number | null;
  units: Units;
  theme: Theme;
  /** Which cells: as `roundel`'s selection. Empty: all. */
  antenna: string | null;
  trial: string | null;
  from: string | null;
  to: string | null;
  /** A second trial to hold against the first. */
  against: string | null;
  /** Range from an altitude band on: feet, or all. */
  altitude: string | null;
  /** Whether the table behind the picture is open. */
  table: boolean;
}

export const initial_state: ViewState = {
  bearing_deg: null,
  units: "metric",
  theme: "auto",
  antenna: null,
  trial: null,
  from: null,
  to: null,
  against: null,
  altitude: null,
  table: false,
};

const texts = ["antenna", "trial", "from", "to", "against", "altitude"] as const;

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
  for (const key of texts) if (state[key] !== null) query.set(key, state[key]);
  if (state.table) query.set("table", "1");
  const text = query.toString();
  return text === "" ? "" : `#${text}`;
}

/** The selection's part of the state, as the API takes it. */
export function selection_query(state: ViewState): URLSearchParams {
  const query = new URLSearchParams();
  for (const key of ["antenna", "trial", "from", "to"] as const)
    if (state[key] !== null) query.set(key, state[key]);
  return query;
}
