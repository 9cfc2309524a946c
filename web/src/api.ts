// What roundeld answers, as its API describes it. Keys are the program's own; null means "not known".
// Everything but `site` and `live` may be missing from an older or smaller roundeld (404).

/** RFC 3339, UTC. */
export type Time = string;

export interface Site {
  name: string;
  latitude_deg: number;
  longitude_deg: number;
  ground_m: number;
  antenna_m: number;
  surface_m: number;
}

/** GET /api/site */
export interface SiteAnswer {
  version: string;
  /** A token is configured: trials and notes may be set from here. */
  writable: boolean;
  site: Site | null;
  antennas: string[];
  receivers: string[];
  mounts: string[];
  feeds: string[];
}

export interface Trial {
  id: number;
  feed: string;
  antenna: string;
  receiver: string;
  mount: string;
  rotation_deg: number;
  start: Time;
  stop: Time | null;
  note: string;
}

export interface Note {
  id: number;
  time: Time;
  trial: number | null;
  text: string;
}

/** GET /api/trials */
export interface TrialsAnswer {
  trials: Trial[];
  notes: Note[];
}

export interface ReachBand {
  altitude_low_ft: number;
  /** null: no upper end */
  altitude_high_ft: number | null;
  reach_km: number | null;
  horizon_km: number | null;
  flights?: number;
}

/** Of the ranges at which flights are first, or last, heard. */
export interface Quartiles {
  low: number;
  median: number;
  high: number;
  flights: number;
}

export interface ReachSector {
  bearing_deg: number;
  /** null: nothing believable was heard here */
  reach_km: number | null;
  altitude_ft: number | null;
  /** Horizon at that aircraft's altitude. */
  horizon_km: number | null;
  ratio: number | null;
  address?: string | null;
  time: Time | null;
  half_rate_km: number | null;
  half_rate_low_km?: number | null;
  /** null: no upper end within the traffic */
  half_rate_high_km?: number | null;
  first_heard_km?: Quartiles | null;
  last_heard_km?: Quartiles | null;
  by_altitude?: ReachBand[];
  flights?: number;
  cells?: number;
}

/** An outline to hold reach against: as far as an aircraft at that altitude can be heard. */
export interface Limit {
  altitude_ft: number;
  /** Mean over bearings. */
  horizon_km: number;
  horizon_km_by_sector?: number[];
}

/** GET /api/reach */
export interface ReachAnswer {
  sentence?: string;
  /** The same with nautical miles first. */
  sentence_aviation?: string;
  sector_deg?: number;
  sectors: ReachSector[];
  /** Names what every ratio is held against. */
  limit_method?: string;
  limits?: Limit[];
  from?: Time | null;
  to?: Time | null;
}

export type SectorState = "horizon" | "signal" | "obstructed" | "unjudged";
export type VerdictWord = "omnidirectional" | "not_omnidirectional" | "undecided";

/** Gain by elevation with its interval, null where it is not known. */
export interface ElevationGain {
  elevation_deg: number;
  gain_db: number | null;
  low_db?: number | null;
  high_db?: number | null;
  flights: number;
}

/** The antenna's axis off the vertical. */
export interface Lean {
  deg: number;
  towards_deg: number;
  low_deg: number;
  high_deg: number;
}

/** A flat ground that throws back, by what it does to gain with elevation. */
export interface Reflection {
  from_deg: number;
  to_deg: number;
  height_m: number;
}

export interface VerdictSector {
  bearing_deg: number;
  gain_db: number | null;
  gain_low_db: number | null;
  gain_high_db: number | null;
  state: SectorState;
  cutoff_deg: number | null;
  reach_km: number | null;
  horizon_km: number | null;
  flights: number;
  cells: number;
}

export interface Interval {
  value: number;
  low: number;
  high: number;
}

/** What is worked out from cells takes only so many of them. */
interface OfCells {
  /** The selection begins earlier, but is too much for one answer. */
  only_from?: Time;
}

/** GET /api/verdict */
export interface VerdictAnswer extends OfCells {
  verdict: VerdictWord;
  sentence: string;
  confidence: number;
  tolerance_db: number;
  ripple_db: Interval | null;
  sectors: VerdictSector[];
  advice: string[];
  elevation?: ElevationGain[];
  lean?: Lean | null;
  reflections?: Reflection[];
  from: Time | null;
  to: Time | null;
}

export interface ExpectAltitude {
  altitude_ft: number;
  horizon_km: number;
  horizon_ray_km?: number | null;
  link_km?: number | null;
  expected_km?: number | null;
}

export interface ExpectBearing {
  bearing_deg: number;
  mask_deg: number | null;
  expected_km_by_altitude: (number | null)[];
  /** "horizon", "mask", "terrain" or "link" */
  limited_by_altitude?: string[];
}

/** GET /api/expect */
export interface ExpectAnswer {
  antenna_m: number;
  altitudes: ExpectAltitude[];
  bearings: ExpectBearing[];
}

export interface Hour {
  time: Time;
  heard: number;
  expected: number;
}

/** GET /api/hours; hours without a cell are left out */
export interface HoursAnswer {
  hours: Hour[];
}

/** Reports heard of chances in one bin, whose middle is given. */
export interface CutBin {
  range_km: number;
  altitude_ft: number;
  heard: number;
  expected: number;
}

export interface CutPoint {
  range_km: number;
  altitude_ft: number;
}

export interface CutFlight {
  address: string;
  from: Time;
  to: Time;
  nearest_km: number;
  farthest_km: number;
  heard: number;
  expected: number;
}

