// How the feeds do, as roundeld tells it: one line a feed, and whether roundeld itself is there.
import type { FeedLive, Live, SkyAnswer } from "../api";
import { html, set_text } from "../dom";
import { strings } from "../strings";
import { in_sight } from "../marks/sky";
import { age_text, grouped, range_text, time_text, type Units } from "../units";
import { bearing_text } from "./words";
import type { Context, Shown, View } from "./view";

interface Row {
  element: HTMLElement;
  update(feed: FeedLive, live: Live): void;
}

/** What a feed had counted at some time. */
export interface Look {
  at_s: number;
  received: number;
  rejects: Record<string, number>;
}

const rise_s = 60;
/** Of what came, so much turned away for one reason is worth a word. */
const rise_share = 0.1;
const least_rise = 20;

/** The reason that most is turned away for, by what has come within a minute. */
export function rising_reject(
  looks: Look[],
  { received, rejects }: Pick<FeedLive, "received" | "rejects">,
  now_s: number,
): { reason: string; count: number } | null {
  if (now_s - (looks.at(-1)?.at_s ?? -Infinity) >= 5)
    looks.push({ at_s: now_s, received, rejects });
  while (looks.length > 1 && now_s - (looks[0]?.at_s ?? 0) > rise_s) looks.shift();
  const before = looks[0];
  if (before === undefined) return null;
  const rise = (reason: string) => (rejects[reason] ?? 0) - (before.rejects[reason] ?? 0);
  const reason = Object.keys(rejects).sort((a, b) => rise(b) - rise(a))[0];
  if (reason === undefined) return null;
  const count = rise(reason);
  const is_much = count >= least_rise && count >= rise_share * (received - before.received);
  return is_much ? { reason, count } : null;
}

function figure(doc: Document, label: string): { element: HTMLElement; value: HTMLElement } {
  const value = html(doc, "b", {});
  return { element: html(doc, "span", { class: "figure" }, value, ` ${label}`), value };
}

function feed_row(doc: Document): Row {
  const name = html(doc, "b", { class: "feed-name" });
  const lamp = html(doc, "span", { class: "lamp", "aria-hidden": "true" });
  const state = html(doc, "span", { class: "feed-state" });
  const reports = figure(doc, strings.reports);
  const aircraft = figure(doc, strings.aircraft_minute);
  const last = html(doc, "span", { class: "figure" });
  const rising = html(doc, "span", { class: "figure rising", hidden: true });
  const looks: Look[] = [];
  const element = html(
    doc,
    "li",
    {},
    html(doc, "span", { class: "feed-title" }, lamp, name, " ", state),
    reports.element,
    aircraft.element,
    last,
    rising,
  );
  return {
    element,
    update(feed, live) {
      const worst = rising_reject(looks, feed, live.now_s);
      rising.hidden = worst === null;
      if (worst !== null)
        set_text(
          rising,
          strings.turned_away(grouped(worst.count), worst.reason.replaceAll("_", " ")),
        );
      element.dataset["state"] = feed.state;
      set_text(name, feed.name);
      const is_up = feed.state === "connected";
      const since =
        is_up || feed.state_since_s === null
          ? ""
          : ` ${strings.since(time_text(feed.state_since_s))}`;
      set_text(state, strings.feed_state[feed.state] + since);
      set_text(reports.value, grouped(feed.received));
      set_text(aircraft.value, grouped(feed.aircraft));
      set_text(
        last,
        feed.last_report_s === null
          ? strings.no_report
          : strings.last_report(age_text(live.now_s - feed.last_report_s)),
      );
    },
  };
}

function sight_text(sky: SkyAnswer, units: Units): string {
  const seen = in_sight(sky);
  const count = strings.in_sight(seen.length, seen.filter(({ is_heard }) => !is_heard).length);
  if (sky.farthest === null) return count;
  const { range_km, bearing_deg } = sky.farthest;
  return `${count} · ${strings.farthest_hour(range_text(units, range_km), bearing_text(bearing_deg))}`;
}

export function live_view({ doc }: Context): View {
  const list = html(doc, "ul", { class: "feeds" });
  const notice = html(doc, "p", { class: "notice", role: "status", "aria-live": "polite" });
  const sight = html(doc, "p", { class: "sight" });
  const rows = new Map<string, Row>();
  return {
    element: html(
      doc,
      "section",
      { class: "live", "aria-label": strings.live },
      notice,
      list,
      sight,
    ),
    update({ model, state }: Shown) {
      set_text(sight, model.sky === null ? "" : sight_text(model.sky, state.units));
      const { live, connection } = model;
      const is_lost = connection.kind === "lost";
      const trouble =
        live !== null && live.store_state !== "ok" ? strings.store_trouble(live.store_state) : "";
      set_text(
        notice,
        connection.kind === "lost"
          ? strings.connection_lost(time_text(connection.since_s))
          : trouble,
      );
      notice.hidden = notice.textContent === "";
      list.classList.toggle("is-old", is_lost);
      list.hidden = live === null || live.feeds.length === 0;
      if (live === null) return;
      for (const feed of live.feeds) {
        let row = rows.get(feed.name);
        if (row === undefined) {
          row = feed_row(doc);
          rows.set(feed.name, row);
          list.append(row.element);
        }
        row.update(feed, live);
      }
      for (const [name, row] of rows)
        if (!live.feeds.some((feed) => feed.name === name)) {
          row.element.remove();
          rows.delete(name);
        }
    },
  };
}
