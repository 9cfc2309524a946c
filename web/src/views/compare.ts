// Two selections held against each other: the answer in words, the difference by bearing.
import type { CompareAnswer, CompareSector } from "../api";
import type { Column } from "../columns";
import { html, set_text } from "../dom";
import { sector_width_deg } from "../geometry";
import { gain_rose, point_gain_hand, type GainRose, type GainRoseData } from "../marks/gain_rose";
import { usual_antenna, value_of, type Model } from "../model";
import type { ViewState } from "../state";
import { strings } from "../strings";
import { db_text } from "../units";
import { table_behind } from "./data_table";
import { dial } from "./dial";
import { save_buttons } from "./export";
import { side_px } from "./gain";
import { gain_words, part_text } from "./words";
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

function words_of(answer: CompareAnswer): string {
  if (answer.sentence !== undefined && answer.sentence !== "") return answer.sentence;
  const difference = answer.difference_db;
  if (difference === null) return answer.verdict;
  return strings.difference_of(
    db_text(difference.value),
    db_text(difference.low),
    db_text(difference.high),
    answer.paired ? strings.paired : strings.unpaired,
  );
}

/** The two selections by their names, as short as they can be said. */
function names_of(model: Model, state: ViewState): [a: string, b: string] {
  const a =
    state.trial === null
      ? (state.antenna ?? usual_antenna(model) ?? strings.what_is_shown)
      : strings.about_trial(state.trial);
  const [, key = "", value = ""] = /^(\w+)=(.*)$/.exec(state.against ?? "") ?? [];
  return [a, key === "trial" ? strings.about_trial(value) : value];
}

export function compare_view(context: Context): View {
  const { doc } = context;
  const words = html(doc, "p", { class: "note strong", role: "status", "aria-live": "polite" });
  const note = html(doc, "p", { class: "note" });
  const doubts = html(doc, "ul", { class: "advice" });
  const frame = html(doc, "div", { class: "frame" });
  const chooser = dial(context, strings.choose_difference);
  const stage = html(doc, "div", { class: "stage" }, frame, chooser.element);
  const place = html(doc, "div", { class: "place" }, stage);
  const behind = table_behind(doc, "difference", "behind");
  let rose: GainRose | null = null;
  const saving = save_buttons(doc, "difference", () => rose?.element ?? null);
  const element = html(
    doc,
    "figure",
    { class: "panel compare", hidden: true },
    html(doc, "figcaption", {}, html(doc, "h2", {}, strings.compare_title), words, doubts, note),
    place,
    behind.element,
    saving,
  );
  let data: GainRoseData | null = null;
  let drawn: unknown[] = [];

  function draw({ model, state, bearing_deg }: Shown): void {
    element.hidden = state.against === null || model.compare === null;
    if (element.hidden) return;
    const answer = value_of(model.compare);
    stage.hidden = saving.hidden = answer === null;
    if (answer === null) {
      drawn = [];
      behind.element.hidden = true;
      doubts.replaceChildren();
      set_text(note, "");
      set_text(
        words,
        model.compare?.kind === "failed"
          ? strings.failed(strings.compare_answer, model.compare.detail)
          : strings.waiting,
      );
      return;
    }
    const size = side_px(place, 460);
    if (drawn[0] !== answer || drawn[1] !== size || drawn[2] !== state.units) {
      drawn = [answer, size, state.units];
      set_text(words, words_of(answer));
      set_text(
        note,
        `${strings.difference_note(...names_of(model, state))} ${part_text(answer)}`.trimEnd(),
      );
      doubts.replaceChildren(...answer.confounded.map((line) => html(doc, "li", {}, line)));
      data = {
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
      rose = gain_rose(doc, data, {
        size,
        title: strings.compare_title,
        description: words_of(answer),
        id: "difference",
      });
      frame.replaceChildren(rose.element);
      behind.show(columns, answer.sectors, strings.compare_title, state.units);
    }
    if (rose === null || data === null) return;
    point_gain_hand(doc, rose, data, bearing_deg);
    chooser.show(state.bearing_deg, data, gain_words);
  }

  return drawn_view(element, draw);
}
