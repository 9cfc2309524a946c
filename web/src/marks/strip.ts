// Time as a strip: reports heard by hour, days of drift, notes and changes, on one axis.
import { svg } from "../dom";
import { coordinate } from "../geometry";
import { grouped, signed } from "../units";

export interface TimeAxis {
  from_s: number;
  to_s: number;
  width: number;
  x(time_s: number): number;
  time(x: number): number;
}

export const strip_margin = { left: 44, right: 12 };

export function time_axis(from_s: number, to_s: number, width: number): TimeAxis {
  const span_s = Math.max(3600, to_s - from_s);
  const inner = Math.max(1, width - strip_margin.left - strip_margin.right);
  return {
    from_s,
    to_s: from_s + span_s,
    width,
    x: (time_s) => strip_margin.left + ((time_s - from_s) / span_s) * inner,
    time: (x) => from_s + (Math.min(Math.max(x - strip_margin.left, 0), inner) / inner) * span_s,
  };
}

/** Days, or more where days would stand too close: at most about one label in 80 pixels. */
export function time_ticks(axis: TimeAxis): { time_s: number; label: string }[] {
  const day_s = 86400;
  const room = Math.max(1, Math.floor(axis.width / 80));
  const step = [1, 2, 7, 14, 30, 61, 122, 365].find(
    (days) => (axis.to_s - axis.from_s) / (days * day_s) <= room,
  ) ?? 730; // prettier-ignore
  const list = [];
  const first = Math.ceil(axis.from_s / day_s) * day_s;
  for (let time_s = first; time_s <= axis.to_s; time_s += step * day_s) {
    const text = new Date(time_s * 1000).toISOString();
    list.push({ time_s, label: step >= 122 ? text.slice(0, 7) : text.slice(5, 10) });
  }
  return list;
}

function time_marks(doc: Document, axis: TimeAxis, top: number, bottom: number): SVGElement {
  const group = svg(doc, "g", { class: "axes" });
  for (const { time_s, label } of time_ticks(axis)) {
    const x = coordinate(axis.x(time_s));
    group.append(
      svg(doc, "path", { class: "axis-line", d: `M${x},${top}V${bottom}` }),
      svg(doc, "text", { x, y: bottom + 13 }, label),
    );
  }
  return group;
}

export interface Flag {
  time_s: number;
  text: string;
}

/** Notes: a small flag each, with its words as tooltip; the list of notes says the same. */
export function flags(
  doc: Document,
  axis: TimeAxis,
  list: Flag[],
  top: number,
  bottom: number,
): SVGElement {
  const group = svg(doc, "g", { class: "flags" });
  for (const { time_s, text } of list) {
    if (time_s < axis.from_s || time_s > axis.to_s) continue;
    const x = coordinate(axis.x(time_s));
    group.append(
      svg(
        doc,
        "g",
        { class: "flag" },
        svg(doc, "title", {}, text),
        svg(doc, "path", { class: "flag-pole", d: `M${x},${top}V${bottom}` }),
        svg(doc, "path", { class: "flag-cloth", d: `M${x},${top}l8,3.5l-8,3.5Z` }),
      ),
    );
  }
  return group;
}

export interface StripOptions {
  height: number;
  title: string;
  description: string;
  id: string;
}

function frame(doc: Document, axis: TimeAxis, style: string, options: StripOptions): SVGElement {
  const { id, height } = options;
  return svg(
    doc,
    "svg",
    {
      class: `picture ${style}`,
      viewBox: `0 0 ${axis.width} ${height}`,
      width: axis.width,
      height,
      role: "img",
      "aria-labelledby": `${id}-title ${id}-description`,
    },
    svg(doc, "title", { id: `${id}-title` }, options.title),
    svg(doc, "desc", { id: `${id}-description` }, options.description),
  );
}

export interface HourBar {
  time_s: number;
  heard: number;
}

const top = 8;
const foot = 20;

