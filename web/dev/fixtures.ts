// Answers of an invented roundeld: one site with a wall to the north-east, a weak lobe to the
// south and an empty quarter. For developing and testing the page; seeded, so always the same.
import type {
  ExpectAnswer,
  FeedLive,
  Live,
  ReachAnswer,
  ReachSector,
  SectorState,
  SiteAnswer,
  TrialsAnswer,
  VerdictAnswer,
  VerdictSector,
} from "../src/api";
import { random } from "./random";

export type ScenarioName =
  | "reach"
  | "judged"
  | "empty"
  | "no_feed"
  | "no_altitude"
  | "stalled"
  | "flat";

const sector_deg = 5;
const antenna_m = 12;
/** Start of the record, 2026-03-01 00:00 UTC. */
const start_s = 1772323200;
export const now_s = start_s + 7 * 86400;

function rfc3339(time_s: number): string {
  return new Date(time_s * 1000).toISOString().replace(".000Z", "Z");
}

/** 4/3-Earth horizon in km, mean radius: 4.12 (sqrt h1 + sqrt h2), heights in m (handbook rule). */
function horizon_km(altitude_ft: number): number {
  return 4.12 * (Math.sqrt(antenna_m) + Math.sqrt(altitude_ft * 0.3048));
}

interface Truth {
  bearing_deg: number;
  gain_db: number;
  state: SectorState;
  ratio: number | null;
  cutoff_deg: number | null;
}

function truth(bearing_deg: number, is_flat: boolean): Truth {
  const gain_db = is_flat ? 0 : 1.6 * Math.cos(((bearing_deg - 340) * Math.PI) / 180);
  if (bearing_deg > 40 && bearing_deg < 95)
    return { bearing_deg, gain_db, state: "obstructed", ratio: 0.38, cutoff_deg: 2.4 };
  if (bearing_deg > 245 && bearing_deg < 265)
    return { bearing_deg, gain_db, state: "unjudged", ratio: null, cutoff_deg: null };
  if (!is_flat && bearing_deg > 140 && bearing_deg < 190)
    return { bearing_deg, gain_db: gain_db - 2.5, state: "signal", ratio: 0.74, cutoff_deg: null };
  return { bearing_deg, gain_db, state: "horizon", ratio: 0.955, cutoff_deg: null };
}

function truths(is_flat: boolean): Truth[] {
  return Array.from({ length: 360 / sector_deg }, (_, i) =>
    truth(i * sector_deg + sector_deg / 2, is_flat),
  );
}

export const site: SiteAnswer = {
  version: "0.1.0",
  writable: false,
  site: {
    name: "Hill house",
    latitude_deg: 52.1,
    longitude_deg: 19.4,
    ground_m: 110,
    antenna_m,
    surface_m: 100,
  },
  antennas: ["collinear", "spider"],
  receivers: ["rx1"],
  mounts: ["gable"],
  feeds: ["roof"],
};

export const trials: TrialsAnswer = {
  trials: [
    {
      id: 1,
      feed: "roof",
      antenna: "spider",
      receiver: "rx1",
      mount: "gable",
      rotation_deg: 0,
      start: rfc3339(start_s),
      stop: rfc3339(start_s + 3 * 86400),
      note: "",
    },
    {
      id: 2,
      feed: "roof",
      antenna: "collinear",
      receiver: "rx1",
      mount: "gable",
      rotation_deg: 0,
      start: rfc3339(start_s + 3 * 86400),
      stop: null,
      note: "",
    },
  ],
  notes: [
    { id: 1, time: rfc3339(start_s + 4.4 * 86400), trial: 2, text: "reseated the connector" },
  ],
};

const limit_altitudes_ft = [10000, 25000, 40000];

function reach_sector(of: Truth, next: () => number): ReachSector {
  const altitude_ft = Math.round((33000 + 7000 * next()) / 25) * 25;
  const horizon = horizon_km(altitude_ft);
  const spread = 0.98 + 0.035 * next();
  const time = rfc3339(start_s + Math.floor(next() * 7 * 86400));
  const address = Math.floor(next() * 0xfffff)
    .toString(16)
    .padStart(6, "0");
  if (of.ratio === null)
    return {
      bearing_deg: of.bearing_deg,
      reach_km: null,
      altitude_ft: null,
      horizon_km: null,
      ratio: null,
      address: null,
      time: null,
      half_rate_km: null,
      by_altitude: [],
    };
  const ratio = Math.min(1.02, of.ratio * spread);
  const bands = [0, 10000, 20000, 30000].map((low) => {
    const high = low + 10000;
    return {
      altitude_low_ft: low,
      altitude_high_ft: high,
      reach_km: Math.round(10 * ratio * horizon_km(low + 8000)) / 10,
      horizon_km: Math.round(10 * horizon_km(low + 8000)) / 10,
    };
  });
  return {
    bearing_deg: of.bearing_deg,
    reach_km: Math.round(10 * ratio * horizon) / 10,
    altitude_ft,
    horizon_km: Math.round(10 * horizon) / 10,
    ratio: Math.round(1000 * ratio) / 1000,
    address,
    time,
    half_rate_km: Math.round(10 * ratio * horizon * (0.72 + 0.06 * next())) / 10,
    by_altitude: bands,
  };
}

