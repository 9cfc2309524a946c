// Gain by elevation with its band: the antenna from the side.
import type { ElevationGain } from "../api";
import { svg } from "../dom";
import { coordinate } from "../geometry";
import { signed } from "../units";
import type { CutOptions } from "./cut";
import { ticks } from "./ticks";

const margin = { left: 44, right: 14, top: 12, bottom: 30 };

export function elevation_plot(
  doc: Document,
  list: ElevationGain[],
  { width, height, title, description, id }: Omit<CutOptions, "units">,
): SVGElement {
  const known = list
    .flatMap(({ elevation_deg, gain_db, low_db, high_db }) =>
      gain_db === null || low_db == null || high_db == null
        ? []
        : [{ elevation_deg, gain_db, low_db, high_db }],
    )
    .sort((a, b) => a.elevation_deg - b.elevation_deg);
  const top_deg = Math.max(1, ...known.map(({ elevation_deg }) => elevation_deg));
  const low_db = Math.floor(Math.min(-3, ...known.map((row) => row.low_db)));
  const high_db = Math.ceil(Math.max(3, ...known.map((row) => row.high_db)));
  const x = (db: number) =>
    margin.left + ((db - low_db) / (high_db - low_db)) * (width - margin.left - margin.right);
  const y = (deg: number) =>
    height - margin.bottom - (deg / top_deg) * (height - margin.top - margin.bottom);
  const at = (db: number, deg: number) => `${coordinate(x(db))},${coordinate(y(deg))}`;
  const axes = svg(doc, "g", { class: "axes" });
  for (const db of [low_db, 0, high_db])
    axes.append(
      svg(doc, "path", {
        class: db === 0 ? "axis-line zero" : "axis-line",
        d: `M${coordinate(x(db))},${margin.top}V${height - margin.bottom}`,
      }),
      svg(
        doc,
        "text",
        { x: coordinate(x(db)), y: height - margin.bottom + 15 },
        `${signed(db).replace(".0", "")} dB`,
      ),
    );
  for (const deg of ticks(top_deg, 5))
    axes.append(
      svg(doc, "path", {
        class: "axis-line",
        d: `M${margin.left},${coordinate(y(deg))}H${width - margin.right}`,
      }),
      svg(
        doc,
        "text",
        { class: "axis-left", x: margin.left - 7, y: coordinate(y(deg)), dy: "0.35em" },
        `${deg}°`,
      ),
    );
  const line = known.map((row) => at(row.gain_db, row.elevation_deg)).join("L");
  const band = [
    ...known.map((row) => at(row.low_db, row.elevation_deg)),
    ...known.map((row) => at(row.high_db, row.elevation_deg)).reverse(),
  ].join("L");
  return svg(
    doc,
    "svg",
    {
      class: "picture elevation-plot",
      viewBox: `0 0 ${width} ${height}`,
      width,
      height,
      role: "img",
      "aria-labelledby": `${id}-title ${id}-description`,
    },
    svg(doc, "title", { id: `${id}-title` }, title),
    svg(doc, "desc", { id: `${id}-description` }, description),
    axes,
    svg(doc, "path", { class: "gain-band", d: band === "" ? "" : `M${band}Z` }),
    svg(doc, "path", { class: "gain-line", d: line === "" ? "" : `M${line}` }),
  );
}
