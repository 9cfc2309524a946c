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
  altitude_high_ft: number;
  reach_km: number | null;
  horizon_km: number | null;
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
  by_altitude?: ReachBand[];
  flights?: number;
}

/** An outline to hold reach against: as far as an aircraft at that altitude can be heard. */
export interface Limit {
  altitude_ft: number;
  horizon_km: number;
}

/** GET /api/reach */
export interface ReachAnswer {
  sentence?: string;
  sector_deg?: number;
  sectors: ReachSector[];
  limits?: Limit[];
  from?: Time | null;
  to?: Time | null;
}

export type SectorState = "horizon" | "signal" | "obstructed" | "unjudged";
export type VerdictWord = "omnidirectional" | "not_omnidirectional" | "undecided";

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

/** GET /api/verdict */
export interface VerdictAnswer {
  verdict: VerdictWord;
  sentence: string;
  confidence: number;
  tolerance_db: number;
  ripple_db: Interval | null;
  sectors: VerdictSector[];
  advice: string[];
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
}

/** GET /api/expect */
export interface ExpectAnswer {
  antenna_m: number;
  altitudes: ExpectAltitude[];
  bearings: ExpectBearing[];
}

export type FeedState = "connecting" | "connected" | "stalled" | "listening" | "stopped";

export interface FeedLive {
  name: string;
  state: FeedState;
  state_since_s: number | null;
  last_report_s: number | null;
  feed_time_s: number | null;
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
  | { kind: "ok"; value: T }
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

/** Never throws. 404 is "absent": this roundeld does not offer it, or has nothing to say yet. */
export async function ask<T>(path: string, query?: URLSearchParams): Promise<Answer<T>> {
  const text = query?.toString() ?? "";
  try {
    const response = await fetch(text === "" ? path : `${path}?${text}`, {
      headers: { accept: "application/json" },
    });
    if (response.status === 404) return { kind: "absent" };
    if (!response.ok) return { kind: "failed", detail: await problem_detail(response) };
    return { kind: "ok", value: (await response.json()) as T };
  } catch (error) {
    return { kind: "failed", detail: error instanceof Error ? error.message : String(error) };
  }
}

/** Which paths this roundeld answers, by its own description; none where it has no description. */
export async function offered(): Promise<Set<string>> {
  const description = await ask<{ paths?: Record<string, unknown> }>("api/openapi.json");
  return new Set(description.kind === "ok" ? Object.keys(description.value.paths ?? {}) : []);
}
