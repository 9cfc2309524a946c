// One bearing from the side: range against altitude, what was heard there, the horizon, lines of
// equal elevation.
import type { CutAnswer, CutPoint } from "../api";
import { svg } from "../dom";
import { coordinate } from "../geometry";
import { ft_to, grouped, altitude_unit, km_to, range_unit, to_km, type Units } from "../units";
import { share_paths, silent_pattern } from "./field";
import { ticks } from "./ticks";

export interface CutOptions {
  width: number;
  height: number;
  units: Units;
  title: string;
  description: string;
  id: string;
}

const margin = { left: 64, right: 34, top: 20, bottom: 26 };
const top_ft = 45_000;

export function cut(doc: Document, data: CutAnswer, options: CutOptions): SVGElement {
  const { width, height, units, id } = options;
  const farthest_km = Math.max(
    50,
    ...data.bins.map((bin) => bin.range_km + data.range_step_km / 2),
    ...data.horizon.filter((point) => point.altitude_ft <= top_ft).map(({ range_km }) => range_km),
  );
  const plot_width = width - margin.left - margin.right;
  const plot_height = height - margin.top - margin.bottom;
  const x = (range_km: number) => margin.left + (range_km / farthest_km) * plot_width;
  const y = (altitude_ft: number) =>
    margin.top + (1 - Math.min(Math.max(altitude_ft, 0), top_ft) / top_ft) * plot_height;
  const line = (points: CutPoint[]) => {
    const inside = points.filter(
      (point) => point.altitude_ft <= top_ft && point.range_km <= farthest_km,
    );
    return inside.length < 2
      ? ""
      : `M${inside.map((p) => `${coordinate(x(p.range_km))},${coordinate(y(p.altitude_ft))}`).join("L")}`;
  };

  const axes = svg(doc, "g", { class: "axes" });
  const ranges = ticks(km_to(units, farthest_km), 5);
  const altitudes = ticks(ft_to(units, top_ft), 4);
  /** The last number of an axis bears its unit. */
  const numbered = (value: number, list: number[], unit: string) =>
    value === list.at(-1) ? `${grouped(value)}\u00a0${unit}` : grouped(value);
  for (const range of ranges) {
    const place = coordinate(x(to_km(units, range)));
    axes.append(
      svg(doc, "path", {
        class: "axis-line",
        d: `M${place},${margin.top}V${height - margin.bottom}`,
      }),
      svg(
        doc,
        "text",
        { x: place, y: height - margin.bottom + 15 },
        numbered(range, ranges, range_unit(units)),
      ),
    );
  }
  for (const altitude of altitudes) {
    const altitude_ft = (altitude / ft_to(units, top_ft)) * top_ft;
    const place = coordinate(y(altitude_ft));
    axes.append(
      svg(doc, "path", {
        class: "axis-line",
        d: `M${margin.left},${place}H${width - margin.right}`,
      }),
      svg(
        doc,
        "text",
        { class: "axis-left", x: margin.left - 7, y: place, dy: "0.35em" },
        numbered(altitude, altitudes, altitude_unit(units)),
      ),
    );
  }
  const bins = svg(
    doc,
    "g",
    { class: "field" },
    svg(doc, "defs", {}, silent_pattern(doc, `${id}-silent`)),
    ...share_paths(
      doc,
      data.bins,
      (bin) => {
        const left = x(bin.range_km - data.range_step_km / 2);
        const right = x(bin.range_km + data.range_step_km / 2);
        const upper = y(bin.altitude_ft + data.altitude_step_ft / 2);
        const lower = y(bin.altitude_ft - data.altitude_step_ft / 2);
        return `M${coordinate(left)},${coordinate(upper)}H${coordinate(right)}V${coordinate(lower)}H${coordinate(left)}Z`;
      },
      `${id}-silent`,
    ),
  );

  const elevations = svg(doc, "g", { class: "elevations" });
  const labels = svg(doc, "g", { class: "elevation-labels" });
  const is_cutoff = (deg: number) =>
    data.cutoff_deg != null && Math.abs(deg - data.cutoff_deg) < 1e-6;
  /** Where labels end: none is written over another, and the cut-off's is written first. */
  const taken: { x: number; y: number }[] = [];
  const by_weight = [...data.elevations].sort(
    (a, b) => Number(is_cutoff(b.elevation_deg)) - Number(is_cutoff(a.elevation_deg)),
  );
  for (const { elevation_deg, line: points } of by_weight) {
    const d = line(points);
    if (d === "") continue;
    const inside = points.filter((p) => p.altitude_ft <= top_ft && p.range_km <= farthest_km);
    const last = inside[inside.length - 1];
    const style = is_cutoff(elevation_deg) ? "elevation cutoff" : "elevation";
    elevations.append(svg(doc, "path", { class: style, d }));
    if (last === undefined) continue;
    const end = { x: x(last.range_km), y: y(last.altitude_ft) };
    if (taken.some((other) => Math.abs(other.x - end.x) < 32 && Math.abs(other.y - end.y) < 14))
      continue;
    taken.push(end);
    labels.append(
      svg(
        doc,
        "text",
        {
          class: "elevation-label halo",
          x: coordinate(end.x),
          y: coordinate(end.y),
          dy: "-0.3em",
        },
        `${coordinate(Math.round(elevation_deg * 10) / 10)}°`,
      ),
    );
  }

  return svg(
    doc,
    "svg",
    {
      class: "picture cut",
      viewBox: `0 0 ${width} ${height}`,
      width,
      height,
      role: "img",
      "aria-labelledby": `${id}-title ${id}-description`,
    },
    svg(doc, "title", { id: `${id}-title` }, options.title),
    svg(doc, "desc", { id: `${id}-description` }, options.description),
    svg(doc, "rect", {
      class: "disc",
      x: margin.left,
      y: margin.top,
      width: plot_width,
      height: plot_height,
    }),
    bins,
    axes,
    elevations,
    svg(doc, "path", { class: "horizon-line", d: line(data.horizon) }),
    labels,
  );
}
