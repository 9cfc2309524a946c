// Starts the page: asks, listens, and brings every view up to date.
import {
  ask,
  offered,
  type Answer,
  type CompareAnswer,
  type CutAnswer,
  type DriftAnswer,
  type ExpectAnswer,
  type FieldAnswer,
  type HoursAnswer,
  type ReachAnswer,
  type SiteAnswer,
  type TrialsAnswer,
  type VerdictAnswer,
} from "./api";
import { html } from "./dom";
import { sector_at } from "./geometry";
import { land_of, type Atlas } from "./marks/coast";
import type { Place } from "./marks/places";
import { live_stream } from "./live_stream";
import {
  empty_model,
  sectors_of,
  usual_antenna,
  value_of,
  weakest_bearing_deg,
  type Model,
} from "./model";
import {
  initial_state,
  read_state,
  selection_query,
  selection_word,
  write_state,
  type ViewState,
} from "./state";
import { strings } from "./strings";
import { bearing_view } from "./views/bearing";
import { compare_view } from "./views/compare";
import { conclusion_view } from "./views/conclusion";
import { cut_view } from "./views/cut";
import { empty_view } from "./views/empty";
import { footer_view } from "./views/footer";
import { gain_view } from "./views/gain";
import { header_view } from "./views/header";
import { live_view } from "./views/live";
import { map_view } from "./views/map";
import { selection_view } from "./views/selection";
import { table_view } from "./views/table";
import { end_of_record_s, time_view } from "./views/time";
import { trials_view } from "./views/trials";
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

/** What has been learnt can be seen. */
const drawn = () =>
  new Promise<void>((done) => {
    requestAnimationFrame(() => setTimeout(done, 0));
  });

function learn(change: Partial<Model>): void {
  model = { ...model, ...change };
  show();
}

const query_now = () =>
  selection_query(state, { end_s: end_of_record_s(model), antenna: usual_antenna(model) });
const query_text = () => query_now().toString();

/** Brings questions in line with the state, where they have become others. */
function follow(before: ViewState, text_before: string): void {
  const is_same = query_text() === text_before;
  if (!is_same) void ask_about_selection();
  if (!is_same || before.against !== state.against) void ask_about_other();
  if (!is_same || before.bearing_deg !== state.bearing_deg) ask_about_bearing();
  if (before.antenna !== state.antenna || before.trial !== state.trial) {
    void ask_about_record();
  }
}

const context: Context = {
  doc,
  set(change) {
    const before = state;
    const text_before = query_text();
    state = { ...state, ...change };
    remember(state);
    const hash = write_state(state);
    history.replaceState(null, "", hash === "" ? location.pathname + location.search : hash);
    follow(before, text_before);
    show();
  },
  preview(bearing_deg) {
    if (bearing_deg === pointed_deg) return;
    pointed_deg = bearing_deg;
    show();
  },
  refresh: () => void ask_for_all(),
  now_s: () => Date.now() / 1000,
};

const header = header_view(context);
const live = live_view(context);
const conclusion = conclusion_view(context);
const selection = selection_view(context);
const map = map_view(context);
const lessons = empty_view(context);
const bearing = bearing_view(context);
const table = table_view(context);
const gain = gain_view(context);
const cut = cut_view(context);
const compare = compare_view(context);
const time = time_view(context);
const trials = trials_view(context);
const footer = footer_view(context);
const views = [
  header,
  live,
  conclusion,
  selection,
  map,
  lessons,
  bearing,
  table,
  gain,
  cut,
  compare,
  time,
  trials,
  footer,
];

/** An answer that failed leaves the one before in place: old numbers are better than none. */
function newer<T>(before: Answer<T> | null, after: Answer<T>): Answer<T> {
  return after.kind === "failed" && before !== null && before.kind === "ok" ? before : after;
}