/** Bars an hour wide; where hours are narrower than a pixel, the highest of them. */
export function hour_strip(
  doc: Document,
  axis: TimeAxis,
  bars: HourBar[],
  notes: Flag[],
  options: StripOptions,
): SVGElement {
  const bottom = options.height - foot;
  const most = Math.max(1, ...bars.map((bar) => bar.heard));
  const columns = new Map<number, { right: number; heard: number }>();
  for (const bar of bars) {
    const left = Math.round(axis.x(bar.time_s) * 2) / 2;
    const right = Math.max(left + 0.5, axis.x(bar.time_s + 3600) - 0.25);
    const known = columns.get(left);
    columns.set(left, { right, heard: Math.max(bar.heard, known?.heard ?? 0) });
  }
  const d = [...columns]
    .filter(([, { heard }]) => heard > 0)
    .map(([left, { right, heard }]) => {
      const height = Math.max(0.75, (heard / most) * (bottom - top));
      return `M${coordinate(left)},${bottom}v-${coordinate(height)}H${coordinate(right)}V${bottom}Z`;
    })
    .join("");
  const element = frame(doc, axis, "hours", options);
  element.append(
    time_marks(doc, axis, top, bottom),
    svg(
      doc,
      "text",
      { class: "axis-left", x: strip_margin.left - 6, y: top, dy: "0.7em" },
      grouped(most),
    ),
    svg(doc, "path", { class: "hour-bars", d }),
    svg(doc, "path", {
      class: "base-line",
      d: `M${strip_margin.left},${bottom}H${coordinate(axis.width - strip_margin.right)}`,
    }),
    flags(doc, axis, notes, top, bottom),
  );
  return element;
}

export interface DriftPoint {
  time_s: number;
  value_db: number;
  low_db: number;
  high_db: number;
}

export interface DriftStep {
  time_s: number;
  text: string;
}

/** The daily index with its interval, and where it is thought to have changed. */
export function drift_strip(
  doc: Document,
  axis: TimeAxis,
  points: DriftPoint[],
  steps: DriftStep[],
  notes: Flag[],
  options: StripOptions,
): SVGElement {
  const bottom = options.height - foot;
  // Room at both ends, so that no label of a line stands in those of the days.
  const least_db = Math.min(-1, ...points.map((point) => point.low_db));
  const most_db = Math.max(1, ...points.map((point) => point.high_db));
  const low_db = least_db - (most_db - least_db) * 0.12;
  const high_db = most_db + (most_db - least_db) * 0.06;
  const y = (value_db: number) =>
    top + ((high_db - value_db) / (high_db - low_db)) * (bottom - top);
  const place = (time_s: number, value_db: number) =>
    `${coordinate(axis.x(time_s))},${coordinate(y(value_db))}`;
  const element = frame(doc, axis, "drift", options);
  element.append(time_marks(doc, axis, top, bottom));
  for (const value_db of [...new Set([Math.ceil(low_db), 0, Math.floor(high_db)])])
    element.append(
      svg(doc, "path", {
        class: value_db === 0 ? "axis-line zero" : "axis-line",
        d: `M${strip_margin.left},${coordinate(y(value_db))}H${coordinate(axis.width - strip_margin.right)}`,
      }),
      svg(
        doc,
        "text",
        { class: "axis-left", x: strip_margin.left - 6, y: coordinate(y(value_db)), dy: "0.35em" },
        signed(value_db).replace(".0", ""),
      ),
    );
  for (const { time_s, text } of steps)
    element.append(
      svg(
        doc,
        "g",
        { class: "step" },
        svg(doc, "title", {}, text),
        svg(doc, "path", {
          class: "step-line",
          d: `M${coordinate(axis.x(time_s))},${top}V${bottom}`,
        }),
      ),
    );
  element.append(
    svg(doc, "path", {
      class: "drift-bars",
      d: points.map((p) => `M${place(p.time_s, p.low_db)}L${place(p.time_s, p.high_db)}`).join(""),
    }),
    svg(doc, "path", {
      class: "drift-line",
      d: points.length < 2 ? "" : `M${points.map((p) => place(p.time_s, p.value_db)).join("L")}`,
    }),
    ...points.map((p) =>
      svg(doc, "circle", {
        class: "drift-point",
        cx: coordinate(axis.x(p.time_s)),
        cy: coordinate(y(p.value_db)),
        r: 2.5,
      }),
    ),
    flags(doc, axis, notes, top, bottom),
  );
  return element;
}
