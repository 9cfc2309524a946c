// What to do when there is nothing to see, or when what comes cannot be used.
import type { FeedLive } from "../api";
import { html } from "../dom";
import { has_reach, type Model } from "../model";
import { strings } from "../strings";
import { age_text, percent_text, time_text } from "../units";
import type { Context, Shown, View } from "./view";

export interface Lesson {
  text: string;
  snippet?: string;
}

/** A share of what a feed says from which on it is worth a word. */
const worth_a_word = 0.5;
/** Before so many lines no share means much. */
const least_lines = 100;

/** Rejects that point at the layout, not at the traffic. */
const layout_reasons = [
  "malformed",
  "bad_address",
  "bad_position",
  "bad_altitude",
  "bad_signal",
  "too_long",
];

function about_lines(feed: FeedLive): Lesson[] {
  if (feed.received < least_lines) return [];
  const share = (reason: string) => (feed.rejects[reason] ?? 0) / feed.received;
  if (share("no_altitude") >= worth_a_word)
    return [{ text: strings.empty_no_altitude(feed.name, percent_text(share("no_altitude"))) }];
  const worst = layout_reasons.reduce((a, b) => (share(b) > share(a) ? b : a));
  if (share(worst) >= worth_a_word)
    return [
      {
        text: strings.empty_not_read(feed.name, percent_text(share(worst)), worst),
        snippet: strings.snippet_peek,
      },
    ];
  return [];
}

function about_feed(feed: FeedLive, now_s: number, is_empty: boolean): Lesson[] {
  const since_s = feed.state_since_s ?? now_s;
  if (feed.state === "stalled") {
    const silent_s = feed.last_report_s ?? since_s;
    return [
      {
        text: strings.empty_stalled(feed.name, time_text(silent_s), age_text(now_s - silent_s)),
      },
    ];
  }
  if (!is_empty) return [];
  if (feed.state === "connecting")
    return [{ text: strings.empty_connecting(feed.name, age_text(now_s - since_s)) }];
  if (feed.state === "listening") return [{ text: strings.empty_listening(feed.name) }];
  if (feed.state === "connected") return [{ text: strings.empty_connected(feed.name) }];
  return [];
}

export function lessons(model: Model): Lesson[] {
  const { live } = model;
  if (live === null || model.reach === null) return [];
  const is_empty = !has_reach(model);
  const list = live.feeds.flatMap((feed) => [
    ...about_feed(feed, live.now_s, is_empty),
    ...about_lines(feed),
  ]);
  if (!is_empty) return list;
  if (live.feeds.length === 0)
    list.push({ text: strings.empty_no_feed, snippet: strings.snippet_feed });
  if (live.feeds.every((feed) => feed.received === 0))
    list.push({ text: strings.empty_peek, snippet: strings.snippet_peek });
  return list;
}

export function empty_view({ doc }: Context): View {
  const element = html(doc, "section", { class: "lessons panel", hidden: true });
  let shown_key = "";
  return {
    element,
    update({ model }: Shown) {
      const list = lessons(model);
      const key = JSON.stringify(list);
      if (key === shown_key) return;
      shown_key = key;
      element.hidden = list.length === 0;
      element.replaceChildren(
        ...(has_reach(model) ? [] : [html(doc, "h2", {}, strings.lessons)]),
        ...list.flatMap(({ text, snippet }) => [
          html(doc, "p", {}, text),
          ...(snippet === undefined
            ? []
            : [html(doc, "pre", { tabindex: 0 }, html(doc, "code", {}, snippet))]),
        ]),
      );
    },
  };
}
