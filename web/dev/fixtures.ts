// Answers of an invented roundeld: one site with a wall to the north-east, a weak lobe to the
// south and an empty quarter. For developing and testing the page; seeded, so always the same.
import type {
  CompareAnswer,
  CutAnswer,
  CutPoint,
  DriftAnswer,
  ExpectAnswer,
  FieldAnswer,
  FeedLive,
  HoursAnswer,
  Live,
  ReachAnswer,
  ReachSector,
  SectorState,
  SiteAnswer,
  SkyAnswer,
  TrialsAnswer,
  VerdictAnswer,
  VerdictSector,
} from "../src/api";
import { random } from "./random";

export type ScenarioName =
  | "reach"
  | "judged"
  | "empty"
  | "fresh"
  | "no_feed"
  | "no_altitude"
  | "stalled"
  | "flat"
  | "writable";

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

const limit_altitudes_ft = [6000, 18000, 38000];

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
  const edges_ft = [0, 6000, 18000, 29000];
  const bands = edges_ft.map((low, i) => {
    const high = edges_ft[i + 1] ?? null;
    return {
      altitude_low_ft: low,
      altitude_high_ft: high,
      reach_km: Math.round(10 * ratio * horizon_km(low + 8000)) / 10,
      horizon_km: Math.round(10 * horizon_km(low + 8000)) / 10,
      flights: Math.round(60 * ratio),
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
    half_rate_low_km: Math.round(10 * ratio * horizon * 0.7) / 10,
    half_rate_high_km: Math.round(10 * ratio * horizon * 0.81) / 10,
    first_heard_km: null,
    last_heard_km: {
      low: Math.round(ratio * horizon * 0.82),
      median: Math.round(ratio * horizon * 0.9),
      high: Math.round(ratio * horizon * 0.95),
      flights: 31,
    },
    by_altitude: bands,
    flights: 60 + Math.floor(140 * next()),
    cells: 2000 + Math.floor(4000 * next()),
  };
}

export function reach(is_flat = false): ReachAnswer {
  const next = random(7);
  return {
    sentence:
      "Farthest aircraft 402 km (217 NM) at 340 degrees, 96% of the radio horizon (4/3 Earth) at its height; 18 of 72 sectors reach less than half the horizon: 045 to 090, 145 to 185 degrees.",
    sentence_aviation:
      "Farthest aircraft 217 NM (402 km) at 340 degrees, 96% of the radio horizon (4/3 Earth) at its height; 18 of 72 sectors reach less than half the horizon: 045 to 090, 145 to 185 degrees.",
    sector_deg,
    sectors: truths(is_flat).map((sector) => reach_sector(sector, next)),
    limits: limit_altitudes_ft.map((altitude_ft) => ({
      altitude_ft,
      horizon_km: Math.round(10 * horizon_km(altitude_ft)) / 10,
    })),
    limit_method: "4/3 Earth",
    from: rfc3339(start_s),
    to: rfc3339(now_s),
  };
}

function empty_reach(): ReachAnswer {
  const answer = reach();
  return { ...answer, sentence: "", sentence_aviation: "", sectors: [], from: null, to: null };
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
      expected_km: Math.round(10 * horizon_km(altitude_ft)) / 10,
    })),
    bearings: [],
  };
}

/** Traffic by hour of the day, quiet at night. */
export function hours(): HoursAnswer {
  const next = random(3);
  const list = [];
  for (let time_s = start_s; time_s < now_s; time_s += 3600) {
    const hour = (time_s / 3600) % 24;
    const traffic = 400 + 9000 * Math.max(0, Math.sin(((hour - 4) / 20) * Math.PI)) ** 0.7;
    const expected = Math.round(traffic * (0.85 + 0.3 * next()));
    if (time_s - start_s > 2 * 86400 && time_s - start_s < 2.2 * 86400) continue; // receiver off
    list.push({ time: rfc3339(time_s), heard: Math.round(expected * 0.71), expected });
  }
  return { hours: list };
}

