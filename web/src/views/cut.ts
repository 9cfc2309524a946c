// The antenna from the side: the vertical cut of the bearing chosen, with its flights and hours, and
// gain by elevation where the verdict tells it.
import type { CutAnswer, ReachBand, VerdictAnswer } from "../api";
import { bin_columns, elevation_columns, flight_columns, hour_columns } from "../columns";
import { html, set_text } from "../dom";
import { apart_deg, span_text } from "../geometry";
import { cut } from "../marks/cut";
import { elevation_plot } from "../marks/elevation";
import { hour_strip, time_axis } from "../marks/strip";
import { has_reach, sectors_of, value_of, type Model } from "../model";
import { strings } from "../strings";
import { db_text, grouped, seconds_of, time_text, type Units } from "../units";
import { band_text } from "./bearing";
import { table_behind } from "./data_table";
import { bearing_text, height_text, part_text } from "./words";
import { drawn_view, type Context, type Shown, type View } from "./view";

const sector_text = ({ bearing_deg, sector_deg }: CutAnswer) =>
  span_text(bearing_deg - sector_deg / 2, bearing_deg + sector_deg / 2);

/** The cutoff is drawn; a reader has to be told which line it is. */
function note_of(answer: CutAnswer): string {
  const note =
    answer.cutoff_deg == null
      ? strings.cut_note
      : `${strings.cut_note} ${strings.cut_note_cutoff(`${answer.cutoff_deg.toFixed(1)}°`)}`;
  return `${note} ${part_text(answer)}`.trimEnd();
}

const hour_s = 3600;

/** Whether an answer is that of the bearing shown, or of an earlier one. */
const is_of = (answer: CutAnswer, bearing_deg: number | null) =>
  bearing_deg === null || apart_deg(answer.bearing_deg, bearing_deg) <= answer.sector_deg / 2;

function band_of(model: Model, band: number | null): ReachBand | null {
  if (band === null) return null;
  const sector = sectors_of(model).find(({ reach }) => reach?.by_altitude?.length);
  return sector?.reach?.by_altitude?.[band] ?? null;
}

/** Bins whose middle lies within the band. */
function in_band(answer: CutAnswer, band: ReachBand | null): CutAnswer {
  if (band === null) return answer;
  const high_ft = band.altitude_high_ft ?? Infinity;
  return {
    ...answer,
    bins: answer.bins.filter(
      ({ altitude_ft }) => altitude_ft >= band.altitude_low_ft && altitude_ft < high_ft,
    ),
  };
}

/** What gain by elevation says, in sentences. */
export function side_sentences(verdict: VerdictAnswer, units: Units): string[] {
  const { lean, reflections = [] } = verdict;
  const said: string[] = [];
  if (lean)
    said.push(
      strings.lean(
        lean.deg.toFixed(1),
        bearing_text(lean.towards_deg),
        lean.low_deg.toFixed(1),
        lean.high_deg.toFixed(1),
      ),
    );
  for (const { from_deg, to_deg, height_m } of reflections)
    said.push(strings.reflection(span_text(from_deg, to_deg), height_text(units, height_m)));
  return said;
}

