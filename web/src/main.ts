// Starts the page: lays it out, listens, and brings every view up to date.
import { html } from "./dom";
import { live_stream } from "./live_stream";
import { empty_model, has_reach, type Model } from "./model";
import { questions } from "./questions";
import { initial_state, read_state, write_state, type ViewState } from "./state";
import { strings } from "./strings";
import { answers_view } from "./views/answers";
import { bearing_view } from "./views/bearing";
import { compare_view } from "./views/compare";
import { conclusion_view } from "./views/conclusion";
import { cut_view } from "./views/cut";
import { empty_view } from "./views/empty";
import type { Savable } from "./views/export";
import { footer_view } from "./views/footer";
import { gain_view } from "./views/gain";
import { header_view } from "./views/header";
import { live_view } from "./views/live";
import { map_view } from "./views/map";
import { selection_view } from "./views/selection";
import { table_view } from "./views/table";
import { time_view } from "./views/time";
import { trials_view } from "./views/trials";
import type { Context } from "./views/view";

/** Reach and verdict change slowly; asking again costs an unchanged answer little (entity tags). */
const refresh_ms = 60_000;
/** Before anything is heard each commit may bring the first. */
const first_ms = 5000;
const sky_ms = 10_000;
/** Without an answer the page is shown after so long as it is. */
const patience_ms = 1000;
const preferences_key = "roundel";

function preferences(): ViewState {
  try {
    return read_state(localStorage.getItem(preferences_key) ?? "");
  } catch {
    return initial_state; // storage may be forbidden; the page works without
  }
}

function remember({ units, theme }: ViewState): void {
  try {
    localStorage.setItem(preferences_key, write_state({ ...initial_state, units, theme }));
  } catch {
    // as above
  }
}

const doc = document;
let state = read_state(location.hash, preferences());
let model: Model = empty_model;
let pointed: { bearing_deg: number | null; range_km: number | null } = {
  bearing_deg: null,
  range_km: null,
};
let frame = 0;

function show(): void {
  if (frame !== 0) return;
  frame = requestAnimationFrame(() => {
    frame = 0;
    const shown = {
      model,
      state,
      bearing_deg: pointed.bearing_deg ?? state.bearing_deg,
      range_km: pointed.range_km,
    };
    for (const view of views) view.update(shown);
  });
}

function learn(change: Partial<Model>): void {
  model = { ...model, ...change };
  show();
}

const asked = questions({
  model: () => model,
  state: () => state,
  pointed_deg: () => pointed.bearing_deg,
  learn,
  drawn: () =>
    new Promise<void>((done) => {
      requestAnimationFrame(() => setTimeout(done, 0));
    }),
});

const things: Savable[] = [];
const context: Context = {
  doc,
  set(change) {
    asked.follow(() => {
      state = { ...state, ...change };
      remember(state);
      const hash = write_state(state);
      history.replaceState(null, "", hash === "" ? location.pathname + location.search : hash);
    });
    show();
  },
  preview(bearing_deg, range_km = null) {
    if (bearing_deg === pointed.bearing_deg && range_km === pointed.range_km) return;
    const is_turned = bearing_deg !== pointed.bearing_deg;
    pointed = { bearing_deg, range_km };
    if (is_turned) asked.bearing();
    show();
  },
  offer: (thing) => things.push(thing),
  refresh: () => void asked.everything(),
  now_s: () => Date.now() / 1000,
};

const header = header_view(context);
const live = live_view(context);
const selection = selection_view(context, things);
const answers = answers_view(context);
const map = map_view(context);
const gain = gain_view(context);
const lessons = empty_view(context);
const bearing = bearing_view(context);
const compare = compare_view(context);
const conclusion = conclusion_view(context);
const table = table_view(context);
const cut = cut_view(context);
const time = time_view(context);
const trials = trials_view(context);
const footer = footer_view(context);
const desk = html(
  doc,
  "div",
  { class: "desk" },
  map.element,
  html(doc, "div", { class: "side" }, lessons.element, bearing.element),
  gain.element,
  map.legend,
);
const main = html(
  doc,
  "main",
  { id: "main", tabindex: -1 },
  selection.element,
  answers.element,
  desk,
  compare.element,
  html(
    doc,
    "div",
    { class: "sheets" },
    conclusion.element,
    cut.element,
    time.element,
    table.element,
    trials.element,
  ),
);
const views = [
  header,
  live,
  selection,
  answers,
  map,
  gain,
  lessons,
  bearing,
  compare,
  conclusion,
  cut,
  time,
  table,
  trials,
  footer,
  // A comparison takes the place of what it compares.
  { update: () => (desk.hidden = state.against !== null) },
  // What comes first would be pushed about by what comes next.
  { update: () => main.classList.toggle("is-early", is_early && model.reach === null) },
];

/** When the first report has come, the page that has nothing yet asks at once. */
let asked_at_ms = 0;
let commit_s: number | null = null;
function look_for_first(last_commit_s: number | null): void {
  if (last_commit_s === commit_s || has_reach(model)) return;
  if (model.reach === null || Date.now() - asked_at_ms < first_ms) return;
  commit_s = last_commit_s;
  asked_at_ms = Date.now();
  asked.again();
}

const stream = live_stream({
  opened(was_lost) {
    learn({ connection: { kind: "open" } });
    if (!was_lost) return;
    asked.forget();
    void asked.everything();
  },
  lost: (since_s) => learn({ connection: { kind: "lost", since_s } }),
  told(live) {
    look_for_first(live.last_commit_s);
    learn({ live });
  },
  now_s: context.now_s,
});

let is_early = true;
function lay_out(): void {
  // The address holds the state, so the link must not change it.
  const skip = html(doc, "a", { class: "skip", href: "#main" }, strings.skip);
  skip.addEventListener("click", (event) => {
    event.preventDefault();
    main.focus();
  });
  doc.body.replaceChildren(skip, header.element, live.element, main, footer.element);
  setTimeout(() => {
    is_early = false;
    show();
  }, patience_ms);
}

const is_watched = () => !doc.hidden && model.connection.kind === "open";
const is_in_view = (element: Element) => {
  const { top, bottom } = element.getBoundingClientRect();
  return bottom > 0 && top < innerHeight;
};

function every(ms: number, act: () => void): void {
  setInterval(() => {
    if (is_watched()) act();
  }, ms);
}

function look_at_sky(): void {
  const is_flying = model.live?.feeds.some((feed) => feed.state === "connected") === true;
  if (is_flying && has_reach(model) && is_in_view(map.element)) void asked.sky();
  else if (model.sky !== null && !is_flying) learn({ sky: null });
}

lay_out();
show();
addEventListener("hashchange", () => {
  asked.follow(() => {
    state = read_state(location.hash, { ...initial_state, units: state.units, theme: state.theme });
  });
  show();
});
stream.listen();
every(refresh_ms, asked.again);
every(sky_ms, look_at_sky);
every(1000, stream.let_time_pass);
void asked.everything().then(look_at_sky);