/** GET /api/cut?bearing_deg= : what one sector looks like from the side */
export interface CutAnswer extends OfCells {
  bearing_deg: number;
  sector_deg: number;
  range_step_km: number;
  altitude_step_ft: number;
  bins: CutBin[];
  /** The lowest altitude that the horizon leaves at each range. */
  horizon: CutPoint[];
  /** Lines of equal elevation, as the refracted ray runs. */
  elevations: { elevation_deg: number; line: CutPoint[] }[];
  cutoff_deg?: number | null;
  /** The latest ones; `flights_in_all` says of how many. */
  flights?: CutFlight[];
  flights_in_all?: number;
  hours?: Hour[];
}

/** GET /api/field : share heard by range and bearing; bins without a chance are left out */
export interface FieldAnswer extends OfCells {
  sector_deg: number;
  range_step_km: number;
  bins: { bearing_deg: number; range_km: number; heard: number; expected: number }[];
}

export interface DriftDay {
  date: string;
  index_db: number;
  low_db: number;
  high_db: number;
  flights: number;
}

export interface DriftChange {
  time: Time;
  step_db: number;
  low_db: number;
  high_db: number;
  bearings: "all" | number[];
  probability: number;
}

/** GET /api/drift */
export interface DriftAnswer extends OfCells {
  days: DriftDay[];
  changes: DriftChange[];
}

export interface CompareSector {
  bearing_deg: number;
  difference_db: number | null;
  low_db: number | null;
  high_db: number | null;
  significant: boolean;
}

/** GET /api/compare?a=&b= : a minus b */
export interface CompareAnswer extends OfCells {
  difference_db: Interval | null;
  sectors: CompareSector[];
  paired: boolean;
  verdict: string;
  sentence?: string;
  confounded: string[];
}

export interface SkyCell {
  time: Time;
  range_km: number;
  bearing_deg: number;
  altitude_ft: number;
  heard: number;
  expected: number;
}

/** GET /api/sky : the last ten minutes of the record */
export interface SkyAnswer {
  to: Time | null;
  aircraft: { address: string | null; track: SkyCell[] }[];
  /** Of the last hour. */
  farthest: (SkyCell & { address: string | null }) | null;
}

export type FeedState = "connecting" | "connected" | "stalled" | "listening" | "stopped";

export interface FeedLive {
  name: string;
  state: FeedState;
  /** "host:port" that it connects to or listens on. */
  endpoint?: string | null;
  state_since_s: number | null;
  last_report_s: number | null;
  feed_time_s: number | null;
  clock_ahead_s: number;
  received: number;
  stored: number;
  repeats: number;
  rejected: number;
  rejects: Record<string, number>;
  aircraft: number;
  farthest_km: number | null;
  queued: number;
  queue_limit: number;
}

/** One event of GET /api/live */
export interface Live {
  now_s: number;
  started_s: number;
  last_commit_s: number | null;
  store_state: string;
  feeds: FeedLive[];
}

/** RFC 9457 */
export interface Problem {
  title: string;
  status: number;
  detail: string;
}

/** An answer, or why there is none. */
export type Answer<T> =
  /** as_of_s: when it was worked out, where cells have come since that are not in it. */
  | { kind: "ok"; value: T; as_of_s?: number }
  | { kind: "absent" }
  | { kind: "failed"; detail: string };

async function problem_detail(response: Response): Promise<string> {
  try {
    const problem = (await response.json()) as Partial<Problem>;
    return problem.detail ?? problem.title ?? response.statusText;
  } catch {
    return `${response.status} ${response.statusText}`;
  }
}

/**
 * What takes roundeld long is given as it was some time ago. Both fields are by its clock, which the
 * reader's may not agree with.
 */
export function as_of_s(fields: Headers): number | null {
  const age_s = Number(fields.get("age") ?? "none");
  const now_ms = Date.parse(fields.get("date") ?? "");
  return age_s > 0 && !Number.isNaN(now_ms) ? now_ms / 1000 - age_s : null;
}

/** Never throws. 404 is "absent": this roundeld does not offer it, or has nothing to say yet. */
export async function ask<T>(path: string, query?: URLSearchParams): Promise<Answer<T>> {
  const text = query?.toString() ?? "";
  try {
    const response = await fetch(text === "" ? path : `${path}?${text}`, {
      headers: { accept: "application/json" },
    });
    if (response.status === 404) return { kind: "absent" };
    if (!response.ok) return { kind: "failed", detail: await problem_detail(response) };
    const at_s = as_of_s(response.headers);
    const value = (await response.json()) as T;
    return at_s === null ? { kind: "ok", value } : { kind: "ok", value, as_of_s: at_s };
  } catch (error) {
    return { kind: "failed", detail: error instanceof Error ? error.message : String(error) };
  }
}

/** Which paths this roundeld answers, by its own description; none where it has no description. */
export async function offered(): Promise<Set<string>> {
  const description = await ask<{ paths?: Record<string, unknown> }>("api/openapi.json");
  return new Set(description.kind === "ok" ? Object.keys(description.value.paths ?? {}) : []);
}

/** POST with the token that the reader has typed in. Never throws; the answer's own words on refusal. */
export async function tell(path: string, token: string, body: unknown): Promise<Answer<null>> {
  try {
    const response = await fetch(path, {
      method: "POST",
      headers: { "content-type": "application/json", authorization: `Bearer ${token}` },
      body: JSON.stringify(body),
    });
    return response.ok
      ? { kind: "ok", value: null }
      : { kind: "failed", detail: await problem_detail(response) };
  } catch (error) {
    return { kind: "failed", detail: error instanceof Error ? error.message : String(error) };
  }
}