export function cut_view(context: Context): View {
  const { doc, offer } = context;
  const heading = html(doc, "h2", {}, strings.cut_title);
  const note = html(doc, "p", { class: "note" });
  const place = html(doc, "div", { class: "place" });
  const hours_heading = html(doc, "h3", {}, strings.cut_hours);
  const hours_place = html(doc, "div", { class: "place" });
  const table = table_behind(context, "cut", "behind", strings.cut_table);
  const flights = table_behind(context, "flights", "behind", strings.flights_on_bearing);
  const hours = table_behind(context, "bearing-hours", "behind", strings.bearing_hours_table);
  const rest = html(
    doc,
    "div",
    {},
    table.element,
    flights.element,
    hours_heading,
    hours_place,
    hours.element,
  );
  const elevation_place = html(doc, "div", { class: "place" });
  const elevation_words = html(doc, "p", { class: "note" });
  const elevations = table_behind(context, "elevation", "behind", strings.elevation_table);
  const elevation = html(
    doc,
    "div",
    { class: "elevation-part", hidden: true },
    html(doc, "h3", {}, strings.elevation_title),
    elevation_words,
    elevation_place,
    elevations.element,
  );
  const element = html(
    doc,
    "figure",
    { class: "panel side-view", hidden: true },
    html(doc, "figcaption", {}, heading, note),
    html(doc, "div", { class: "side-parts" }, html(doc, "div", {}, place, rest), elevation),
  );
  let pictures: { cut?: SVGElement; hours?: SVGElement; elevation?: SVGElement } = {};
  const shown_picture = (which: keyof typeof pictures) => () => pictures[which] ?? null;
  offer({ name: "cut", label: strings.cut_title, picture: shown_picture("cut") });
  offer({ name: "elevation", label: strings.elevation_title, picture: shown_picture("elevation") });
  offer({ name: "bearing-hours", label: strings.cut_hours, picture: shown_picture("hours") });
  let drawn: unknown[] = [];
  let elevation_of: unknown[] = [];

  function draw_hours(answer: CutAnswer, width: number): void {
    const list = answer.hours ?? [];
    const first = list[0];
    const last = list[list.length - 1];
    for (const part of [hours_heading, hours_place]) part.hidden = first === undefined;
    delete pictures.hours;
    if (first === undefined || last === undefined) return;
    const axis = time_axis(seconds_of(first.time), seconds_of(last.time) + hour_s, width);
    pictures.hours = hour_strip(
      doc,
      axis,
      list.map((hour) => ({ time_s: seconds_of(hour.time), heard: hour.heard })),
      [],
      {
        height: 72,
        title: strings.cut_hours,
        description: strings.hours_only(
          time_text(axis.from_s),
          time_text(axis.to_s),
          grouped(Math.max(...list.map((hour) => hour.heard))),
        ),
        id: "bearing-hours",
      },
    );
    hours_place.replaceChildren(pictures.hours);
  }

  function draw_elevation(model: Model, units: Units): void {
    const verdict = value_of(model.verdict);
    // Without its interval a gain is not shown; some versions tell none.
    const list = (verdict?.elevation ?? []).filter(
      ({ low_db, high_db }) => low_db != null && high_db != null,
    );
    const said = verdict === null ? [] : side_sentences(verdict, units);
    elevation.hidden = list.length === 0 && said.length === 0;
    if (elevation.hidden || verdict === null) {
      delete pictures.elevation;
      return;
    }
    const width = Math.max(240, elevation_place.clientWidth);
    const now: unknown[] = [verdict, width, units];
    if (now.every((part, i) => part === elevation_of[i])) return;
    elevation_of = now;
    set_text(elevation_words, said.join(" "));
    elevations.show(elevation_columns, list, strings.elevation_title, units);
    if (list.length === 0) return;
    pictures.elevation = elevation_plot(doc, list, {
      width,
      height: 280,
      title: strings.elevation_title,
      description: strings.elevation_description(
        ...([-1, 1].map((sign) =>
          db_text(
            sign * Math.max(...list.flatMap(({ gain_db: g }) => (g === null ? [] : [sign * g]))),
          ),
        ) as [string, string]),
      ),
      id: "elevation",
    });
    elevation_place.replaceChildren(pictures.elevation);
  }

  function draw({ model, state, bearing_deg }: Shown): void {
    element.hidden = !model.offered.has("/api/cut") || !has_reach(model) || state.against !== null;
    if (element.hidden) return;
    draw_elevation(model, state.units);
    const answer = value_of(model.cut);
    rest.hidden = answer === null;
    if (answer === null) {
      drawn = [];
      delete pictures.cut;
      place.replaceChildren();
      set_text(heading, strings.cut_title);
      set_text(note, model.cut?.kind === "failed" ? model.cut.detail : strings.waiting);
      return;
    }
    element.classList.toggle("is-old", !is_of(answer, bearing_deg));
    const width = Math.max(260, place.clientWidth);
    const is_chosen = bearing_deg !== null;
    const now: unknown[] = [answer, width, state.units, is_chosen, state.band];
    if (now.every((part, i) => part === drawn[i])) return;
    drawn = now;
    const band = band_of(model, state.band);
    const words = strings.cut_title_of(sector_text(answer));
    set_text(heading, words);
    set_text(
      note,
      [
        is_chosen ? "" : strings.cut_of_weakest,
        band === null ? "" : strings.cut_of_band(band_text(band, state.units)),
        note_of(answer),
      ]
        .join(" ")
        .trimStart(),
    );
    const shown = in_band(answer, band);
    pictures.cut = cut(doc, shown, {
      width,
      height: Math.round(Math.min(380, Math.max(220, width * 0.5))),
      units: state.units,
      title: words,
      description: strings.cut_description,
      id: "cut",
    });
    place.replaceChildren(pictures.cut);
    table.show(bin_columns, shown.bins, words, state.units);
    const flown = answer.flights ?? [];
    const summary = strings.cut_flights(
      grouped(flown.length),
      grouped(answer.flights_in_all ?? flown.length),
    );
    flights.show(flight_columns, flown, summary, state.units, summary);
    hours.show(hour_columns, answer.hours ?? [], strings.cut_hours, state.units);
    draw_hours(answer, width);
  }

  return drawn_view(element, draw);
}
