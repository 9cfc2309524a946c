// The map: draws when its data change, follows the pointer, takes keys.
import { html } from "../dom";
import {
  point_hand,
  reach_map,
  show_sky,
  type ReachMap,
  type ReachMapData,
} from "../marks/reach_map";
import { has_reach, map_data } from "../model";
import { strings } from "../strings";
import { range_text, type Units } from "../units";
import { dial } from "./dial";
import { side_px } from "./gain";
import { legend } from "./legend";
import { drawn_view, type Context, type Shown, type View } from "./view";

export function describe(data: ReachMapData, units: Units): string {
  const ranges = data.sectors.flatMap(({ reach_km }) => (reach_km === null ? [] : [reach_km]));
  if (ranges.length === 0) return strings.map_description_empty;
  return strings.map_description(
    ranges.length,
    data.sectors.length,
    range_text(units, Math.min(...ranges)),
    range_text(units, Math.max(...ranges)),
  );
}

/** The legend stands by itself: between map and legend, on a phone, the bearing's numbers do. */
export function map_view(context: Context): View & { legend: HTMLElement } {
  const { doc } = context;
  const frame = html(doc, "div", { class: "frame" });
  let map: ReachMap | null = null;
  const chooser = dial(context, strings.choose, (radius_px) => {
    if (map === null || radius_px > map.scale.radius) return null;
    return (radius_px / map.scale.radius) * map.scale.domain_km;
  });
  const stage = html(doc, "div", { class: "stage" }, frame, chooser.element);
  const list = html(doc, "ul", { class: "legend", "aria-label": strings.legend });
  const note = html(doc, "p", { class: "note", hidden: true }, strings.of_band_only);
  context.offer({ name: "reach", label: strings.map, picture: () => map?.element ?? null });
  const element = html(
    doc,
    "figure",
    { class: "map", id: "map", tabindex: -1 },
    html(doc, "figcaption", {}, html(doc, "h2", {}, strings.map)),
    stage,
  );
  let data: ReachMapData | null = null;
  let drawn: unknown[] = [];
  let sky: unknown = null;

  function draw({ model, state }: Shown): void {
    const { site, reach, verdict, expect, land, field } = model;
    const size = side_px(stage);
    const now: unknown[] = [
      site,
      reach,
      verdict,
      expect,
      land,
      field,
      size,
      state.units,
      state.band,
    ];
    if (map !== null && now.every((part, i) => part === drawn[i])) return;
    data = map_data(model, state.units, state.band);
    if (data === null) return;
    drawn = now;
    sky = null;
    map = reach_map(doc, data, {
      size,
      units: state.units,
      title: strings.map_title(model.site?.site?.name ?? ""),
      description: describe(data, state.units),
      id: "map",
    });
    frame.replaceChildren(map.element);
    list.replaceChildren(...legend(doc, data, "legend"));
    note.hidden = state.band === null;
    element.classList.toggle("is-empty", !has_reach(model));
  }

  function point({ model, state, bearing_deg }: Shown): void {
    if (map === null || data === null) return;
    if (sky !== model.sky) show_sky(doc, map, model.sky);
    sky = model.sky;
    point_hand(doc, map, data, bearing_deg);
    chooser.show(state.bearing_deg, data, ({ reach_km }) =>
      reach_km === null ? strings.no_reach : range_text(state.units, reach_km),
    );
  }

  return {
    ...drawn_view(element, (shown) => {
      if (shown.state.against !== null) return;
      draw(shown);
      point(shown);
    }),
    legend: html(doc, "div", { class: "legends" }, note, list),
  };
}