export function drift(): DriftAnswer {
  const next = random(5);
  return {
    days: Array.from({ length: 7 }, (_, i) => {
      const index_db = (i < 4 ? 0.7 : -0.9) + (next() - 0.5) * 0.5;
      return {
        date: rfc3339(start_s + i * 86400).slice(0, 10),
        index_db,
        low_db: index_db - 0.4,
        high_db: index_db + 0.4,
        flights: 300 + Math.floor(50 * next()),
      };
    }),
    changes: [
      {
        time: rfc3339(start_s + 4 * 86400),
        step_db: -1.6,
        low_db: -2.1,
        high_db: -1.1,
        bearings: "all",
        probability: 0.98,
      },
    ],
  };
}

/** Logistic in dB against a level that falls with range; nothing below the cut-off. */
function share_heard(range_km: number, gain_db: number): number {
  const level_db = gain_db + 8 - 20 * Math.log10(Math.max(range_km, 20) / 200);
  return 0.93 / (1 + Math.exp(-level_db / 2.2));
}

/** Altitude at which a ray of that elevation passes, 4/3 Earth, plane geometry. */
function altitude_of(range_km: number, elevation_deg: number): number {
  const height_m =
    antenna_m +
    range_km * 1000 * Math.tan((elevation_deg * Math.PI) / 180) +
    (range_km * 1000) ** 2 / (2 * (4 / 3) * 6371008.8);
  return height_m / 0.3048;
}

function ray(elevation_deg: number): CutPoint[] {
  return Array.from({ length: 49 }, (_, i) => ({
    range_km: i * 10,
    altitude_ft: Math.round(altitude_of(i * 10, elevation_deg)),
  }));
}

export function cut(bearing_deg: number): CutAnswer {
  const next = random(Math.round(bearing_deg * 10));
  const of = truth(Math.floor(bearing_deg / sector_deg) * sector_deg + sector_deg / 2, false);
  const bins = [];
  const [range_step_km, altitude_step_ft] = [20, 3000];
  for (let range_km = 10; range_km < 480; range_km += range_step_km)
    for (let altitude_ft = 1500; altitude_ft < 42000; altitude_ft += altitude_step_ft) {
      const is_over = altitude_ft > altitude_of(range_km, of.cutoff_deg ?? 0);
      if (altitude_ft < altitude_of(range_km, -0.05)) continue;
      const expected = Math.floor((altitude_ft > 28000 ? 300 : 80) * next());
      if (expected < 20) continue;
      const share = is_over ? share_heard(range_km, of.gain_db) : 0.01;
      bins.push({ range_km, altitude_ft, heard: Math.round(expected * share), expected });
    }
  const elevations = [0.5, 1, 2, 4, ...(of.cutoff_deg === null ? [] : [of.cutoff_deg])];
  return {
    bearing_deg: of.bearing_deg,
    sector_deg,
    range_step_km,
    altitude_step_ft,
    bins: of.state === "unjudged" ? [] : bins,
    horizon: Array.from({ length: 49 }, (_, i) => i * 10)
      .filter((range_km) => range_km >= 15)
      .map((range_km) => ({
        range_km,
        altitude_ft: Math.round(Math.max(0, range_km / 4.12 - Math.sqrt(antenna_m)) ** 2 / 0.3048),
      })),
    elevations: elevations
      .sort((a, b) => a - b)
      .map((elevation_deg) => ({ elevation_deg, line: ray(elevation_deg) })),
    cutoff_deg: of.cutoff_deg,
    flights: Array.from({ length: 8 }, (_, i) => {
      const from_s = start_s + Math.floor(next() * 6 * 86400);
      const expected = 400 + Math.floor(800 * next());
      return {
        address: (0x400000 + i * 4177).toString(16),
        from: rfc3339(from_s),
        to: rfc3339(from_s + 1500),
        nearest_km: Math.round(20 + 100 * next()),
        farthest_km: Math.round(200 + 220 * next()),
        heard: Math.floor(expected * 0.7),
        expected,
      };
    }),
    flights_in_all: 8,
    hours: hours().hours.slice(0, 48),
  };
}

export function field(): FieldAnswer {
  const next = random(13);
  const bins = [];
  const range_step_km = 25;
  for (const of of truths(false))
    for (let range_km = range_step_km / 2; range_km < 450; range_km += range_step_km) {
      const expected = Math.floor(200 * next());
      if (expected < 10 || of.ratio === null) continue;
      const is_hidden = of.cutoff_deg !== null && range_km > 180;
      const share = is_hidden ? 0 : share_heard(range_km, of.gain_db);
      bins.push({
        bearing_deg: of.bearing_deg,
        range_km,
        heard: Math.round(expected * share),
        expected,
      });
    }
  return { sector_deg, range_step_km, bins };
}

