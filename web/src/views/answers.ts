// On top: five answers in plain words. Each leads to its evidence.
import { plain_answers, type PlainAnswer } from "../answers";
import { html, set_text } from "../dom";
import { usual_other } from "../model";
import { strings } from "../strings";
import type { Context, Shown, View } from "./view";

/** Where each one's evidence stands. */
const evidence: Record<PlainAnswer["question"], string> = {
  round: "gain",
  wall: "map",
  far: "bearing",
  against: "compare",
  still: "time",
};

export function answers_view({ doc, set }: Context): View {
  let latest: Shown | null = null;
  function open(question: PlainAnswer["question"]): void {
    if (latest === null) return;
    const { model, state } = latest;
    const against = question === "against" ? (state.against ?? usual_other(model, state)) : null;
    if (against !== state.against) set({ against });
    // What has been hidden is shown by the next picture.
    requestAnimationFrame(() =>
      requestAnimationFrame(() => {
        const place = doc.getElementById(evidence[question]);
        place?.scrollIntoView({ block: "nearest" });
        place?.focus({ preventScroll: true });
      }),
    );
  }
  const cards = new Map<string, { button: HTMLElement; word: HTMLElement; detail: HTMLElement }>();
  const list = html(doc, "ul", { class: "answers" });
  for (const question of Object.keys(evidence) as PlainAnswer["question"][]) {
    const word = html(doc, "b", {}, strings.waiting_short);
    const detail = html(doc, "span", { class: "detail" });
    const button = html(
      doc,
      "button",
      { type: "button", "data-question": question },
      html(doc, "span", { class: "question" }, strings.question[question]),
      word,
      detail,
    );
    button.addEventListener("click", () => open(question));
    cards.set(question, { button, word, detail });
    list.append(html(doc, "li", {}, button));
  }
  return {
    element: html(doc, "section", { "aria-label": strings.answers }, list),
    update(shown) {
      latest = shown;
      for (const answer of plain_answers(shown.model, shown.state)) {
        const card = cards.get(answer.question);
        if (card === undefined) continue;
        card.button.dataset["tone"] = answer.tone;
        set_text(card.word, answer.word);
        set_text(card.detail, answer.detail);
      }
    },
  };
}
