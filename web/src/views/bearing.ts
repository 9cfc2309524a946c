// The numbers of one bearing.
import type { ReachBand } from "../api";
import { csv, of, range, type Column } from "../columns";
import { html, set_text } from "../dom";
import { apart_deg, compass_point, sector_at, span_text, three_digits } from "../geometry";
import { has_reach, sector_deg_of, sectors_of, value_of, type Model, type Sector } from "../model";
import { overview } from "../overview";
import { strings } from "../strings";
import {
  altitude_text,
  db_text,
  grouped,
  percent_text,
  range_text,
  seconds_of,
  time_text,
  type Units,
} from "../units";
import { data_table } from "./data_table";
import { bearing_text } from "./words";
import type { Context, Shown, View } from "./view";

type Fact = [label: string, value: string];

/** What is known of a sector, in the order of interest; what roundeld did not say is left out. */
export function facts(sector: Sector, units: Units): Fact[] {
  const list: Fact[] = [];
  const add = (label: string, value: string | null) => {
    if (value !== null) list.push([label, value]);
  };
  const { reach, verdict } = sector;
  const optional = <T>(value: T | null | undefined, text: (value: T) => string): string | null =>
    value === null || value === undefined ? null : text(value);
  const range = (value: number) => range_text(units, value);
  add(strings.horizon, optional(reach?.horizon_km ?? verdict?.horizon_km, range));
  add(strings.of_horizon, optional(reach?.ratio, percent_text));
  add(
    strings.half_rate,
    optional(reach?.half_rate_km, (value) => {
      const low = reach?.half_rate_low_km;
      const high = reach?.half_rate_high_km;
      if (low == null) return range(value);
      return `${range(value)} (${high == null ? strings.at_least(range(low)) : strings.between(range(low), range(high))})`;
    }),
  );
  add(
    strings.last_heard,
    optional(
      reach?.last_heard_km,
      (of) => `${range(of.median)} (${strings.of_flights(grouped(of.flights))})`,
    ),
  );
  if (verdict !== null) {
    add(
      strings.gain,
      optional(verdict.gain_db, (gain) => {
        const { gain_low_db: low, gain_high_db: high } = verdict;
        return low === null || high === null
          ? db_text(gain)
          : `${db_text(gain)} (${strings.gain_band(db_text(low), db_text(high))})`;
      }),
    );
    add(
      strings.cutoff,
      optional(verdict.cutoff_deg, (cutoff) => `${cutoff.toFixed(1)}°`),
    );
  }
  add(
    strings.farthest_altitude,
    optional(reach?.altitude_ft, (ft) => altitude_text(units, ft)),
  );
  add(
    strings.farthest_time,
    optional(reach?.time, (time) => time_text(seconds_of(time))),
  );
  add(strings.flights, optional(verdict?.flights ?? reach?.flights, grouped));
  add(strings.cells, optional(verdict?.cells ?? reach?.cells, grouped));
  return list;
}

export function band_text(band: ReachBand, units: Units): string {
  const low = altitude_text(units, band.altitude_low_ft);
  return band.altitude_high_ft === null
    ? strings.above(low)
    : strings.between(low.replace(/\u00a0.*/, ""), altitude_text(units, band.altitude_high_ft));
}

const band_columns: Column<ReachBand>[] = [
  {
    key: "altitude_low_ft",
    label: strings.altitude,
    value: (row) => row.altitude_low_ft,
    text: band_text,
  },
  of("reach_km", strings.reach, (row) => row.reach_km, range),
  of("horizon_km", strings.horizon, (row) => row.horizon_km, range),
  of("flights", strings.flights, (row) => row.flights, grouped),
];
/** In CSV only: to people the band is one thing. */
const band_end_column = of<ReachBand, number>(
  "altitude_high_ft",
  strings.altitude,
  (row) => row.altitude_high_ft,
  (value, units) => altitude_text(units, value),
);

/** Reports heard of those sent: in the bin that is pointed at, else on the whole bearing. */
export function counts_text(model: Model, bearing_deg: number, range_km: number | null): string {
  const field = value_of(model.field);
  if (field === null) return "";
  const half_deg = field.sector_deg / 2;
  const bins = field.bins.filter((bin) => apart_deg(bin.bearing_deg, bearing_deg) <= half_deg);
  const near = range_km === null ? null : Math.floor(range_km / field.range_step_km);
  const counted = bins.filter(
    (bin) => near === null || Math.floor(bin.range_km / field.range_step_km) === near,
  );
  const sum = (of: "heard" | "expected") => counted.reduce((all, bin) => all + bin[of], 0);
  if (sum("expected") === 0) return near === null ? "" : strings.no_traffic_here;
  const text = strings.counts(
    grouped(sum("heard")),
    grouped(sum("expected")),
    percent_text(sum("heard") / sum("expected")),
  );
  return near === null ? text : strings.counts_here(text);
}

