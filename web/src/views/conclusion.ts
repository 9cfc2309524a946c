// The verdict in its own words, or as long as there is none, the reach.
import type { VerdictAnswer } from "../api";
import { html, set_text } from "../dom";
import { has_reach, shown_antenna, value_of } from "../model";
import type { ViewState } from "../state";
import { strings } from "../strings";
import { percent_text, seconds_of, time_text, type Units } from "../units";
import { reach_sentence } from "./words";
import type { Context, Shown, View } from "./view";
import type { Model } from "../model";

function trouble(model: Model): string | null {
  if (model.verdict?.kind === "failed")
    return strings.failed(strings.verdict_answer, model.verdict.detail);
  if (model.reach?.kind === "failed")
    return strings.failed(strings.reach_answer, model.reach.detail);
  return null;
}

function sentence(model: Model, units: Units): string {
  const verdict = value_of(model.verdict);
  if (verdict !== null && has_reach(model)) return verdict.sentence;
  if (model.reach === null) return strings.waiting;
  const reach = has_reach(model) ? reach_sentence(model, units) : null;
  return reach ?? trouble(model) ?? strings.empty_title;
}

/** The answer itself, and what there is to say to it. */
export function lead_and_rest(text: string): [lead: string, rest: string] {
  const end = /[.!?]\s+(?=\p{Lu})/u.exec(text);
  return end === null
    ? [text, ""]
    : [text.slice(0, end.index + 1), text.slice(end.index + end[0].length)];
}

function why_no_verdict(model: Model): string {
  if (!has_reach(model)) return "";
  const is_coming = model.verdict === null && model.offered.has("/api/verdict");
  return trouble(model) ?? (is_coming ? strings.judging : "");
}

/** Which antenna or trial is judged; paper has no fields to tell it. */
function subject(model: Model, state: ViewState): string[] {
  if (state.trial !== null) return [strings.about_trial(state.trial)];
  const antenna = shown_antenna(model, state);
  return antenna === null ? [] : [strings.about_antenna(antenna)];
}

/** Of the verdict; an answer that is as new as can be says nothing. */
export function as_of_text({ verdict }: Pick<Model, "verdict">): string[] {
  if (verdict?.kind !== "ok" || verdict.as_of_s === undefined) return [];
  return [strings.as_of(time_text(verdict.as_of_s))];
}

function basis(verdict: VerdictAnswer, about: string[], as_of: string[]): string {
  const parts = [...about, strings.confidence(percent_text(verdict.confidence))];
  if (verdict.from !== null && verdict.to !== null)
    parts.push(
      strings.from_to(time_text(seconds_of(verdict.from)), time_text(seconds_of(verdict.to))),
    );
  parts.push(...as_of);
  if (verdict.only_from !== undefined) parts.push(strings.only_newest);
  return parts.join(" · ");
}

export function conclusion_view({ doc }: Context): View {
  const lead = html(doc, "span", { class: "lead" });
  const rest = html(doc, "span", { class: "rest" });
  const text = html(
    doc,
    "p",
    { class: "sentence", role: "status", "aria-live": "polite" },
    lead,
    " ",
    rest,
  );
  const why = html(doc, "p", { class: "basis" });
  const advice = html(doc, "ul", { class: "advice" });
  const advice_head = html(doc, "h3", {}, strings.advice);
  const element = html(
    doc,
    "section",
    { class: "conclusion panel", "aria-label": strings.conclusion },
    html(doc, "h2", {}, strings.conclusion),
    text,
    why,
    advice_head,
    advice,
  );
  return {
    element,
    update({ model, state }: Shown) {
      const verdict = has_reach(model) ? value_of(model.verdict) : null;
      const [first, others] = lead_and_rest(sentence(model, state.units));
      set_text(lead, first);
      set_text(rest, others);
      set_text(
        why,
        verdict !== null
          ? basis(verdict, subject(model, state), as_of_text(model))
          : why_no_verdict(model),
      );
      const list = verdict?.advice ?? [];
      advice_head.hidden = advice.hidden = list.length === 0;
      const lines = list.join("\n");
      if (advice.dataset["lines"] === lines) return;
      advice.dataset["lines"] = lines;
      advice.replaceChildren(...list.map((line) => html(doc, "li", {}, line)));
    },
  };
}
