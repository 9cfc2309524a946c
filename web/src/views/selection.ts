// What is looked at: antenna, trial, time, altitude, and what it is held against.
import type { Trial } from "../api";
import { html, set_text } from "../dom";
import { shown_antenna, usual_antenna, value_of, type Model } from "../model";
import { type TimeRange, type ViewState } from "../state";
import { strings } from "../strings";
import { seconds_of, time_text } from "../units";
import { band_text } from "./bearing";
import { save_menu, type Savable } from "./export";
import { choice } from "./header";
import { chosen_span, span_of } from "./time";
import type { Context, Shown, View } from "./view";

type Option = [value: string, label: string];

interface Field {
  element: HTMLElement;
  show(options: Option[], chosen: string): void;
}

function select_field(
  doc: Document,
  id: string,
  label: string,
  pick: (value: string) => void,
): Field {
  const select = html(doc, "select", { id });
  select.addEventListener("change", () => pick(select.value));
  const element = html(
    doc,
    "span",
    { class: "field-label" },
    html(doc, "label", { for: id }, label),
    select,
  );
  let shown = "";
  return {
    element,
    show(options, chosen) {
      const key = JSON.stringify(options);
      if (key !== shown) {
        shown = key;
        select.replaceChildren(
          ...options.map(([value, text]) => html(doc, "option", { value }, text)),
        );
      }
      element.hidden = options.length < 2;
      select.value = options.some(([value]) => value === chosen) ? chosen : "";
    },
  };
}

export function trial_label(trial: Trial): string {
  const turned = trial.rotation_deg === 0 ? "" : ` ${strings.turned(String(trial.rotation_deg))}`;
  return `${trial.id}: ${trial.antenna}${turned}, ${trial.receiver}, ${trial.mount}, ${time_text(seconds_of(trial.start)).slice(0, 10)}`;
}

function band_options(model: Model, state: ViewState): Option[] {
  const bands = value_of(model.reach)?.sectors.find(
    (sector) => sector.by_altitude?.length,
  )?.by_altitude;
  if (bands === undefined) return [];
  return [
    ["", strings.all_altitudes],
    ...bands.map((band, i): Option => [String(i), band_text(band, state.units)]),
  ];
}

/** What a selection can be held against, in `roundel compare`'s words. */
function against_options(model: Model, state: ViewState, shown: string | null): Option[] {
  const trials = value_of(model.trials)?.trials ?? [];
  const antennas = model.site?.antennas ?? [];
  if (!model.offered.has("/api/compare")) return [];
  return [
    ["", strings.nothing_else],
    ...antennas
      .filter((name) => state.trial !== null || name !== shown)
      .map((name): Option => [`antenna=${name}`, strings.antenna_is(name)]),
    ...trials
      .filter((trial) => String(trial.id) !== state.trial)
      .map((trial): Option => [`trial=${trial.id}`, strings.trial_is(trial_label(trial))]),
  ];
}

/** What is chosen, in a few words: for where the fields themselves have no room. */
function filter_words(model: Model, state: ViewState): string {
  const time =
    state.range !== null
      ? strings.last[state.range]
      : state.from === null && state.to === null
        ? strings.all_time
        : strings.chosen_time;
  const name =
    state.trial === null ? shown_antenna(model, state) : strings.about_trial(state.trial);
  return [name, time].filter((word) => word !== null).join(", ");
}

type RangeChoice = TimeRange | "all" | "custom";

interface TimeField {
  element: HTMLElement;
  input: HTMLInputElement;
}

/** As text: a browser's own field for times would write them as its country does. */
function time_field(doc: Document, id: string, label: string): TimeField {
  const input = html(doc, "input", {
    id,
    type: "text",
    size: 16,
    maxlength: 16,
    placeholder: "2026-03-01 14:05",
    autocomplete: "off",
  });
  return {
    element: html(
      doc,
      "span",
      { class: "field-label" },
      html(doc, "label", { for: id }, label),
      input,
    ),
    input,
  };
}

const input_text = (time_s: number) =>
  new Date(time_s * 1000).toISOString().slice(0, 16).replace("T", " ");

/** UTC; null: nothing typed, undefined: no time. */
export function input_time(text: string): string | null | undefined {
  const typed = text.trim();
  if (typed === "") return null;
  const [, day, hour = "00:00"] = /^(\d{4}-\d\d-\d\d)(?:[ T](\d\d:\d\d))?$/.exec(typed) ?? [];
  const time = `${day ?? ""}T${hour}:00Z`;
  return Number.isNaN(Date.parse(time)) ? undefined : time;
}

