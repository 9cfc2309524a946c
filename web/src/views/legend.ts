// What is drawn on a map, and only that.
import { html, svg } from "../dom";
import {
  deep_db,
  difference_fill,
  difference_patterns,
  difference_style,
  difference_styles,
} from "../marks/difference";
import { share_step, share_steps, silent_pattern } from "../marks/field";
import { hatch } from "../marks/reach";
import type { ReachMapData } from "../marks/reach_map";
import { state_fill, state_patterns, states } from "../marks/states";
import { strings } from "../strings";

const swatch = { width: 26, height: 12 };

function sample(doc: Document, ...children: SVGElement[]): SVGElement {
  const { width, height } = swatch;
  return svg(
    doc,
    "svg",
    {
      class: "picture sample",
      viewBox: `0 0 ${width} ${height}`,
      width,
      height,
      "aria-hidden": "true",
    },
    ...children,
  );
}

const line = (doc: Document, style: string) =>
  sample(doc, svg(doc, "path", { class: style, d: "M0,6H26" }));

/** A rectangle, filled by a pattern of its own where it has one. */
function area(doc: Document, style: string, fill: string | null, ...defs: SVGElement[]) {
  return sample(doc, ...defs, svg(doc, "rect", { class: style, fill, ...swatch }));
}

const step_px = 34;

/** The steps of share with the percentages between them. */
function share_scale(doc: Document): SVGElement {
  const width = share_steps * step_px + 20;
  return svg(
    doc,
    "svg",
    { class: "picture sample", viewBox: `-10 0 ${width} 28`, width, height: 28, role: "img",
      "aria-label": strings.share_scale }, // prettier-ignore
    ...Array.from({ length: share_steps }, (_, step) =>
      svg(doc, "rect", {
        class: `share share-${step}`,
        x: step * step_px,
        width: step_px,
        height: 12,
      }),
    ),
    ...Array.from({ length: share_steps + 1 }, (_, step) =>
      svg(
        doc,
        "text",
        { x: step * step_px, y: 25 },
        `${(step * 100) / share_steps}${step === share_steps ? "%" : ""}`,
      ),
    ),
  );
}

/** @param id  prefix of the patterns, the legend's own @param names  of the two that are compared */
export function legend(
  doc: Document,
  data: ReachMapData,
  id: string,
  [a, b]: [string, string] = ["", ""],
): Node[] {
  const list: Node[] = [];
  const item = (picture: SVGElement, text: string) =>
    list.push(html(doc, "li", {}, picture, html(doc, "span", {}, text)));
  const { difference, field } = data;
  const n_known = data.sectors.filter((sector) => sector.reach_km !== null).length;
  if (field !== null && field.bins.length > 0) {
    item(
      share_scale(doc),
      field.only_from === undefined
        ? strings.legend_field
        : strings.legend_field_from(field.only_from.slice(0, 10)),
    );
    if (field.bins.some((bin) => share_step(bin) === "silent"))
      item(
        area(
          doc,
          "share",
          `url(#${id}-silent)`,
          svg(doc, "defs", {}, silent_pattern(doc, `${id}-silent`)),
        ),
        strings.legend_silent,
      );
  }
  if (field !== null || (n_known > 0 && n_known < data.sectors.length))
    item(
      area(doc, "unknown", `url(#${id}-none)`, svg(doc, "defs", {}, hatch(doc, `${id}-none`))),
      strings.legend_unknown,
    );
  if (n_known > 0)
    item(line(doc, "reach-line"), a === "" ? strings.legend_reach : strings.reach_of(a));
  if (data.against !== null) item(line(doc, "against-line"), strings.reach_of(b));
  for (const style of difference === null ? [] : difference_styles) {
    const is_there = difference?.sectors.some(
      (sector) => difference_style(sector.difference_db, sector.significant) === style,
    );
    if (is_there !== true) continue;
    const own = `${id}-difference-${style}`;
    item(
      area(doc, `differs ${style}`, difference_fill(own, style), difference_patterns(doc, own)),
      strings.difference_style[style](style.endsWith("better") ? a : b, deep_db),
    );
  }
  data.limits.forEach((limit, i) =>
    item(line(doc, `limit limit-${i + 1}`), strings.legend_limit(limit.label)),
  );
  for (const state of states) {
    if (!data.sectors.some((sector) => sector.state === state)) continue;
    const own = `${id}-${state}`;
    item(
      area(doc, `state state-${state}`, state_fill(own, state), state_patterns(doc, own)),
      strings.state[state],
    );
  }
  return list;
}
