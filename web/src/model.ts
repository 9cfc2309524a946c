// All that has been answered so far, and what pictures need of it. Pure: no fetching here.
import type {
  Answer,
  CompareAnswer,
  CutAnswer,
  DriftAnswer,
  ExpectAnswer,
  FieldAnswer,
  HoursAnswer,
  Live,
  ReachAnswer,
  ReachSector,
  SiteAnswer,
  SkyAnswer,
  Trial,
  TrialsAnswer,
  VerdictAnswer,
  VerdictSector,
} from "./api";
import { sector_at, sector_width_deg } from "./geometry";
import type { Land } from "./marks/coast";
import type { LimitData, ReachMapData } from "./marks/reach_map";
import type { ViewState } from "./state";
import { altitude_text, type Units } from "./units";

export type Connection = { kind: "opening" } | { kind: "open" } | { kind: "lost"; since_s: number };

export interface Model {
  site: SiteAnswer | null;
  reach: Answer<ReachAnswer> | null;
  verdict: Answer<VerdictAnswer> | null;
  expect: Answer<ExpectAnswer> | null;
  trials: Answer<TrialsAnswer> | null;
  hours: Answer<HoursAnswer> | null;
  drift: Answer<DriftAnswer> | null;
  field: Answer<FieldAnswer> | null;
  cut: Answer<CutAnswer> | null;
  /** Against a second selection: the difference, and that one's own reach. */
  compare: Answer<CompareAnswer> | null;
  reach_against: Answer<ReachAnswer> | null;
  /** Who is in sight; null: nobody asks at the moment. */
  sky: SkyAnswer | null;
  /** Paths that this roundeld answers. */
  offered: ReadonlySet<string>;
  live: Live | null;
  connection: Connection;
  land: Land | null;
}

export const empty_model: Model = {
  site: null,
  reach: null,
  verdict: null,
  expect: null,
  trials: null,
  hours: null,
  drift: null,
  field: null,
  cut: null,
  compare: null,
  reach_against: null,
  sky: null,
  offered: new Set(),
  live: null,
  connection: { kind: "opening" },
  land: null,
};

export function value_of<T>(answer: Answer<T> | null): T | null {
  return answer !== null && answer.kind === "ok" ? answer.value : null;
}

/** One sector as both answers see it. */
export interface Sector {
  bearing_deg: number;
  reach: ReachSector | null;
  verdict: VerdictSector | null;
}

let joined_of: unknown[] = [];
let joined: Sector[] = [];

/**
 * Sectors in order of bearing; the verdict's beside reach's where both have the same width. The
 * same list for the same answers, so that following the pointer joins nothing anew.
 */
export function sectors_of(model: Model): Sector[] {
  if (joined_of[0] !== model.reach || joined_of[1] !== model.verdict) {
    joined = join_sectors(model);
    joined_of = [model.reach, model.verdict];
  }
  return joined;
}

function join_sectors(model: Model): Sector[] {
  const reach = value_of(model.reach)?.sectors ?? [];
  const verdict = value_of(model.verdict)?.sectors ?? [];
  const frame: { bearing_deg: number }[] = reach.length > 0 ? reach : verdict;
  const half_deg = sector_width_deg(frame) / 2;
  return [...frame]
    .sort((a, b) => a.bearing_deg - b.bearing_deg)
    .map(({ bearing_deg }) => {
      const judged = sector_at(verdict, bearing_deg);
      const heard = reach.find((sector) => sector.bearing_deg === bearing_deg) ?? null;
      return {
        bearing_deg,
        reach: heard,
        verdict:
          judged !== null && Math.abs(judged.bearing_deg - bearing_deg) <= half_deg ? judged : null,
      };
    });
}

export function sector_deg_of(model: Model): number {
  return sector_width_deg(sectors_of(model), value_of(model.reach)?.sector_deg);
}

/** The bearing whose reach falls furthest short of its horizon: where to look first. */
export function weakest_bearing_deg(model: Model): number | null {
  let weakest: Sector | null = null;
  for (const sector of sectors_of(model)) {
    const ratio = sector.reach?.ratio;
    if (ratio != null && ratio < (weakest?.reach?.ratio ?? Infinity)) weakest = sector;
  }
  return weakest?.bearing_deg ?? null;
}

export function has_reach(model: Model): boolean {
  return (value_of(model.reach)?.sectors ?? []).some((sector) => sector.reach_km !== null);
}

/**
 * Outlines of what can be heard at all: horizon, mask and terrain from `expect`, else the horizon.
 * A link budget is no limit: its median is what half of all aircraft exceed.
 */