/** @param things  for the menu of what can be saved */
export function selection_view({ doc, set }: Context, things: Savable[]): View {
  const antenna = select_field(doc, "select-antenna", strings.antenna, (value) =>
    set({ antenna: value === "" ? null : value, trial: null }),
  );
  const trial = select_field(doc, "select-trial", strings.trial, (value) =>
    set({ trial: value === "" ? null : value, antenna: null }),
  );
  const band = select_field(doc, "select-altitude", strings.altitude, (value) =>
    set({ band: value === "" ? null : Number(value) }),
  );
  const against = select_field(doc, "select-against", strings.against, (value) =>
    set({ against: value === "" ? null : value }),
  );
  const range = choice<RangeChoice>(
    doc,
    strings.time,
    [
      ["day", strings.last.day],
      ["week", strings.last.week],
      ["month", strings.last.month],
      ["all", strings.all_time],
    ],
    (value) =>
      set({
        range: value === "all" || value === "custom" ? null : value,
        from: null,
        to: null,
      }),
  );
  const from = time_field(doc, "select-from", strings.from);
  const to = time_field(doc, "select-to", strings.to);
  let span: ReturnType<typeof span_of> = null;
  // The fields show the record's own ends where none is chosen; those are not a choice.
  function read_times(): void {
    const of = ({ input }: TimeField, end_s: number | undefined) => {
      const typed = input_time(input.value);
      input.setCustomValidity(typed === undefined ? strings.time_form : "");
      input.reportValidity();
      return end_s !== undefined && input.value === input_text(end_s) ? null : typed;
    };
    const [start, end] = [of(from, span?.from_s), of(to, span?.to_s)];
    if (start === undefined || end === undefined) return;
    set({ range: null, from: start, to: end });
  }
  for (const { input } of [from, to]) input.addEventListener("change", read_times);
  const fields = html(
    doc,
    "div",
    { class: "fields", id: "fields" },
    antenna.element,
    trial.element,
    against.element,
    band.element,
    range.element,
    from.element,
    to.element,
  );
  const summary = html(doc, "span", {});
  const open = html(
    doc,
    "button",
    { type: "button", class: "open-fields", "aria-expanded": "false", "aria-controls": "fields" },
    summary,
  );
  const show_fields = (is_open: boolean) => {
    open.setAttribute("aria-expanded", String(is_open));
    fields.classList.toggle("is-open", is_open);
  };
  open.addEventListener("click", () => show_fields(open.getAttribute("aria-expanded") === "false"));
  const element = html(
    doc,
    "section",
    { class: "selection", "aria-label": strings.selection },
    open,
    fields,
    save_menu(doc, things),
  );
  element.addEventListener("keydown", (event) => {
    if (event.key !== "Escape" || open.getAttribute("aria-expanded") === "false") return;
    show_fields(false);
    open.focus();
  });
  return {
    element,
    update({ model, state }: Shown) {
      const trials = value_of(model.trials)?.trials ?? [];
      const antennas = model.site?.antennas ?? [];
      const shown = state.antenna ?? usual_antenna(model);
      antenna.show(
        antennas.length < 2
          ? []
          : [
              ...(state.trial === null ? [] : [["", strings.of_trial] as Option]),
              ...antennas.map((name): Option => [name, name]),
            ],
        state.trial === null ? (shown ?? "") : "",
      );
      trial.show(
        trials.length < 2
          ? []
          : [
              ["", strings.all],
              ...trials.map((entry): Option => [String(entry.id), trial_label(entry)]),
            ],
        state.trial ?? "",
      );
      band.show(band_options(model, state), state.band === null ? "" : String(state.band));
      against.show(against_options(model, state, shown), state.against ?? "");
      const is_custom = state.from !== null || state.to !== null;
      range.mark(state.range ?? (is_custom ? "custom" : "all"));
      span = span_of(model);
      const chosen = chosen_span(state, span);
      for (const [field, end_s] of [
        [from, chosen?.from_s],
        [to, chosen?.to_s],
      ] as const)
        if (doc.activeElement !== field.input)
          field.input.value = end_s === undefined ? "" : input_text(end_s);
      set_text(summary, strings.filters(filter_words(model, state)));
    },
  };
}