export function bearing_view({ doc, set, offer }: Context): View {
  const degrees = html(doc, "span", { class: "degrees" });
  const compass = html(doc, "span", { class: "compass" });
  const span = html(doc, "span", { class: "span" });
  const clear = html(doc, "button", { type: "button", class: "quiet" }, strings.clear);
  const state_line = html(doc, "p", { class: "state-line", hidden: true });
  const reach = html(doc, "p", { class: "headline" });
  const list = html(doc, "dl", {});
  const bands = html(doc, "div", {});
  let bands_csv: (() => string) | null = null;
  offer({
    name: "altitudes",
    label: strings.by_altitude,
    csv: () => (body.hidden || bands.hidden ? null : (bands_csv?.() ?? null)),
  });
  const counts = html(doc, "p", { class: "counts" });
  const body = html(doc, "div", { class: "bearing-body" }, reach, counts, state_line, list, bands);
  const hint = html(doc, "p", { class: "hint" }, strings.bearing_hint);
  clear.addEventListener("click", () => set({ bearing_deg: null }));

  const whole = html(doc, "dl", { class: "whole" });
  let drawn: unknown[] = [];
  let whole_of: unknown[] = [];

  /** What there is to say while no bearing is chosen; each line leads to its bearing. */
  function show_whole(model: Model, units: Units): void {
    const now: unknown[] = [model.reach, model.verdict, units];
    if (now.every((part, i) => part === whole_of[i])) return;
    whole_of = now;
    const line = (label: string, value: Node | string) =>
      html(doc, "div", {}, html(doc, "dt", {}, label), html(doc, "dd", {}, value));
    const link = (sector: Sector, value: string) => {
      const button = html(
        doc,
        "button",
        { type: "button", class: "quiet" },
        `${value}, ${bearing_text(sector.bearing_deg)}`,
      );
      button.addEventListener("click", () => set({ bearing_deg: Math.floor(sector.bearing_deg) }));
      return button;
    };
    const { farthest, weakest, states, n_sectors } = overview(model);
    whole.replaceChildren(
      ...(farthest === null
        ? []
        : [
            line(
              strings.farthest_reach,
              link(farthest, range_text(units, farthest.reach?.reach_km ?? 0)),
            ),
          ]),
      ...(weakest === null
        ? []
        : [line(strings.weakest_reach, link(weakest, percent_text(weakest.reach?.ratio ?? 0)))]),
      ...states.map(({ state, n_sectors: n, spans }) =>
        line(
          strings.state[state],
          strings.sectors_of(String(n), String(n_sectors), n === n_sectors ? "" : spans.join(", ")),
        ),
      ),
    );
  }

  function show_bands(sector: Sector | null, units: Units): void {
    const rows = sector?.reach?.by_altitude ?? [];
    bands.hidden = rows.length === 0;
    const table = data_table(doc, band_columns, rows, strings.by_altitude, units);
    table.className = "bands";
    bands.replaceChildren(table);
    bands_csv = () =>
      csv([...band_columns.slice(0, 1), band_end_column, ...band_columns.slice(1)], rows);
  }

  const element = html(
    doc,
    "section",
    { class: "bearing panel", id: "bearing", tabindex: -1, "aria-label": strings.bearing },
    html(doc, "h2", { class: "readout" }, degrees, compass, span, clear),
    body,
    hint,
    whole,
  );
  return {
    element,
    update({ model, state, bearing_deg, range_km }: Shown) {
      const is_chosen = bearing_deg !== null;
      element.hidden = !is_chosen && !has_reach(model);
      body.hidden = !is_chosen;
      hint.hidden = is_chosen;
      whole.hidden = is_chosen;
      clear.hidden = state.bearing_deg === null;
      set_text(degrees, is_chosen ? `${three_digits(bearing_deg)}°` : "");
      set_text(compass, is_chosen ? compass_point(bearing_deg) : strings.every_bearing);
      if (!is_chosen) {
        set_text(span, "");
        show_whole(model, state.units);
        drawn = [];
        return;
      }
      set_text(counts, state.band === null ? counts_text(model, bearing_deg, range_km) : "");
      const sector = sector_at(sectors_of(model), bearing_deg);
      const now = [sector, state.units, state.band];
      if (now.every((part, i) => part === drawn[i])) return;
      drawn = now;
      const half_deg = sector_deg_of(model) / 2;
      set_text(
        span,
        sector === null
          ? ""
          : span_text(sector.bearing_deg - half_deg, sector.bearing_deg + half_deg),
      );
      const band = state.band === null ? undefined : sector?.reach?.by_altitude?.[state.band];
      const reach_km =
        state.band === null
          ? (sector?.reach?.reach_km ?? sector?.verdict?.reach_km ?? null)
          : (band?.reach_km ?? null);
      set_text(reach, reach_km === null ? strings.no_reach : range_text(state.units, reach_km));
      if (band !== undefined)
        reach.append(html(doc, "small", {}, ` ${band_text(band, state.units)}`));
      reach.classList.toggle("is-absent", reach_km === null);
      const judged = state.band === null ? (sector?.verdict?.state ?? null) : null;
      state_line.hidden = judged === null;
      if (judged !== null) {
        state_line.dataset["state"] = judged;
        state_line.replaceChildren(
          html(doc, "b", {}, strings.state[judged]),
          ` ${strings.state_meaning[judged]}`,
        );
      }
      list.replaceChildren(
        ...(sector === null || state.band !== null ? [] : facts(sector, state.units)).map(
          ([label, value]) =>
            html(doc, "div", {}, html(doc, "dt", {}, label), html(doc, "dd", {}, value)),
        ),
      );
      show_bands(sector, state.units);
    },
  };
}
