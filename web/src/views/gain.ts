// Beside the map, as its equal: gain by bearing with its band.
import type { VerdictAnswer } from "../api";
import { html, set_text } from "../dom";
import { sector_width_deg } from "../geometry";
import { gain_rose, point_gain_hand, type GainRose, type GainRoseData } from "../marks/gain_rose";
import { has_reach, value_of } from "../model";
import { strings } from "../strings";
import { percent_text } from "../units";
import { dial } from "./dial";
import { gain_words } from "./words";
import { drawn_view, type Context, type Shown, type View } from "./view";

function data_of(verdict: VerdictAnswer): GainRoseData {
  return {
    sectors: verdict.sectors.map((sector) => ({
      bearing_deg: sector.bearing_deg,
      value_db: sector.gain_db,
      low_db: sector.gain_low_db,
      high_db: sector.gain_high_db,
      state: sector.state,
    })),
    sector_deg: sector_width_deg(verdict.sectors),
    tolerance_db: verdict.tolerance_db,
  };
}

function ripple_text(verdict: VerdictAnswer): string {
  const ripple = verdict.ripple_db;
  if (ripple === null) return strings.ripple_unknown;
  return strings.ripple(
    ripple.value.toFixed(1),
    ripple.low.toFixed(1),
    ripple.high.toFixed(1),
    verdict.tolerance_db.toFixed(1),
  );
}

/** The side of a square picture that fills its stage. */
export function side_px(stage: HTMLElement): number {
  return Math.round(Math.max(stage.clientWidth, 260));
}

export function gain_view(context: Context): View {
  const { doc, offer } = context;
  const frame = html(doc, "div", { class: "frame" });
  const chooser = dial(context, strings.choose_gain);
  const stage = html(doc, "div", { class: "stage" }, frame, chooser.element);
  const ripple = html(doc, "p", { class: "note" });
  let rose: GainRose | null = null;
  offer({ name: "gain", label: strings.gain_title, picture: () => rose?.element ?? null });
  const element = html(
    doc,
    "figure",
    { class: "gain", id: "gain", tabindex: -1 },
    html(doc, "figcaption", {}, html(doc, "h2", {}, strings.gain_title)),
    stage,
    ripple,
  );
  let data: GainRoseData | null = null;
  let drawn: unknown[] = [];

  function draw({ model, state, bearing_deg }: Shown): void {
    if (state.against !== null) return;
    const verdict = has_reach(model) ? value_of(model.verdict) : null;
    // Its place is kept where a verdict may come.
    element.hidden = verdict === null && !model.offered.has("/api/verdict");
    element.classList.toggle("is-waiting", verdict === null);
    chooser.element.hidden = verdict === null;
    if (verdict === null) {
      rose = null;
      drawn = [];
      frame.replaceChildren();
      set_text(
        ripple,
        model.verdict?.kind === "failed"
          ? strings.failed(strings.verdict_answer, model.verdict.detail)
          : has_reach(model)
            ? strings.judging
            : strings.nothing_to_judge,
      );
      return;
    }
    const size = side_px(stage);
    if (drawn[0] !== verdict || drawn[1] !== size) {
      drawn = [verdict, size];
      data = data_of(verdict);
      rose = gain_rose(doc, data, {
        size,
        title: strings.gain_title,
        description: strings.gain_description(ripple_text(verdict)),
        id: "gain-rose",
      });
      frame.replaceChildren(rose.element);
      set_text(
        ripple,
        `${ripple_text(verdict)} ${strings.gain_note(percent_text(verdict.confidence))}`,
      );
    }
    if (rose === null || data === null) return;
    point_gain_hand(doc, rose, data, bearing_deg);
    chooser.show(state.bearing_deg, data, gain_words);
  }

  return drawn_view(element, draw);
}
