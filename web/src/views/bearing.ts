// The numbers of one bearing.
import type { ReachBand } from "../api";
import { csv, of, range, type Column } from "../columns";
import { html, set_text } from "../dom";
import { compass_point, sector_at, three_digits } from "../geometry";
import { has_reach, sector_deg_of, sectors_of, type Model, type Sector } from "../model";
import { overview } from "../overview";
import { save } from "../save";
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

export function bearing_view({ doc, set }: Context): View {
  const degrees = html(doc, "span", { class: "degrees" });
  const compass = html(doc, "span", { class: "compass" });
  const span = html(doc, "span", { class: "span" });
  const clear = html(doc, "button", { type: "button", class: "quiet" }, strings.clear);
  const state_line = html(doc, "p", { class: "state-line", hidden: true });
  const reach = html(doc, "p", { class: "headline" });
  const list = html(doc, "dl", {});
  const bands_place = html(doc, "div", {});
  const save_bands = html(doc, "button", { type: "button", class: "quiet" }, strings.save_csv);
  const bands = html(doc, "div", {}, bands_place, html(doc, "div", { class: "save" }, save_bands));
  let bands_csv = () => "";
  save_bands.addEventListener("click", () =>
    save(doc, "roundel-altitudes.csv", "text/csv", bands_csv()),
  );
  const body = html(doc, "div", { class: "bearing-body" }, reach, state_line, list, bands);
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
    bands_place.replaceChildren(table);
    bands_csv = () =>
      csv([...band_columns.slice(0, 1), band_end_column, ...band_columns.slice(1)], rows);
  }

  const element = html(
    doc,
    "section",
    { class: "bearing panel", "aria-label": strings.bearing },
    html(doc, "h2", { class: "readout" }, degrees, compass, span, clear),
    body,
    hint,
    whole,
  );
  return {
    element,
    update({ model, state, bearing_deg }: Shown) {
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
      const sector = sector_at(sectors_of(model), bearing_deg);
      if (drawn[0] === sector && drawn[1] === state.units) return;
      drawn = [sector, state.units];
      const half_deg = sector_deg_of(model) / 2;
      set_text(
        span,
        sector === null
          ? ""
          : `${three_digits(sector.bearing_deg - half_deg)}–${three_digits(sector.bearing_deg + half_deg)}°`,
      );
      const reach_km = sector?.reach?.reach_km ?? sector?.verdict?.reach_km ?? null;
      set_text(reach, reach_km === null ? strings.no_reach : range_text(state.units, reach_km));
      reach.classList.toggle("is-absent", reach_km === null);
      const judged = sector?.verdict?.state ?? null;
      state_line.hidden = judged === null;
      if (judged !== null) {
        state_line.dataset["state"] = judged;
        state_line.replaceChildren(
          html(doc, "b", {}, strings.state[judged]),
          ` ${strings.state_meaning[judged]}`,
        );
      }
      list.replaceChildren(
        ...(sector === null ? [] : facts(sector, state.units)).map(([label, value]) =>
          html(doc, "div", {}, html(doc, "dt", {}, label), html(doc, "dd", {}, value)),
        ),
      );
      show_bands(sector, state.units);
    },
  };
}
