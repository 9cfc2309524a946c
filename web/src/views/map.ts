// The map: draws when its data change, follows the pointer, takes keys.
import { html, svg } from "../dom";
import { point_hand, reach_map, type ReachMap, type ReachMapData } from "../marks/reach_map";
import { state_fill, state_patterns, states } from "../marks/states";
import {
  deep_db,
  difference_fill,
  difference_patterns,
  difference_style,
  difference_styles,
} from "../marks/difference";
import { share_steps } from "../marks/field";
import { hatch } from "../marks/reach";
import { has_reach, map_data } from "../model";
import { strings } from "../strings";
import { range_text, type Units } from "../units";
import { dial } from "./dial";
import { save_buttons } from "./export";
import { drawn_view, type Context, type Shown, type View } from "./view";

function describe(data: ReachMapData, units: Units): string {
  const ranges = data.sectors.flatMap(({ reach_km }) => (reach_km === null ? [] : [reach_km]));
  if (ranges.length === 0) return strings.map_description_empty;
  return strings.map_description(
    ranges.length,
    data.sectors.length,
    range_text(units, Math.min(...ranges)),
    range_text(units, Math.max(...ranges)),
  );
}

function sample(doc: Document, ...children: SVGElement[]): SVGElement {
  return svg(
    doc,
    "svg",
    { class: "picture sample", viewBox: "0 0 26 12", width: 26, height: 12, "aria-hidden": "true" },
    ...children,
  );
}

/** What is drawn on the map, and only that. */
function legend(doc: Document, data: ReachMapData): HTMLElement {
  const item = (picture: SVGElement, text: string) => html(doc, "li", {}, picture, text);
  const list = html(doc, "ul", { class: "legend", "aria-label": strings.legend });
  if (data.sectors.some((sector) => sector.reach_km !== null))
    list.append(
      item(
        sample(
          doc,
          svg(doc, "rect", { class: "reach-area", width: 26, height: 12 }),
          svg(doc, "path", { class: "reach-line", d: "M0,2H26" }),
        ),
        strings.legend_reach,
      ),
    );
  if (
    data.sectors.some((sector) => sector.reach_km === null) &&
    data.sectors.some((sector) => sector.reach_km !== null)
  )
    list.append(
      item(
        sample(
          doc,
          svg(doc, "defs", {}, hatch(doc, "legend-unknown")),
          svg(doc, "rect", {
            class: "unknown",
            fill: "url(#legend-unknown)",
            width: 26,
            height: 12,
          }),
        ),
        strings.legend_unknown,
      ),
    );
  if (data.against !== null)
    list.append(
      item(
        sample(doc, svg(doc, "path", { class: "against-line", d: "M0,6H26" })),
        strings.legend_against,
      ),
    );
  const { difference } = data;
  if (difference !== null)
    for (const style of difference_styles) {
      const is_there = difference.sectors.some(
        (sector) => difference_style(sector.difference_db, sector.significant) === style,
      );
      if (!is_there) continue;
      const id = `legend-difference-${style}`;
      list.append(
        item(
          sample(
            doc,
            difference_patterns(doc, id),
            svg(doc, "rect", {
              class: `differs ${style}`,
              fill: difference_fill(id, style),
              width: 26,
              height: 12,
            }),
          ),
          strings.difference_style[style](deep_db),
        ),
      );
    }
  if (data.field !== null && data.field.bins.length > 0)
    list.append(
      item(
        sample(
          doc,
          ...Array.from({ length: share_steps }, (_, step) =>
            svg(doc, "rect", {
              class: `share share-${step}`,
              x: (26 / share_steps) * step,
              width: 26 / share_steps,
              height: 12,
            }),
          ),
        ),
        data.field.only_from === undefined
          ? strings.legend_field
          : strings.legend_field_from(data.field.only_from.slice(0, 10)),
      ),
    );
  data.limits.forEach((limit, i) => {
    list.append(
      item(
        sample(doc, svg(doc, "path", { class: `limit limit-${i + 1}`, d: "M0,6H26" })),
        `${i === 0 ? `${strings.legend_limits} ` : ""}${limit.label}`,
      ),
    );
  });
  for (const state of states) {
    if (!data.sectors.some((sector) => sector.state === state)) continue;
    const id = `legend-${state}`;
    list.append(
      item(
        sample(
          doc,
          state_patterns(doc, id),
          svg(doc, "rect", {
            class: `state state-${state}`,
            fill: state_fill(id, state),
            width: 26,
            height: 12,
          }),
        ),
        strings.state[state],
      ),
    );
  }
  return list;
}

export function map_view(context: Context): View {
  const { doc } = context;
  const frame = html(doc, "div", { class: "frame" });
  const chooser = dial(context, strings.choose);
  const caption = html(doc, "figcaption", {});
  let map: ReachMap | null = null;
  const element = html(
    doc,
    "figure",
    { class: "map" },
    html(doc, "div", { class: "stage" }, frame, chooser.element),
    caption,
    save_buttons(doc, "reach", () => map?.element ?? null),
  );
  let data: ReachMapData | null = null;
  let drawn: unknown[] = [];

  function size_px(): number {
    // No higher than the window, so that the whole circle can be seen at once.
    const room = Math.min(element.clientWidth, Math.max(window.innerHeight - 250, 480), 820);
    return Math.round(Math.max(room, 280));
  }

  function draw({ model, state }: Shown): void {
    const size = size_px();
    const { site, reach, verdict, expect, land, field, reach_against, compare } = model;
    const is_difference = state.versus === "difference" && state.against !== null;
    const inputs = [site, reach, verdict, expect, land, field, reach_against];
    const now: unknown[] = [...inputs, size, state.units, state.band, is_difference && compare];
    if (map !== null && now.every((part, i) => part === drawn[i])) return;
    data = map_data(model, state.units, { band: state.band, is_difference });
    if (data === null) return;
    drawn = now;
    map = reach_map(doc, data, {
      size,
      units: state.units,
      title: strings.map_title(model.site?.site?.name ?? ""),
      description: describe(data, state.units),
      id: "map",
    });
    frame.replaceChildren(map.element);
    caption.replaceChildren(legend(doc, data));
    element.classList.toggle("is-empty", !has_reach(model));
  }

  function point({ state, bearing_deg }: Shown): void {
    if (map === null || data === null) return;
    point_hand(doc, map, data, bearing_deg);
    chooser.show(state.bearing_deg, data, ({ reach_km }) =>
      reach_km === null ? strings.no_reach : range_text(state.units, reach_km),
    );
  }

  return drawn_view(element, (shown) => {
    draw(shown);
    point(shown);
  });
}
