// The five answers in plain words: what a builder wants to know before any picture.
import type { VerdictWord } from "./api";
import { has_reach, sectors_of, shown_antenna, usual_other, value_of, type Model } from "./model";
import { overview } from "./overview";
import type { ViewState } from "./state";
import { strings } from "./strings";
import { db_text, percent_text, signed } from "./units";

export type Tone = "good" | "bad" | "open" | "waiting";

export interface PlainAnswer {
  question: keyof typeof strings.question;
  word: string;
  /** The number behind it. */
  detail: string;
  tone: Tone;
}

type Said = Omit<PlainAnswer, "question">;

const waiting: Said = { word: strings.waiting_short, detail: "", tone: "waiting" };
const open = (detail: string, word: string = strings.not_known): Said => ({
  word,
  detail,
  tone: "open",
});

const tones: Record<VerdictWord, Tone> = {
  omnidirectional: "good",
  not_omnidirectional: "bad",
  undecided: "open",
};

function round(model: Model): Said {
  const verdict = value_of(model.verdict);
  if (verdict === null) return open("");
  const ripple = verdict.ripple_db;
  return {
    word: strings.round[verdict.verdict],
    detail:
      ripple === null
        ? strings.ripple_unknown
        : strings.ripple_short(
            ripple.value.toFixed(1),
            ripple.low.toFixed(1),
            ripple.high.toFixed(1),
          ),
    tone: tones[verdict.verdict],
  };
}

/** Of the sectors so many have to be judged before "no wall" is said of all. */
const judged_share = 0.5;

function wall(model: Model): Said {
  const { states, n_sectors } = overview(model);
  const of = (name: string) => states.find(({ state }) => state === name);
  const walls = of("obstructed");
  if (walls !== undefined) {
    const [first = "", ...more] = walls.spans;
    return { word: strings.wall, detail: strings.spans(first, more.length), tone: "bad" };
  }
  const n_judged = n_sectors - (of("unjudged")?.n_sectors ?? 0);
  const detail = strings.judged(n_judged, n_sectors);
  if (value_of(model.verdict) === null || n_judged < judged_share * n_sectors) return open(detail);
  return { word: strings.no_wall, detail, tone: "good" };
}

/** Heard to so much of the horizon, as a sector's state "to the horizon" has it. */
const far_ratio = 0.9;

/** The median of the bearings on which nothing stands in the way. */
function far(model: Model): Said {
  const ratios = sectors_of(model)
    .filter(({ verdict }) => verdict?.state !== "obstructed")
    .flatMap(({ reach }) => (reach?.ratio == null ? [] : [reach.ratio]))
    .sort((a, b) => a - b);
  const median = ratios[Math.floor(ratios.length / 2)];
  if (median === undefined) return open("");
  const is_far = median >= far_ratio;
  return {
    word: is_far ? strings.far : strings.not_far,
    detail: strings.far_detail(percent_text(median)),
    tone: is_far ? "good" : "bad",
  };
}

/** A selection's word, `antenna=spider`, as a person names it. */
export function name_of(word: string): string {
  const [, key = "", value = word] = /^(\w+)=([^,]*)/.exec(word) ?? [];
  return key === "trial" ? strings.about_trial(value) : value;
}

/** The two that are compared, by their names. */
export function names_of(model: Model, state: ViewState): [a: string, b: string] {
  const a =
    state.trial === null
      ? (shown_antenna(model, state) ?? strings.what_is_shown)
      : strings.about_trial(state.trial);
  const b = name_of(state.against ?? usual_other(model, state) ?? "");
  return a === b ? [a, strings.at_other_time(b)] : [a, b];
}

function against(model: Model, state: ViewState): Said {
  if ((state.against ?? usual_other(model, state)) === null)
    return open(strings.no_other, strings.nothing_to_compare);
  if (model.compare?.kind === "failed") return open(model.compare.detail);
  const difference = value_of(model.compare)?.difference_db;
  if (difference == null) return open("");
  const [, b] = names_of(model, state);
  const { value, low, high } = difference;
  const detail = `${db_text(value)} (${strings.between(signed(low), signed(high))})`;
  if (low > 0) return { word: strings.better_than(b), detail, tone: "good" };
  if (high < 0) return { word: strings.worse_than(b), detail, tone: "bad" };
  return open(detail, strings.like(b));
}

function still(model: Model): Said {
  const drift = value_of(model.drift);
  const days = drift?.days.length ?? 0;
  const change = drift?.changes.at(-1);
  if (change !== undefined)
    return {
      word: strings.changed,
      detail: strings.changed_on(db_text(change.step_db), change.time.slice(0, 10)),
      tone: "bad",
    };
  if (days < 2) return open(strings.days_needed);
  return { word: strings.unchanged, detail: strings.over_days(days), tone: "good" };
}

const of_each: Record<PlainAnswer["question"], (model: Model, state: ViewState) => Said> = {
  round,
  wall,
  far,
  against,
  still,
};
/** What each is worked out from. */
const source: Record<PlainAnswer["question"], keyof Model> = {
  round: "verdict",
  wall: "verdict",
  far: "reach",
  against: "compare",
  still: "drift",
};

export function plain_answers(model: Model, state: ViewState): PlainAnswer[] {
  const questions = Object.keys(of_each) as PlainAnswer["question"][];
  return questions.map((question) => {
    const of = model[source[question]];
    const is_asked =
      question !== "against" || (state.against ?? usual_other(model, state)) !== null;
    if (model.reach !== null && !has_reach(model)) return { question, ...open("") };
    if (of === null && is_asked) return { question, ...waiting };
    return { question, ...of_each[question](model, state) };
  });
}
