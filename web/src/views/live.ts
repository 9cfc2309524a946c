// How the feeds do, as roundeld tells it: one line a feed, and whether roundeld itself is there.
import type { FeedLive, Live } from "../api";
import { html, set_text } from "../dom";
import { strings } from "../strings";
import { age_text, grouped, time_text } from "../units";
import type { Context, Shown, View } from "./view";

interface Row {
  element: HTMLElement;
  update(feed: FeedLive, live: Live): void;
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
  const element = html(
    doc,
    "li",
    {},
    html(doc, "span", { class: "feed-title" }, lamp, name, " ", state),
    reports.element,
    aircraft.element,
    last,
  );
  return {
    element,
    update(feed, live) {
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

export function live_view({ doc }: Context): View {
  const list = html(doc, "ul", { class: "feeds" });
  const notice = html(doc, "p", { class: "notice", role: "status", "aria-live": "polite" });
  const rows = new Map<string, Row>();
  return {
    element: html(doc, "section", { class: "live", "aria-label": strings.live }, notice, list),
    update({ model }: Shown) {
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
