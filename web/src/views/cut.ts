// The vertical cut of the bearing chosen, with its flights and hours.
import type { CutAnswer, CutFlight } from "../api";
import type { Column } from "../columns";
import { html, set_text } from "../dom";
import { three_digits } from "../geometry";
import { cut } from "../marks/cut";
import { value_of } from "../model";
import { strings } from "../strings";
import { percent_text, range_text, seconds_of, time_text } from "../units";
import { table_behind } from "./data_table";
import { save_buttons } from "./export";
import type { Context, Shown, View } from "./view";

const flight_columns: Column<CutFlight>[] = [
  {
    key: "address",
    label: strings.address,
    value: (row) => row.address,
    text: (row) => row.address,
  },
  {
    key: "from",
    label: strings.heard_from,
    value: (row) => row.from,
    text: (row) => time_text(seconds_of(row.from)),
  },
  {
    key: "to",
    label: strings.heard_to,
    value: (row) => row.to,
    text: (row) => time_text(seconds_of(row.to)),
  },
  {
    key: "nearest_km",
    label: strings.nearest,
    value: (row) => row.nearest_km,
    text: (row, units) => range_text(units, row.nearest_km),
  },
  {
    key: "farthest_km",
    label: strings.farthest,
    value: (row) => row.farthest_km,
    text: (row, units) => range_text(units, row.farthest_km),
  },
  {
    key: "share",
    label: strings.share_heard,
    value: (row) => (row.expected > 0 ? row.heard / row.expected : null),
    text: (row) => (row.expected > 0 ? percent_text(row.heard / row.expected) : null),
  },
];

function sector_text(answer: CutAnswer): string {
  const half_deg = answer.sector_deg / 2;
  return `${three_digits(answer.bearing_deg - half_deg + 360)}–${three_digits(answer.bearing_deg + half_deg)}°`;
}

export function cut_view({ doc }: Context): View {
  const heading = html(doc, "h2", {}, strings.cut_title);
  const note = html(doc, "p", { class: "note" });
  const place = html(doc, "div", { class: "place" });
  const behind = table_behind(doc, "flights", "behind", strings.flights);
  let picture: SVGElement | null = null;
  const element = html(
    doc,
    "figure",
    { class: "panel side-view", hidden: true },
    html(doc, "figcaption", {}, heading, note),
    place,
    behind.element,
    save_buttons(doc, "cut", () => picture),
  );
  let drawn: unknown[] = [];
  let latest: Shown | null = null;

  function draw({ model, state }: Shown): void {
    const answer = value_of(model.cut);
    const is_offered = model.offered.has("/api/cut");
    element.hidden = !is_offered;
    if (!is_offered) return;
    if (answer === null || state.bearing_deg === null) {
      drawn = [];
      picture = null;
      place.replaceChildren();
      behind.element.hidden = true;
      set_text(heading, strings.cut_title);
      set_text(note, model.cut?.kind === "failed" ? model.cut.detail : strings.cut_hint);
      return;
    }
    const width = Math.max(260, place.clientWidth);
    if (drawn[0] === answer && drawn[1] === width && drawn[2] === state.units) return;
    drawn = [answer, width, state.units];
    const words = strings.cut_title_of(sector_text(answer));
    set_text(heading, words);
    set_text(note, strings.cut_note);
    picture = cut(doc, answer, {
      width,
      height: Math.round(Math.min(360, Math.max(220, width * 0.62))),
      units: state.units,
      title: words,
      description: strings.cut_description,
      id: "cut",
    });
    place.replaceChildren(picture);
    behind.show(flight_columns, answer.flights ?? [], strings.flights, state.units);
  }

  new ResizeObserver(() => {
    if (latest !== null) draw(latest);
  }).observe(element);
  return {
    element,
    update(shown) {
      latest = shown;
      draw(shown);
    },
  };
}
