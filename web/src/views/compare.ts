// Two selections held against each other, a view of its own: one sentence, both outlines on one map,
// the difference by bearing with its band.
import type { CompareAnswer, CompareSector } from "../api";
import { names_of } from "../answers";
import type { Column } from "../columns";
import { html, set_text } from "../dom";
import { sector_width_deg } from "../geometry";
import { gain_rose, point_gain_hand, type GainRose, type GainRoseData } from "../marks/gain_rose";
import { point_hand, reach_map, type ReachMap, type ReachMapData } from "../marks/reach_map";
import { compare_map_data, value_of } from "../model";
import { strings } from "../strings";
import { db_text, range_text, signed } from "../units";
import { table_behind } from "./data_table";
import { dial } from "./dial";
import { side_px } from "./gain";
import { choice } from "./header";
import { legend } from "./legend";
import { gain_words, part_text } from "./words";
import { describe } from "./map";
import { drawn_view, type Context, type Shown, type View } from "./view";

const db_column = (
  key: "difference_db" | "low_db" | "high_db",
  label: string,
): Column<CompareSector> => ({
  key,
  label,
  value: (row) => row[key],
  text: (row) => {
    const value = row[key];
    return value === null ? null : db_text(value);
  },
});

const columns: Column<CompareSector>[] = [
  {
    key: "bearing_deg",
    label: strings.bearing,
    value: (row) => row.bearing_deg,
    text: (row) => `${row.bearing_deg.toFixed(1)}°`,
  },
  db_column("difference_db", strings.difference),
  db_column("low_db", strings.low),
  db_column("high_db", strings.high),
  {
    key: "significant",
    label: strings.significant,
    value: (row) => String(row.significant),
    text: (row) => (row.significant ? strings.yes : strings.no),
  },
];

/** The answer in one sentence, with both names in it. */
export function compare_sentence(answer: CompareAnswer, [a, b]: [string, string]): string {
  const difference = answer.difference_db;
  if (difference === null) return answer.sentence ?? answer.verdict;
  const { value, low, high } = difference;
  const how = answer.paired ? strings.paired : strings.unpaired;
  const band = strings.between(signed(low), db_text(high));
  if (low > 0) return strings.hears_better(a, b, db_text(value), band, how);
  if (high < 0)
    return strings.hears_better(
      b,
      a,
      db_text(-value),
      strings.between(signed(-high), db_text(-low)),
      how,
    );
  return strings.no_difference(a, b, db_text(value), band, how);
}

