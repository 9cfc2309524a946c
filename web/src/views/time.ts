// The strip of time: reports heard by hour with a brush on it, drift, notes and changes.
import { drift_columns, hour_columns } from "../columns";
import { html, set_text } from "../dom";
import {
  drift_strip,
  hour_strip,
  strip_margin,
  time_axis,
  type DriftStep,
  type Flag,
  type TimeAxis,
} from "../marks/strip";
import { value_of, type Model } from "../model";
import { time_ranges, type ViewState } from "../state";
import { strings } from "../strings";
import { db_text, grouped, percent_text, seconds_of, signed, time_text } from "../units";
import { table_behind } from "./data_table";
import { part_text } from "./words";
import { drawn_view, type Context, type Shown, type View } from "./view";

const hour_s = 3600;
const hours_height = 84;
const drift_height = 120;
/** A shorter pull is a click. */
const least_pull_px = 4;

export function span_of(model: Model): Span | null {
  const hours = value_of(model.hours)?.hours ?? [];
  const first = hours[0];
  const last = hours[hours.length - 1];
  if (first === undefined || last === undefined) return null;
  return { from_s: seconds_of(first.time), to_s: seconds_of(last.time) + hour_s };
}

export function end_of_record_s(model: Model): number | null {
  return span_of(model)?.to_s ?? null;
}

export interface Span {
  from_s: number;
  to_s: number;
}

/** What is chosen of the record; all of it: the record itself. */
export function chosen_span(state: ViewState, span: Span | null): Span | null {
  return span === null ? null : (part_of(state, span) ?? span);
}

/** null: no part, but all of it. */
function part_of(state: ViewState, span: Span): Span | null {
  if (state.range !== null)
    return { from_s: span.to_s - time_ranges[state.range], to_s: span.to_s };
  if (state.from === null && state.to === null) return null;
  return {
    from_s: state.from === null ? span.from_s : seconds_of(state.from),
    to_s: state.to === null ? span.to_s : seconds_of(state.to),
  };
}