export function limits_of(model: Model, units: Units): LimitData[] {
  const expect = value_of(model.expect);
  if (expect !== null) {
    return expect.altitudes.map((altitude, i) => {
      const ranges = expect.bearings.map((bearing) => ({
        bearing_deg: bearing.bearing_deg,
        range_km:
          bearing.limited_by_altitude?.[i] === "link"
            ? altitude.horizon_km
            : (bearing.expected_km_by_altitude[i] ?? null),
      }));
      const is_round = ranges.length === 0 || ranges.some((bearing) => bearing.range_km === null);
      return {
        label: altitude_text(units, altitude.altitude_ft),
        range_km: is_round ? altitude.horizon_km : ranges,
      };
    });
  }
  const reach = value_of(model.reach);
  return (reach?.limits ?? []).map((limit) => {
    const by_sector = limit.horizon_km_by_sector;
    return {
      label: altitude_text(units, limit.altitude_ft),
      range_km:
        by_sector === undefined || by_sector.length !== reach?.sectors.length
          ? limit.horizon_km
          : reach.sectors.map(({ bearing_deg }, i) => ({
              bearing_deg,
              range_km: by_sector[i] ?? null,
            })),
    };
  });
}

/** Of all altitudes, or of one band, counted from the lowest. */
function reach_of_band(sector: ReachSector, band: number | null): number | null {
  return band === null ? sector.reach_km : (sector.by_altitude?.[band]?.reach_km ?? null);
}

/**
 * What the map shows. Of one band of altitude there is a reach, but neither shares nor states.
 * @param band  counted from the lowest; null: all altitudes
 */
export function map_data(
  model: Model,
  units: Units,
  band: number | null = null,
): ReachMapData | null {
  const site = model.site?.site;
  if (!site) return null;
  const field = band === null ? value_of(model.field) : null;
  return {
    latitude_deg: site.latitude_deg,
    longitude_deg: site.longitude_deg,
    sectors: sectors_of(model).map(({ bearing_deg, reach, verdict }) => ({
      bearing_deg,
      reach_km: reach === null ? (verdict?.reach_km ?? null) : reach_of_band(reach, band),
      state: band === null ? (verdict?.state ?? null) : null,
    })),
    sector_deg: sector_deg_of(model),
    limits: limits_of(model, units),
    land: model.land,
    field:
      field === null
        ? null
        : {
            sector_deg: field.sector_deg,
            only_from: field.only_from,
            bins: field.bins
              .filter((bin) => bin.expected > 0)
              .map((bin) => ({
                bearing_deg: bin.bearing_deg,
                from_km: bin.range_km - field.range_step_km / 2,
                to_km: bin.range_km + field.range_step_km / 2,
                heard: bin.heard,
                expected: bin.expected,
              })),
          },
    difference: null,
    against: null,
  };
}

/** The same of two selections: the outlines of both, and which of them hears better. */
export function compare_map_data(
  model: Model,
  units: Units,
  band: number | null,
): ReachMapData | null {
  const data = map_data(model, units, band);
  const against = value_of(model.reach_against);
  const compare = value_of(model.compare);
  if (data === null) return null;
  return {
    ...data,
    sectors: data.sectors.map((sector) => ({ ...sector, state: null })),
    field: null,
    difference:
      compare === null
        ? null
        : { sector_deg: sector_width_deg(compare.sectors), sectors: compare.sectors },
    against:
      against === null
        ? null
        : {
            sector_deg: sector_width_deg(against.sectors, against.sector_deg),
            sectors: against.sectors.map((sector) => ({
              bearing_deg: sector.bearing_deg,
              reach_km: reach_of_band(sector, band),
            })),
          },
  };
}

/** Of trials the one that was begun last; a running one before all that have ended. */
function newest(trials: Trial[]): Trial | null {
  return trials.reduce<Trial | null>((best, trial) => {
    const is_later =
      best === null ||
      (trial.stop === null && best.stop !== null) ||
      ((trial.stop === null) === (best.stop === null) &&
        Date.parse(trial.start) > Date.parse(best.start));
    return is_later ? trial : best;
  }, null);
}

/**
 * The antenna to show where none is asked for: the one mounted last, when there are several. A
 * pattern of two antennas together would be that of neither. null: there is only one.
 */
export function usual_antenna(model: Model): string | null {
  if ((model.site?.antennas.length ?? 0) < 2) return null;
  return newest(value_of(model.trials)?.trials ?? [])?.antenna ?? null;
}

/** What is shown, by name. */
export function shown_antenna(model: Model, state: ViewState): string | null {
  return state.antenna ?? usual_antenna(model) ?? model.site?.antennas[0] ?? null;
}

/** What to hold against where nothing is chosen: the antenna that was mounted before this one. */
export function usual_other(model: Model, state: ViewState): string | null {
  if (state.trial !== null) return null;
  const shown = shown_antenna(model, state);
  const others = (value_of(model.trials)?.trials ?? []).filter(({ antenna }) => antenna !== shown);
  const other = newest(others);
  return other === null ? null : `antenna=${other.antenna}`;
}