/** Asks only for what is there: a question too much would be an error in the browser's console. */
let paths: Promise<Set<string>> | null = null;
/** Questions that are not answered yet. */
let n_open = 0;
async function ask_if_offered<T>(path: string, query?: URLSearchParams): Promise<Answer<T>> {
  paths ??= offered();
  if (!(await paths).has(`/${path}`)) return { kind: "absent" };
  n_open += 1;
  const answer = await ask<T>(path, query);
  n_open -= 1;
  return answer;
}

async function ask_about_reach(): Promise<void> {
  const query = query_now();
  const reach = await ask_if_offered<ReachAnswer>("api/reach", query);
  show_land();
  if (query_text() !== query.toString()) return;
  learn({ reach: newer(model.reach, reach) });
  ask_about_bearing();
}

async function ask_about_pattern(): Promise<void> {
  const query = query_now();
  const is_current = () => query_text() === query.toString();
  await Promise.all([
    ask_if_offered<FieldAnswer>("api/field", query).then((field) => {
      if (is_current()) learn({ field: newer(model.field, field) });
    }),
    ask_if_offered<VerdictAnswer>("api/verdict", query).then((verdict) => {
      if (is_current()) learn({ verdict: newer(model.verdict, verdict) });
    }),
  ]);
}

/**
 * First what makes the picture, then what takes long to compute: a small computer would share
 * itself out among them, and show nothing for as long.
 */
async function ask_about_selection(): Promise<void> {
  const before = query_text();
  await ask_about_reach();
  await drawn();
  if (query_text() === before) await ask_about_pattern();
}

async function ask_about_other(): Promise<void> {
  const against = state.against;
  const query = query_now();
  if (against === null) {
    learn({ compare: null, reach_against: null });
    return;
  }
  const is_current = () => state.against === against && query_text() === query.toString();
  learn({ compare: { kind: "absent" }, reach_against: null });
  const other = new URLSearchParams(against.split(",").map((pair) => pair.split("=")));
  await Promise.all([
    ask_if_offered<CompareAnswer>(
      "api/compare",
      new URLSearchParams({ a: selection_word(query), b: against }),
    ).then((answer) => {
      if (is_current()) learn({ compare: answer });
    }),
    ask_if_offered<ReachAnswer>("api/reach", other).then((answer) => {
      if (is_current()) learn({ reach_against: answer });
    }),
  ]);
}

/**
 * The cut is of a sector: moving within one asks nothing anew. Keys held down ask once. Where no
 * bearing is chosen it is that of the weakest.
 */
const settle_ms = 150;
let settling = 0;
let cut_asked = "";
function ask_about_bearing(): void {
  clearTimeout(settling);
  settling = window.setTimeout(() => {
    const wanted_deg = state.bearing_deg ?? weakest_bearing_deg(model);
    if (wanted_deg === null) {
      cut_asked = "";
      return;
    }
    const sector = sector_at(sectors_of(model), wanted_deg);
    const query = query_now();
    query.set("bearing_deg", String(sector?.bearing_deg ?? wanted_deg));
    const text = query.toString();
    if (text === cut_asked) return;
    cut_asked = text;
    void ask_if_offered<CutAnswer>("api/cut", query).then((answer) => {
      if (cut_asked !== text) return;
      learn({ cut: newer(model.cut, answer) });
      if (answer.kind === "failed") cut_asked = "";
    });
  }, settle_ms);
}

function record_query(): { query: URLSearchParams; is_current(): boolean } {
  const { antenna, trial } = state;
  return {
    query: selection_query(
      { ...initial_state, antenna, trial },
      { end_s: null, antenna: usual_antenna(model) },
    ),
    is_current: () => state.antenna === antenna && state.trial === trial,
  };
}

async function ask_about_hours(): Promise<void> {
  const { query, is_current } = record_query();
  const hours = await ask_if_offered<HoursAnswer>("api/hours", query);
  if (is_current()) learn({ hours: newer(model.hours, hours) });
}