/** Three in sight: one heard, one with a gap behind it, one in a gap. */
export function sky(): SkyAnswer {
  const track = (bearing_deg: number, silent: (i: number) => boolean) =>
    Array.from({ length: 60 }, (_, i) => ({
      time: rfc3339(now_s - 600 + i * 10),
      range_km: 120 + 2.4 * i,
      bearing_deg: bearing_deg + i / 6,
      altitude_ft: 36000,
      heard: silent(i) ? 0 : 17,
      expected: 20,
    }));
  const tracks = [
    track(300, () => false),
    track(10, (i) => i > 20 && i < 35),
    track(60, (i) => i > 45),
  ];
  return {
    to: rfc3339(now_s),
    aircraft: tracks.map((cells, i) => ({ address: `4b161${i}`, track: cells })),
    farthest: {
      time: rfc3339(now_s - 900),
      range_km: 401,
      bearing_deg: 340,
      altitude_ft: 38000,
      heard: 4,
      expected: 20,
      address: "4b1617",
    },
  };
}

/** What a verdict tells of the antenna from the side, where it tells of it. */
export function side(): Pick<VerdictAnswer, "elevation" | "lean" | "reflections"> {
  return {
    elevation: Array.from({ length: 12 }, (_, i) => {
      const gain_db = 1.5 - 0.12 * (i - 3) ** 2;
      return {
        elevation_deg: i + 0.5,
        gain_db,
        low_db: gain_db - 0.3 - 0.1 * i,
        high_db: gain_db + 0.3 + 0.1 * i,
        flights: 400 - 30 * i,
      };
    }),
    lean: { deg: 1.8, towards_deg: 70, low_deg: 0.9, high_deg: 2.6 },
    reflections: [{ from_deg: 200, to_deg: 240, height_m: 14 }],
  };
}

export function compare(): CompareAnswer {
  const next = random(17);
  return {
    difference_db: { value: 1.3, low: 0.9, high: 1.7 },
    sectors: truths(false).map((of) => {
      const difference = 1.3 + 1.4 * Math.cos(((of.bearing_deg - 160) * Math.PI) / 180);
      const value = difference + (next() - 0.5) * 0.4;
      const is_known = of.state !== "unjudged";
      return {
        bearing_deg: of.bearing_deg,
        difference_db: is_known ? value : null,
        low_db: is_known ? value - 0.8 : null,
        high_db: is_known ? value + 0.8 : null,
        significant: is_known && Math.abs(value) > 0.8,
      };
    }),
    paired: false,
    verdict: "a",
    confounded: ["antenna and week: the two were on one after the other"],
  };
}

function feed(change: Partial<FeedLive> = {}): FeedLive {
  return {
    name: "roof",
    state: "connected",
    endpoint: "127.0.0.1:27411",
    state_since_s: now_s - 86400,
    last_report_s: now_s - 0.4,
    feed_time_s: now_s - 0.6,
    clock_ahead_s: 0,
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
  clock_ahead_s: 0,
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
  /** An answer, or what makes one of the query. */
  answers: Record<string, unknown>;
  live: Live;
  /** Lets POST through. */
  token?: string;
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
        answers: {
          ...heard,
          "/api/reach": (query: URLSearchParams) =>
            reach(query.get("antenna") === "spider" || query.get("trial") === "1"),
          "/api/verdict": verdict(),
          "/api/expect": expect_answer(),
          "/api/hours": hours(),
          "/api/drift": drift(),
          "/api/field": field(),
          "/api/compare": compare(),
          "/api/sky": sky(),
          "/api/cut": (query: URLSearchParams) => cut(Number(query.get("bearing_deg"))),
        },
        live: live_of([feed()]),
      };
    case "writable":
      return {
        answers: { ...heard, "/api/site": { ...site, writable: true } },
        live: live_of([feed()]),
        token: "let me in",
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
    case "fresh": // before the first report, of a roundeld that answers all there is
      return {
        answers: {
          ...scenario("judged").answers,
          "/api/reach": empty_reach(),
          "/api/hours": { hours: [] },
        },
        live: scenario("empty").live,
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
