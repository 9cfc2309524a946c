// Starts the page: asks, listens, and brings every view up to date.
import {
  ask,
  offered,
  type Answer,
  type ExpectAnswer,
  type Live,
  type ReachAnswer,
  type SiteAnswer,
  type TrialsAnswer,
  type VerdictAnswer,
} from "./api";
import { html } from "./dom";
import { land_of, type Atlas } from "./marks/coast";
import { empty_model, value_of, type Model } from "./model";
import { initial_state, read_state, selection_query, write_state, type ViewState } from "./state";
import { strings } from "./strings";
import { bearing_view } from "./views/bearing";
import { conclusion_view } from "./views/conclusion";
import { empty_view } from "./views/empty";
import { header_view } from "./views/header";
import { live_view } from "./views/live";
import { map_view } from "./views/map";
import { table_view } from "./views/table";
import type { Context } from "./views/view";

/** Reach and verdict change slowly; asking again costs an unchanged answer little (entity tags). */
const refresh_ms = 60_000;
const preferences_key = "roundel";

function preferences(): ViewState {
  try {
    return read_state(localStorage.getItem(preferences_key) ?? "");
  } catch {
    return initial_state; // storage may be forbidden; the page works without
  }
}

function remember(state: ViewState): void {
  const { units, theme } = state;
  try {
    localStorage.setItem(preferences_key, write_state({ ...initial_state, units, theme }));
  } catch {
    // as above
  }
}

const doc = document;
const defaults = preferences();
let state = read_state(location.hash, defaults);
let model: Model = empty_model;
let pointed_deg: number | null = null;
let frame = 0;

function show(): void {
  if (frame !== 0) return;
  frame = requestAnimationFrame(() => {
    frame = 0;
    const shown = { model, state, bearing_deg: pointed_deg ?? state.bearing_deg };
    for (const view of views) view.update(shown);
  });
}

function learn(change: Partial<Model>): void {
  model = { ...model, ...change };
  show();
}

const context: Context = {
  doc,
  set(change) {
    const before = selection_query(state).toString();
    state = { ...state, ...change };
    remember(state);
    const hash = write_state(state);
    history.replaceState(null, "", hash === "" ? location.pathname + location.search : hash);
    if (selection_query(state).toString() !== before) void ask_about_selection();
    show();
  },
  preview(bearing_deg) {
    if (bearing_deg === pointed_deg) return;
    pointed_deg = bearing_deg;
    show();
  },
  now_s: () => Date.now() / 1000,
};

const header = header_view(context);
const live = live_view(context);
const conclusion = conclusion_view(context);
const map = map_view(context);
const lessons = empty_view(context);
const bearing = bearing_view(context);
const table = table_view(context);
const views = [header, live, conclusion, map, lessons, bearing, table];

/** An answer that failed leaves the one before in place: old numbers are better than none. */
function newer<T>(before: Answer<T> | null, after: Answer<T>): Answer<T> {
  return after.kind === "failed" && before !== null && before.kind === "ok" ? before : after;
}

/** Asks only for what is there: a question too much would be an error in the browser's console. */
let paths: Promise<Set<string>> | null = null;
async function ask_if_offered<T>(path: string, query?: URLSearchParams): Promise<Answer<T>> {
  paths ??= offered();
  return (await paths).has(`/${path}`) ? ask<T>(path, query) : { kind: "absent" };
}

async function ask_about_selection(): Promise<void> {
  const query = selection_query(state);
  const is_current = () => selection_query(state).toString() === query.toString();
  await Promise.all([
    ask_if_offered<ReachAnswer>("api/reach", query).then((reach) => {
      if (is_current()) learn({ reach: newer(model.reach, reach) });
    }),
    ask_if_offered<VerdictAnswer>("api/verdict", query).then((verdict) => {
      if (is_current()) learn({ verdict: newer(model.verdict, verdict) });
    }),
  ]);
}

async function ask_about_site(): Promise<void> {
  await Promise.all([
    ask<SiteAnswer>("api/site").then((answer) => {
      const site = value_of(answer);
      if (site !== null) learn({ site });
    }),
    ask_if_offered<TrialsAnswer>("api/trials").then((trials) =>
      learn({ trials: newer(model.trials, trials) }),
    ),
    ask_if_offered<ExpectAnswer>("api/expect").then((expect) =>
      learn({ expect: newer(model.expect, expect) }),
    ),
  ]);
}

async function ask_for_land(): Promise<void> {
  const atlas = value_of(await ask<Atlas>("coast.json"));
  if (atlas !== null) learn({ land: land_of(atlas) });
}

function listen(): void {
  const source = new EventSource("api/live");
  let was_lost = false;
  source.onopen = () => {
    learn({ connection: { kind: "open" } });
    if (!was_lost) return;
    was_lost = false;
    paths = null; // it may be another roundeld now
    void ask_about_site();
    void ask_about_selection();
  };
  source.onerror = () => {
    was_lost = true;
    if (model.connection.kind !== "lost")
      learn({ connection: { kind: "lost", since_s: context.now_s() } });
    // A browser gives up for good where the answer was an error; then it is for us to go on.
    if (source.readyState === EventSource.CLOSED) setTimeout(listen, 5000);
  };
  source.onmessage = (event) => learn({ live: JSON.parse(String(event.data)) as Live });
}

function lay_out(): void {
  const main = html(
    doc,
    "main",
    {},
    conclusion.element,
    html(
      doc,
      "div",
      { class: "desk" },
      map.element,
      html(doc, "div", { class: "side" }, lessons.element, bearing.element),
    ),
    table.element,
  );
  doc.body.replaceChildren(
    header.element,
    live.element,
    main,
    html(doc, "footer", {}, strings.footer_map),
  );
}

async function start(): Promise<void> {
  lay_out();
  show();
  addEventListener("hashchange", () => {
    const before = selection_query(state).toString();
    state = read_state(location.hash, { ...initial_state, units: state.units, theme: state.theme });
    if (selection_query(state).toString() !== before) void ask_about_selection();
    show();
  });
  listen();
  setInterval(() => {
    if (!doc.hidden) void ask_about_selection();
  }, refresh_ms);
  setInterval(() => {
    if (model.connection.kind === "lost") show();
  }, 1000);
  await Promise.all([ask_about_site(), ask_about_selection()]);
  // Coastlines are the heaviest part, and the picture is useful before them.
  requestAnimationFrame(() => setTimeout(() => void ask_for_land(), 0));
}

void start();
