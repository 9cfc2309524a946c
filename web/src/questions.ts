// What is asked of roundeld, in which order, and again whenever what is looked at changes.
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
  type SkyAnswer,
  type TrialsAnswer,
  type VerdictAnswer,
} from "./api";
import { sector_at } from "./geometry";
import { land_of, type Atlas } from "./marks/coast";
import type { Place } from "./marks/places";
import {
  has_reach,
  sectors_of,
  usual_antenna,
  usual_other,
  value_of,
  weakest_bearing_deg,
  type Model,
} from "./model";
import {
  against_query,
  initial_state,
  selection_query,
  selection_word,
  type ViewState,
} from "./state";
import { end_of_record_s } from "./views/time";

export interface Page {
  model(): Model;
  state(): ViewState;
  /** The bearing that is pointed at, before it is chosen. */
  pointed_deg(): number | null;
  learn(change: Partial<Model>): void;
  /** What has been learnt can be seen. */
  drawn(): Promise<void>;
}

export interface Questions {
  everything(): Promise<void>;
  /** The same, unless questions of before wait for their answers: they would wait for each other. */
  again(): void;
  /** After a change of the state. @param change  makes it */
  follow(change: () => void): void;
  bearing(): void;
  sky(): Promise<void>;
  /** It may be another roundeld now. */
  forget(): void;
}

/** An answer that failed leaves the one before in place: old numbers are better than none. */
function newer<T>(before: Answer<T> | null, after: Answer<T>): Answer<T> {
  return after.kind === "failed" && before !== null && before.kind === "ok" ? before : after;
}

const settle_ms = { chosen: 150, pointed: 400 };

