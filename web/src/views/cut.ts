// The vertical cut of the bearing chosen, with its flights and hours.
import type { CutAnswer } from "../api";
import { bin_columns, flight_columns, hour_columns } from "../columns";
import { html, set_text } from "../dom";
import { apart_deg, three_digits } from "../geometry";
import { cut } from "../marks/cut";
import { hour_strip, time_axis } from "../marks/strip";
import { has_reach, value_of } from "../model";
import { strings } from "../strings";
import { grouped, seconds_of, time_text } from "../units";
import { table_behind } from "./data_table";
import { save_buttons } from "./export";
import { part_text } from "./words";
import { drawn_view, type Context, type Shown, type View } from "./view";

function sector_text(answer: CutAnswer): string {
  const half_deg = answer.sector_deg / 2;
  return `${three_digits(answer.bearing_deg - half_deg + 360)}–${three_digits(answer.bearing_deg + half_deg)}°`;
}

/** The cutoff is drawn; a reader has to be told which line it is. */
function note_of(answer: CutAnswer): string {
  const note =
    answer.cutoff_deg == null
      ? strings.cut_note
      : `${strings.cut_note} ${strings.cut_note_cutoff(`${answer.cutoff_deg.toFixed(1)}°`)}`;
  return `${note} ${part_text(answer)}`.trimEnd();
}

const hour_s = 3600;

/** Whether an answer is that of the bearing chosen, or of an earlier one. */
function is_of(answer: CutAnswer, bearing_deg: number | null): boolean {
  return (
    bearing_deg === null || apart_deg(answer.bearing_deg, bearing_deg) <= answer.sector_deg / 2
  );
}

export function cut_view({ doc }: Context): View {
  const heading = html(doc, "h2", {}, strings.cut_title);
  const note = html(doc, "p", { class: "note" });
  const place = html(doc, "div", { class: "place" });
  const hours_heading = html(doc, "h3", {}, strings.cut_hours);
  const hours_place = html(doc, "div", { class: "place" });
  const table = table_behind(doc, "cut", "behind", strings.cut_table);
  const flights = table_behind(doc, "flights", "behind", strings.flights);
  const hours = table_behind(doc, "bearing-hours", "behind", strings.hours_table);
  let picture: SVGElement | null = null;
  const saving = save_buttons(doc, "cut", () => picture);
  let hours_picture: SVGElement | null = null;
  const hours_saving = save_buttons(doc, "bearing-hours", () => hours_picture);
  const rest = html(
    doc,
    "div",
    {},
    saving,
    table.element,
    flights.element,
    hours_heading,
    hours_place,
    hours_saving,
    hours.element,
  );
  const element = html(
    doc,
    "figure",
    { class: "panel side-view", hidden: true },
    html(doc, "figcaption", {}, heading, note),
    place,
    rest,
  );
  let drawn: unknown[] = [];

  function draw_hours(answer: CutAnswer, width: number): void {
    const list = answer.hours ?? [];
    const first = list[0];
    const last = list[list.length - 1];
    for (const part of [hours_heading, hours_place, hours_saving])
      part.hidden = first === undefined;
    hours_picture = null;
    if (first === undefined || last === undefined) return;
    const axis = time_axis(seconds_of(first.time), seconds_of(last.time) + hour_s, width);
    hours_picture = hour_strip(
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
    hours_place.replaceChildren(hours_picture);
  }

  function draw({ model, state }: Shown): void {
    const answer = value_of(model.cut);
    element.hidden = !model.offered.has("/api/cut") || !has_reach(model);
    if (element.hidden) return;
    rest.hidden = answer === null;
    if (answer === null) {
      drawn = [];
      picture = null;
      place.replaceChildren();
      set_text(heading, strings.cut_title);
      set_text(note, model.cut?.kind === "failed" ? model.cut.detail : strings.waiting);
      return;
    }
    element.classList.toggle("is-old", !is_of(answer, state.bearing_deg));
    const width = Math.max(260, place.clientWidth);
    const now: unknown[] = [answer, width, state.units, state.bearing_deg === null];
    if (now.every((part, i) => part === drawn[i])) return;
    drawn = now;
    const words = strings.cut_title_of(sector_text(answer));
    set_text(heading, words);
    set_text(
      note,
      state.bearing_deg === null ? `${strings.cut_of_weakest} ${note_of(answer)}` : note_of(answer),
    );
    picture = cut(doc, answer, {
      width,
      height: Math.round(Math.min(360, Math.max(220, width * 0.62))),
      units: state.units,
      title: words,
      description: strings.cut_description,
      id: "cut",
    });
    place.replaceChildren(picture);
    table.show(bin_columns, answer.bins, words, state.units);
    const shown = answer.flights ?? [];
    const summary = strings.cut_flights(
      grouped(shown.length),
      grouped(answer.flights_in_all ?? shown.length),
    );
    flights.show(flight_columns, shown, summary, state.units, summary);
    hours.show(hour_columns, answer.hours ?? [], strings.cut_hours, state.units);
    draw_hours(answer, width);
  }

  return drawn_view(element, draw);
}