export function time_view(context: Context): View {
  const { doc, set, offer } = context;
  const place = html(doc, "div", { class: "place strip" });
  const brush = html(doc, "div", { class: "brush", hidden: true });
  const hours_frame = html(doc, "div", { class: "frame" });
  const drift_frame = html(doc, "div", { class: "frame" });
  const words = html(doc, "p", { class: "note" });
  const drift_heading = html(doc, "h3", {}, strings.drift_title);
  const drift_note = html(doc, "p", { class: "note" });
  const notes_list = html(doc, "ul", { class: "notes" });
  const hours_table = table_behind(context, "hours", "behind", strings.hours_table);
  const drift_table = table_behind(context, "drift", "behind", strings.drift_table);
  let pictures: { hours: SVGElement | null; drift: SVGElement | null } = {
    hours: null,
    drift: null,
  };
  const drift_part = html(
    doc,
    "div",
    {},
    drift_heading,
    drift_note,
    drift_frame,
    drift_table.element,
  );
  const hours_stage = html(doc, "div", { class: "strip-stage" }, hours_frame, brush);
  place.append(html(doc, "h3", {}, strings.hours_title), hours_stage);
  const element = html(
    doc,
    "section",
    {
      class: "panel time",
      id: "time",
      tabindex: -1,
      hidden: true,
      "aria-label": strings.time_title,
    },
    html(doc, "div", { class: "time-head" }, html(doc, "h2", {}, strings.time_title), words),
    place,
    hours_table.element,
    drift_part,
    notes_list,
  );
  offer({ name: "hours", label: strings.hours_title, picture: () => pictures.hours });
  offer({ name: "drift", label: strings.drift_title, picture: () => pictures.drift });

  let axis: TimeAxis | null = null;
  let drawn: unknown[] = [];
  let latest: Shown | null = null;
  let pull_from: number | null = null;

  const x_of = (event: PointerEvent) => event.clientX - hours_stage.getBoundingClientRect().left;
  function place_brush(a: number, b: number): void {
    brush.hidden = false;
    brush.style.insetInlineStart = `${Math.min(a, b)}px`;
    brush.style.inlineSize = `${Math.max(1, Math.abs(b - a))}px`;
  }
  hours_stage.addEventListener("pointerdown", (event) => {
    if (event.button !== 0) return;
    pull_from = x_of(event);
    hours_stage.setPointerCapture(event.pointerId);
  });
  hours_stage.addEventListener("pointermove", (event) => {
    if (pull_from !== null) place_brush(pull_from, x_of(event));
  });
  hours_stage.addEventListener("pointercancel", () => {
    pull_from = null;
    if (latest !== null) show_brush(latest.state);
  });
  hours_stage.addEventListener("pointerup", (event) => {
    if (pull_from === null || axis === null) return;
    const [a, b] = [pull_from, x_of(event)].sort((p, q) => p - q) as [number, number];
    pull_from = null;
    if (b - a < least_pull_px) {
      set({ range: null, from: null, to: null });
      return;
    }
    const from_s = Math.floor(axis.time(a) / hour_s) * hour_s;
    const to_s = Math.ceil(axis.time(b) / hour_s) * hour_s;
    const text = (time_s: number) => new Date(time_s * 1000).toISOString().replace(".000", "");
    set({ range: null, from: text(from_s), to: text(to_s) });
  });

  function show_brush(state: ViewState): void {
    if (axis === null || latest === null || pull_from !== null) return;
    const span = span_of(latest.model);
    const chosen = span === null ? null : part_of(state, span);
    brush.hidden = chosen === null;
    if (chosen === null) return;
    const inside = (time_s: number) =>
      Math.min(
        Math.max(axis?.x(time_s) ?? 0, strip_margin.left),
        (axis?.width ?? 0) - strip_margin.right,
      );
    place_brush(inside(chosen.from_s), inside(chosen.to_s));
  }

  function draw_drift(model: Model, flags: Flag[]): void {
    const drift = value_of(model.drift);
    const is_shown = axis !== null && drift !== null && drift.days.length > 0;
    drift_part.hidden = !is_shown;
    pictures.drift = null;
    if (axis === null || drift === null || !is_shown) return;
    set_text(drift_note, part_text(drift));
    drift_note.hidden = drift.only_from === undefined;
    const steps = drift.changes.map(
      (change): DriftStep => ({
        time_s: seconds_of(change.time),
        text: strings.change(
          db_text(change.step_db),
          signed(change.low_db),
          signed(change.high_db),
          percent_text(change.probability),
          change.bearings === "all" ? strings.all_bearings : change.bearings.join("°, ") + "°",
        ),
      }),
    );
    pictures.drift = drift_strip(
      doc,
      axis,
      drift.days.map((day) => ({
        time_s: seconds_of(`${day.date.slice(0, 10)}T12:00:00Z`),
        value_db: day.index_db,
        low_db: day.low_db,
        high_db: day.high_db,
      })),
      steps,
      flags,
      {
        height: drift_height,
        title: strings.drift_title,
        description: steps.length === 0 ? strings.no_change : steps.map((s) => s.text).join(" "),
        id: "drift",
      },
    );
    drift_frame.replaceChildren(pictures.drift);
    drift_table.show(drift_columns, drift.days, strings.drift_title, "metric");
  }

  function draw(shown: Shown): void {
    const { model, state } = shown;
    const span = span_of(model);
    element.hidden = span === null;
    if (span === null) return;
    const width = Math.max(260, place.clientWidth);
    const now: unknown[] = [model.hours, model.drift, model.trials, width];
    if (!now.every((part, i) => part === drawn[i])) {
      drawn = now;
      axis = time_axis(span.from_s, span.to_s, width);
      const hours = value_of(model.hours)?.hours ?? [];
      const flags = (value_of(model.trials)?.notes ?? []).map((note) => ({
        time_s: seconds_of(note.time),
        text: `${time_text(seconds_of(note.time))}: ${note.text}`,
      }));
      pictures = {
        ...pictures,
        hours: hour_strip(
          doc,
          axis,
          hours.map((hour) => ({ time_s: seconds_of(hour.time), heard: hour.heard })),
          flags,
          {
            height: hours_height,
            title: strings.hours_title,
            description: strings.hours_description(
              time_text(span.from_s),
              time_text(span.to_s),
              grouped(Math.max(0, ...hours.map((hour) => hour.heard))),
            ),
            id: "hours",
          },
        ),
      };
      hours_frame.replaceChildren(...(pictures.hours === null ? [] : [pictures.hours]));
      hours_table.show(hour_columns, hours, strings.hours_title, state.units);
      draw_drift(model, flags);
      const changes = value_of(model.drift)?.changes ?? [];
      notes_list.replaceChildren(
        ...flags.map((flag) => html(doc, "li", {}, flag.text)),
        ...changes.map((change) =>
          html(
            doc,
            "li",
            { class: "is-change" },
            `${time_text(seconds_of(change.time))}: ${strings.change(
              db_text(change.step_db),
              signed(change.low_db),
              signed(change.high_db),
              percent_text(change.probability),
              change.bearings === "all" ? strings.all_bearings : `${change.bearings.join("°, ")}°`,
            )}`,
          ),
        ),
      );
      notes_list.hidden = notes_list.childElementCount === 0;
    }
    const chosen = part_of(state, span);
    set_text(
      words,
      chosen === null
        ? strings.from_to(time_text(span.from_s), time_text(span.to_s))
        : strings.from_to(time_text(chosen.from_s), time_text(chosen.to_s)),
    );
    show_brush(state);
  }

  return drawn_view(element, (shown) => {
    latest = shown;
    draw(shown);
  });
}
