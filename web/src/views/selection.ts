// What is looked at: antenna, trial, time, altitude, and what it is held against.
import type { Trial } from "../api";
import { html } from "../dom";
import { usual_antenna, value_of, type Model } from "../model";
import { type TimeRange, type Versus, type ViewState } from "../state";
import { strings } from "../strings";
import { seconds_of, time_text } from "../units";
import { band_text } from "./bearing";
import { choice } from "./header";
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

type RangeChoice = TimeRange | "all" | "custom";

export function selection_view({ doc, set }: Context): View {
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
  const versus = choice<Versus>(
    doc,
    strings.versus,
    [
      ["outline", strings.versus_outline],
      ["difference", strings.versus_difference],
    ],
    (value) => set({ versus: value }),
  );
  const range = choice<RangeChoice>(
    doc,
    strings.time,
    [
      ["day", strings.last_day],
      ["week", strings.last_week],
      ["month", strings.last_month],
      ["all", strings.all_time],
    ],
    (value) =>
      set({
        range: value === "all" || value === "custom" ? null : value,
        from: null,
        to: null,
      }),
  );
  const element = html(
    doc,
    "section",
    { class: "selection", "aria-label": strings.selection },
    antenna.element,
    trial.element,
    against.element,
    versus.element,
    band.element,
    range.element,
  );
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
      versus.element.hidden = state.against === null;
      versus.mark(state.versus);
      const is_custom = state.from !== null || state.to !== null;
      range.mark(state.range ?? (is_custom ? "custom" : "all"));
      element.hidden = value_of(model.reach) === null;
    },
  };
}