export function reach(is_flat = false): ReachAnswer {
  const next = random(7);
  return {
    sentence:
      "Reaches 96 % of the radio horizon on 54 of 72 sectors; short of it from 045° to 090° and from 145° to 185°.",
    sector_deg,
    sectors: truths(is_flat).map((sector) => reach_sector(sector, next)),
    limits: limit_altitudes_ft.map((altitude_ft) => ({
      altitude_ft,
      horizon_km: Math.round(10 * horizon_km(altitude_ft)) / 10,
    })),
    from: rfc3339(start_s),
    to: rfc3339(now_s),
  };
}

function empty_reach(): ReachAnswer {
  const answer = reach();
  return { ...answer, sentence: "", sectors: [], from: null, to: null };
}

export function verdict(is_flat = false): VerdictAnswer {
  const next = random(11);
  const heard = reach(is_flat).sectors;
  const sectors: VerdictSector[] = truths(is_flat).map((sector, i) => {
    const is_known = sector.state !== "unjudged";
    const gain_db = sector.gain_db + (next() - 0.5) * 0.4;
    const half_db = (sector.state === "obstructed" ? 0.7 : 0.35) + 0.1 * next();
    const two = (value: number) => Math.round(value * 100) / 100;
    return {
      bearing_deg: sector.bearing_deg,
      gain_db: is_known ? two(gain_db) : null,
      gain_low_db: is_known ? two(gain_db - half_db) : null,
      gain_high_db: is_known ? two(gain_db + half_db) : null,
      state: sector.state,
      cutoff_deg: sector.cutoff_deg,
      reach_km: heard[i]?.reach_km ?? null,
      horizon_km: heard[i]?.horizon_km ?? null,
      flights: is_known ? 60 + Math.floor(140 * next()) : 3,
      cells: is_known ? 2000 + Math.floor(4000 * next()) : 41,
    };
  });
  return {
    verdict: is_flat ? "omnidirectional" : "not_omnidirectional",
    sentence: is_flat
      ? "The antenna is omnidirectional within 3 dB; from 040° to 095° a wall hides everything below 2.4°."
      : "The antenna is not omnidirectional: it gives 5.2 dB less towards 165° than towards 340°. From 040° to 095° a wall hides everything below 2.4°.",
    confidence: 0.95,
    tolerance_db: 3,
    ripple_db: is_flat ? { value: 0.6, low: 0.3, high: 1.0 } : { value: 5.2, low: 4.6, high: 5.8 },
    sectors,
    advice: ["From 245° to 265° about 9 more hours of traffic are needed for a judgement."],
    from: rfc3339(start_s),
    to: rfc3339(now_s),
  };
}

export function expect_answer(): ExpectAnswer {
  return {
    antenna_m,
    altitudes: limit_altitudes_ft.map((altitude_ft) => ({
      altitude_ft,
      horizon_km: Math.round(10 * horizon_km(altitude_ft)) / 10,
      horizon_ray_km: null,
      link_km: null,
      expected_km: Math.round(10 * horizon_km(altitude_ft)) / 10,
    })),
    bearings: [],
  };
}

function feed(change: Partial<FeedLive> = {}): FeedLive {
  return {
    name: "roof",
    state: "connected",
    state_since_s: now_s - 86400,
    last_report_s: now_s - 0.4,
    feed_time_s: now_s - 0.6,
    received: 1284350,
    stored: 1180231,
    repeats: 91200,
    rejected: 12919,
    rejects: { no_altitude: 4012, on_ground: 8110, beyond_horizon: 797 },
    aircraft: 43,
    farthest_km: 431.2,
    queued: 0,
    queue_limit: 65536,
    ...change,
  };
}

const nothing: Partial<FeedLive> = {
  received: 0,
  stored: 0,
  repeats: 0,
  rejected: 0,
  rejects: {},
  aircraft: 0,
  farthest_km: null,
  last_report_s: null,
  feed_time_s: null,
};

function live_of(feeds: FeedLive[]): Live {
  return {
    now_s,
    started_s: now_s - 7 * 86400,
    last_commit_s: now_s - 2,
    store_state: "ok",
    feeds,
  };
}

export interface Scenario {
  answers: Record<string, unknown>;
  live: Live;
}

export function scenario(name: ScenarioName): Scenario {
  const base = { "/api/site": site, "/api/trials": trials };
  const heard = { ...base, "/api/reach": reach() };
  const silent = { ...base, "/api/reach": empty_reach() };
  switch (name) {
    case "reach":
      return { answers: heard, live: live_of([feed()]) };
    case "judged":
      return {
        answers: { ...heard, "/api/verdict": verdict(), "/api/expect": expect_answer() },
        live: live_of([feed()]),
      };
    case "flat":
      return {
        answers: {
          ...base,
          "/api/reach": reach(true),
          "/api/verdict": verdict(true),
          "/api/expect": expect_answer(),
        },
        live: live_of([feed()]),
      };
    case "empty":
      return {
        answers: silent,
        live: live_of([feed({ ...nothing, state: "connecting", state_since_s: now_s - 190 })]),
      };
    case "no_feed":
      return { answers: silent, live: live_of([]) };
    case "no_altitude":
      return {
        answers: silent,
        live: live_of([
          feed({ received: 8200, stored: 0, rejected: 8100, rejects: { no_altitude: 8020 } }),
        ]),
      };
    case "stalled":
      return {
        answers: heard,
        live: live_of([
          feed({
            state: "stalled",
            state_since_s: now_s - 700,
            last_report_s: now_s - 760,
            aircraft: 0,
          }),
        ]),
      };
  }
}