/** Of nothing there is no drift: asking would be an error in the browser's console. */
async function ask_about_drift(): Promise<void> {
  const { query, is_current } = record_query();
  if (value_of(model.hours)?.hours.length === 0) {
    learn({ drift: { kind: "absent" } });
    return;
  }
  const drift = await ask_if_offered<DriftAnswer>("api/drift", query);
  if (is_current()) learn({ drift: newer(model.drift, drift) });
}

async function ask_about_record(): Promise<void> {
  const { is_current } = record_query();
  await ask_about_hours();
  if (is_current()) await ask_about_drift();
}

async function ask_about_expect(): Promise<void> {
  const expect = await ask_if_offered<ExpectAnswer>("api/expect");
  learn({ expect: newer(model.expect, expect) });
}

/** All at once: drawing in between would hold up the question that the picture waits for. */
async function ask_about_site(): Promise<void> {
  paths ??= offered();
  const [site, trials] = await Promise.all([
    ask<SiteAnswer>("api/site"),
    ask_if_offered<TrialsAnswer>("api/trials"),
  ]);
  learn({
    offered: await paths,
    site: value_of(site) ?? model.site,
    trials: newer(model.trials, trials),
  });
}

async function ask_for_all(): Promise<void> {
  await ask_about_site(); // its trials say which antenna is the usual one
  // A range of time counts back from the record's end, which has to be known first.
  if (state.range !== null) await ask_about_hours();
  cut_asked = "";
  await ask_about_reach();
  await drawn();
  await Promise.all([
    ask_about_expect(),
    ask_about_pattern(),
    state.range === null ? ask_about_record() : ask_about_drift(),
    state.against === null ? null : ask_about_other(),
  ]);
}

/** Coastlines are the heaviest part, and the picture is useful before them. */
let is_land_asked = false;
function show_land(): void {
  if (is_land_asked) return;
  is_land_asked = true;
  void drawn().then(ask_for_land);
}

async function ask_for_land(): Promise<void> {
  const [coast, places] = await Promise.all([
    ask<Atlas>("coast.json"),
    ask<Place[]>("places.json"),
  ]);
  const atlas = value_of(coast);
  if (atlas !== null) learn({ land: land_of(atlas, value_of(places) ?? []) });
}

const stream = live_stream({
  opened(was_lost) {
    learn({ connection: { kind: "open" } });
    if (!was_lost) return;
    paths = null; // it may be another roundeld now
    void ask_for_all();
  },
  lost: (since_s) => learn({ connection: { kind: "lost", since_s } }),
  told: (live) => learn({ live }),
  now_s: context.now_s,
});

function lay_out(): void {
  const main = html(
    doc,
    "main",
    { id: "main", tabindex: -1 },
    conclusion.element,
    selection.element,
    html(
      doc,
      "div",
      { class: "desk" },
      map.element,
      html(doc, "div", { class: "side" }, lessons.element, bearing.element),
    ),
    table.element,
    html(doc, "div", { class: "sheets" }, gain.element, compare.element, cut.element),
    time.element,
    trials.element,
  );
  // The address holds the state, so the link must not change it.
  const skip = html(doc, "a", { class: "skip", href: "#main" }, strings.skip);
  skip.addEventListener("click", (event) => {
    event.preventDefault();
    main.focus();
  });
  doc.body.replaceChildren(skip, header.element, live.element, main, footer.element);
}

async function start(): Promise<void> {
  lay_out();
  show();
  addEventListener("hashchange", () => {
    const before = state;
    const text_before = query_text();
    state = read_state(location.hash, { ...initial_state, units: state.units, theme: state.theme });
    follow(before, text_before);
    show();
  });
  stream.listen();
  setInterval(() => {
    // Where answers take longer than this, asking again would only make them wait for each other.
    if (doc.hidden || model.connection.kind === "lost" || n_open > 0) return;
    cut_asked = "";
    void ask_about_selection();
    void ask_about_record();
  }, refresh_ms);
  setInterval(() => {
    if (!doc.hidden) stream.let_time_pass();
  }, 1000);
  await ask_for_all();
}

void start();
