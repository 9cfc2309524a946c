// The map: draws when its data change, follows the pointer, takes keys.
import { html, svg } from "../dom";
import { bearing_of, sector_at, wrap_deg } from "../geometry";
import { point_hand, reach_map, type ReachMap, type ReachMapData } from "../marks/reach_map";
import { state_fill, state_patterns, states } from "../marks/states";
import { hatch } from "../marks/reach";
import { has_reach, map_data } from "../model";
import { strings } from "../strings";
import { range_text, type Units } from "../units";
import { bearing_text } from "./words";
import type { Context, Shown, View } from "./view";

const key_steps: Record<string, number> = {
  ArrowRight: 1,
  ArrowUp: 1,
  ArrowLeft: -1,
  ArrowDown: -1,
};
const page_step_deg = 30;

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

export function map_view({ doc, set, preview }: Context): View {
  const frame = html(doc, "div", { class: "frame" });
  const dial = html(doc, "div", {
    class: "dial",
    role: "slider",
    tabindex: 0,
    "aria-label": strings.choose,
    "aria-valuemin": 0,
    "aria-valuemax": 359,
    "aria-valuenow": 0,
    "aria-valuetext": strings.bearing_none,
  });
  const caption = html(doc, "figcaption", {});
  const element = html(
    doc,
    "figure",
    { class: "map" },
    html(doc, "div", { class: "stage" }, frame, dial),
    caption,
  );

  let map: ReachMap | null = null;
  let data: ReachMapData | null = null;
  let drawn = "";
  let inputs: unknown[] = [];
  let latest: Shown | null = null;

  function size_px(): number {
    // No higher than the window, so that the whole circle can be seen at once.
    const room = Math.min(element.clientWidth, Math.max(window.innerHeight - 250, 480), 820);
    return Math.round(Math.max(room, 280));
  }

  function draw(shown: Shown): void {
    const { model, state } = shown;
    const size = size_px();
    const key = `${size} ${state.units}`;
    const now: unknown[] = [model.site, model.reach, model.verdict, model.expect, model.land];
    if (map !== null && key === drawn && now.every((part, i) => part === inputs[i])) return;
    data = map_data(model, state.units);
    if (data === null) return;
    drawn = key;
    inputs = now;
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

  function point(shown: Shown): void {
    if (map === null || data === null) return;
    point_hand(doc, map, data, shown.bearing_deg);
    const chosen = shown.state.bearing_deg;
    dial.setAttribute("aria-valuenow", String(chosen ?? 0));
    const reach_km = chosen === null ? null : (sector_at(data.sectors, chosen)?.reach_km ?? null);
    dial.setAttribute(
      "aria-valuetext",
      chosen === null
        ? strings.bearing_none
        : strings.bearing_value(
            bearing_text(chosen),
            reach_km === null ? strings.no_reach : range_text(shown.state.units, reach_km),
          ),
    );
  }

  function bearing_at(event: PointerEvent | MouseEvent): number {
    const box = dial.getBoundingClientRect();
    return (
      Math.round(
        bearing_of({
          x: event.clientX - (box.left + box.width / 2),
          y: event.clientY - (box.top + box.height / 2),
        }),
      ) % 360
    );
  }

  dial.addEventListener("pointermove", (event) => {
    if (event.pointerType !== "touch") preview(bearing_at(event));
  });
  dial.addEventListener("pointerleave", () => preview(null));
  dial.addEventListener("click", (event) => set({ bearing_deg: bearing_at(event) }));
  dial.addEventListener("keydown", (event) => {
    const chosen = latest?.state.bearing_deg ?? null;
    const width_deg = data?.sector_deg ?? 5;
    const step = key_steps[event.key];
    let next: number | null | undefined;
    if (step !== undefined)
      next = chosen === null ? 0 : wrap_deg(chosen + step * (event.shiftKey ? 1 : width_deg));
    else if (event.key === "PageUp") next = wrap_deg((chosen ?? 0) + page_step_deg);
    else if (event.key === "PageDown") next = wrap_deg((chosen ?? 0) - page_step_deg);
    else if (event.key === "Home") next = 0;
    else if (event.key === "End") next = 180;
    else if (event.key === "Escape") next = null;
    if (next === undefined) return;
    event.preventDefault();
    set({ bearing_deg: next });
  });
  new ResizeObserver(() => {
    if (latest === null) return;
    draw(latest);
    point(latest);
  }).observe(element);

  return {
    element,
    update(shown) {
      latest = shown;
      draw(shown);
      point(shown);
    },
  };
}