export function questions({ model, state, pointed_deg, learn, drawn }: Page): Questions {
  /** Asks only for what is there: a question too much would be an error in the browser's console. */
  let paths: Promise<Set<string>> | null = null;
  /** Questions that are not answered yet. */
  let n_open = 0;
  async function put<T>(path: string, query?: URLSearchParams): Promise<Answer<T>> {
    paths ??= offered();
    if (!(await paths).has(`/${path}`)) return { kind: "absent" };
    n_open += 1;
    const answer = await ask<T>(path, query);
    n_open -= 1;
    return answer;
  }

  const query_now = () =>
    selection_query(state(), { end_s: end_of_record_s(model()), antenna: usual_antenna(model()) });
  const other_now = () => state().against ?? usual_other(model(), state());
  const other_key = () =>
    [query_now().toString(), other_now() ?? "", state().against, state().against_all].join("|");
  /** Of the whole record of what is chosen, whatever time is. */
  const record_now = () => {
    const { antenna, trial } = state();
    return selection_query(
      { ...initial_state, antenna, trial },
      { end_s: null, antenna: usual_antenna(model()) },
    );
  };

  async function reach(): Promise<void> {
    const query = query_now();
    const answer = await put<ReachAnswer>("api/reach", query);
    show_land();
    if (query_now().toString() !== query.toString()) return;
    learn({ reach: newer(model().reach, answer) });
    bearing();
  }

  /** Of nothing there is no pattern: asking would be an error in the browser's console. */
  async function pattern(): Promise<void> {
    if (!has_reach(model())) {
      learn({ field: null, verdict: null });
      return;
    }
    const query = query_now();
    const is_current = () => query_now().toString() === query.toString();
    await Promise.all([
      put<FieldAnswer>("api/field", query).then((field) => {
        if (is_current()) learn({ field: newer(model().field, field) });
      }),
      put<VerdictAnswer>("api/verdict", query).then((verdict) => {
        if (is_current()) learn({ verdict: newer(model().verdict, verdict) });
      }),
    ]);
  }

  /**
   * First what makes the picture, then what takes long to compute: a small computer would share
   * itself out among them, and show nothing for as long.
   */
  async function selection(): Promise<void> {
    const before = query_now().toString();
    await reach();
    await drawn();
    if (query_now().toString() === before) await pattern();
  }

  let compared = "";
  async function other(): Promise<void> {
    const word = other_now();
    const key = other_key();
    if (key !== compared) learn({ compare: null, reach_against: null });
    compared = key;
    if (word === null || !has_reach(model())) return;
    const query = query_now();
    const second = against_query(word, query, state().against_all);
    const is_current = () => other_key() === key;
    const sides = new URLSearchParams({ a: selection_word(query), b: selection_word(second) });
    await Promise.all([
      put<CompareAnswer>("api/compare", sides).then((answer) => {
        if (is_current()) learn({ compare: newer(model().compare, answer) });
      }),
      state().against === null
        ? null
        : put<ReachAnswer>("api/reach", second).then((answer) => {
            if (is_current()) learn({ reach_against: newer(model().reach_against, answer) });
          }),
    ]);
  }

  /**
   * The cut is of a sector: moving within one asks nothing anew. Keys held down ask once. Where no
   * bearing is chosen it is that of the weakest.
   */
  let settling = 0;
  let cut_asked = "";
  function bearing(): void {
    clearTimeout(settling);
    settling = window.setTimeout(
      () => {
        const wanted_deg = pointed_deg() ?? state().bearing_deg ?? weakest_bearing_deg(model());
        if (wanted_deg === null) {
          cut_asked = "";
          return;
        }
        const sector = sector_at(sectors_of(model()), wanted_deg);
        const query = query_now();
        query.set("bearing_deg", String(sector?.bearing_deg ?? wanted_deg));
        const text = query.toString();
        if (text === cut_asked) return;
        cut_asked = text;
        void put<CutAnswer>("api/cut", query).then((answer) => {
          if (cut_asked !== text) return;
          learn({ cut: newer(model().cut, answer) });
          if (answer.kind === "failed") cut_asked = "";
        });
      },
      pointed_deg() === null ? settle_ms.chosen : settle_ms.pointed,
    );
  }

  async function hours(): Promise<void> {
    const query = record_now();
    const answer = await put<HoursAnswer>("api/hours", query);
    if (record_now().toString() === query.toString())
      learn({ hours: newer(model().hours, answer) });
  }

  async function record(): Promise<void> {
    const query = record_now();
    await hours();
    if (record_now().toString() !== query.toString()) return;
    if (value_of(model().hours)?.hours.length === 0) {
      learn({ drift: { kind: "absent" } });
      return;
    }
    const answer = await put<DriftAnswer>("api/drift", query);
    if (record_now().toString() === query.toString())
      learn({ drift: newer(model().drift, answer) });
  }

  async function expect(): Promise<void> {
    const answer = await put<ExpectAnswer>("api/expect");
    learn({ expect: newer(model().expect, answer) });
  }

  /** All at once: drawing in between would hold up the question that the picture waits for. */
  async function site(): Promise<void> {
    paths ??= offered();
    const [answer, trials] = await Promise.all([
      ask<SiteAnswer>("api/site"),
      put<TrialsAnswer>("api/trials"),
    ]);
    learn({
      offered: await paths,
      site: value_of(answer) ?? model().site,
      trials: newer(model().trials, trials),
    });
  }

  async function everything(): Promise<void> {
    await site(); // its trials say which antenna is the usual one
    // A range of time counts back from the record's end, which has to be known first.
    if (state().range !== null) await hours();
    cut_asked = "";
    await reach();
    await drawn();
    await Promise.all([expect(), pattern(), record()]);
    await other();
  }

  /** Coastlines are the heaviest part, and the picture is useful before them. */
  let is_land_asked = false;
  function show_land(): void {
    if (is_land_asked) return;
    is_land_asked = true;
    void drawn().then(land);
  }

  async function land(): Promise<void> {
    const [coast, places] = await Promise.all([
      ask<Atlas>("coast.json"),
      ask<Place[]>("places.json"),
    ]);
    const atlas = value_of(coast);
    if (atlas !== null) learn({ land: land_of(atlas, value_of(places) ?? []) });
  }

  return {
    everything,
    again() {
      if (n_open === 0) void everything();
    },
    follow(change) {
      const before = state();
      const [query, kept, pair] = [query_now(), record_now(), other_key()].map(String);
      change();
      const is_same = query_now().toString() === query;
      if (!is_same) {
        // Of another selection it would be untrue; the pictures keep their place.
        learn({ verdict: null, field: null });
        void selection();
      }
      if (record_now().toString() !== kept) {
        learn({ drift: null });
        void record();
      }
      if (other_key() !== pair) void other();
      if (!is_same || before.bearing_deg !== state().bearing_deg) bearing();
    },
    bearing,
    async sky() {
      if (n_open > 0) return;
      const answer = await put<SkyAnswer>("api/sky");
      learn({ sky: value_of(answer) });
    },
    forget: () => (paths = null),
  };
}