export function compare_view(context: Context): View {
  const { doc, set, offer } = context;
  const heading = html(doc, "h2", {}, strings.compare_title);
  const words = html(doc, "p", { class: "sentence", role: "status", "aria-live": "polite" });
  const note = html(doc, "p", { class: "note" });
  const doubts = html(doc, "ul", { class: "advice" });
  const back = html(doc, "button", { type: "button", class: "quiet" }, strings.compare_end);
  back.addEventListener("click", () => set({ against: null }));
  const time = choice<"same" | "all">(
    doc,
    strings.compare_time,
    [
      ["same", strings.compare_same],
      ["all", strings.compare_all],
    ],
    (value) => set({ against_all: value === "all" }),
  );
  const map_frame = html(doc, "div", { class: "frame" });
  const map_dial = dial(context, strings.choose);
  const map_stage = html(doc, "div", { class: "stage" }, map_frame, map_dial.element);
  const list = html(doc, "ul", { class: "legend", "aria-label": strings.legend });
  const rose_frame = html(doc, "div", { class: "frame" });
  const rose_dial = dial(context, strings.choose_difference);
  const rose_stage = html(doc, "div", { class: "stage" }, rose_frame, rose_dial.element);
  const behind = table_behind(context, "difference", "behind", strings.difference_table);
  const element = html(
    doc,
    "section",
    { class: "compare", id: "compare", tabindex: -1, hidden: true },
    html(
      doc,
      "div",
      { class: "panel" },
      heading,
      words,
      doubts,
      html(doc, "div", { class: "row" }, time.element, back),
    ),
    html(
      doc,
      "div",
      { class: "pair" },
      html(doc, "figure", {}, html(doc, "h3", {}, strings.both_reaches), map_stage, list),
      html(doc, "figure", {}, html(doc, "h3", {}, strings.difference_by_bearing), rose_stage, note),
    ),
    behind.element,
  );
  let map: ReachMap | null = null;
  let map_data: ReachMapData | null = null;
  let rose: GainRose | null = null;
  let rose_data: GainRoseData | null = null;
  let map_of: unknown[] = [];
  let rose_of: unknown[] = [];
  offer({
    name: "compared",
    label: strings.both_reaches,
    picture: () => map?.element ?? null,
  });
  offer({
    name: "difference",
    label: strings.difference_by_bearing,
    picture: () => rose?.element ?? null,
  });

  function draw_map({ model, state }: Shown, names: [string, string]): void {
    const size = side_px(map_stage);
    const { site, reach, reach_against, compare, land, expect } = model;
    const now: unknown[] = [site, reach, reach_against, compare, land, expect, size, state.units];
    now.push(state.band, names.join());
    if (map !== null && now.every((part, i) => part === map_of[i])) return;
    map_data = compare_map_data(model, state.units, state.band);
    if (map_data === null) return;
    map_of = now;
    map = reach_map(doc, map_data, {
      size,
      units: state.units,
      title: strings.both_reaches,
      description: describe(map_data, state.units),
      id: "compare-map",
    });
    map_frame.replaceChildren(map.element);
    list.replaceChildren(...legend(doc, map_data, "compare-legend", names));
  }

  function draw_rose({ state }: Shown, answer: CompareAnswer, names: [string, string]): void {
    const size = side_px(rose_stage);
    const now: unknown[] = [answer, size, state.units, names.join()];
    if (now.every((part, i) => part === rose_of[i])) return;
    rose_of = now;
    rose_data = {
      sectors: answer.sectors.map((sector) => ({
        bearing_deg: sector.bearing_deg,
        value_db: sector.difference_db,
        low_db: sector.low_db,
        high_db: sector.high_db,
        is_significant: sector.significant,
      })),
      sector_deg: sector_width_deg(answer.sectors),
      tolerance_db: null,
    };
    rose = gain_rose(doc, rose_data, {
      size,
      title: strings.difference_by_bearing,
      description: compare_sentence(answer, names),
      id: "difference",
    });
    rose_frame.replaceChildren(rose.element);
    set_text(note, `${strings.difference_note(...names)} ${part_text(answer)}`.trimEnd());
    doubts.replaceChildren(...answer.confounded.map((line) => html(doc, "li", {}, line)));
    behind.show(columns, answer.sectors, strings.difference_by_bearing, state.units);
  }

  function draw(shown: Shown): void {
    const { model, state, bearing_deg } = shown;
    element.hidden = state.against === null;
    if (element.hidden) return;
    const names = names_of(model, state);
    set_text(heading, strings.compare_of(...names));
    time.mark(state.against_all ? "all" : "same");
    // A trial has a time of its own, and of all the record both are the same.
    time.element.hidden =
      state.against?.startsWith("trial=") === true ||
      (state.range === null && state.from === null && state.to === null);
    draw_map(shown, names);
    const answer = value_of(model.compare);
    rose_dial.element.hidden = answer === null;
    if (answer === null) {
      rose = null;
      rose_of = [];
      rose_frame.replaceChildren();
      doubts.replaceChildren();
      behind.element.hidden = true;
      set_text(note, "");
      set_text(
        words,
        model.compare?.kind === "failed"
          ? strings.failed(strings.compare_answer, model.compare.detail)
          : strings.waiting,
      );
    } else {
      set_text(words, compare_sentence(answer, names));
      draw_rose(shown, answer, names);
    }
    if (map !== null && map_data !== null) {
      point_hand(doc, map, map_data, bearing_deg);
      map_dial.show(state.bearing_deg, map_data, ({ reach_km }) =>
        reach_km === null ? strings.no_reach : range_text(state.units, reach_km),
      );
    }
    if (rose !== null && rose_data !== null) {
      point_gain_hand(doc, rose, rose_data, bearing_deg);
      rose_dial.show(state.bearing_deg, rose_data, gain_words);
    }
  }

  return drawn_view(element, draw);
}
