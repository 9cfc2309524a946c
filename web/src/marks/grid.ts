// The sheet that everything is plotted on: disc, range rings, bearing spokes and the scale of
// degrees around it.
import { svg } from "../dom";
import { at, coordinate, polar, three_digits } from "../geometry";

const defaults = {
  spoke_deg: 30,
  tick_deg: 5,
  tick_length: 5,
  long_tick_length: 9,
  numeral_gap: 19,
};

export function disc(doc: Document, radius: number): SVGElement {
  return svg(doc, "circle", { class: "disc", r: coordinate(radius) });
}

export function spokes(doc: Document, radius: number): SVGElement {
  const group = svg(doc, "g", { class: "spokes" });
  for (let bearing_deg = 0; bearing_deg < 360; bearing_deg += defaults.spoke_deg) {
    const is_cardinal = bearing_deg % 90 === 0;
    group.append(
      svg(doc, "path", {
        class: is_cardinal ? "spoke cardinal" : "spoke",
        d: `M${at(polar(bearing_deg, radius * 0.06))}L${at(polar(bearing_deg, radius))}`,
      }),
    );
  }
  return group;
}

export interface Ring {
  radius: number;
  label: string;
  /** A ring that others are read against. */
  is_zero?: boolean;
}

export function rings(doc: Document, list: Ring[]): SVGElement {
  const group = svg(doc, "g", { class: "rings" });
  for (const ring of list)
    group.append(
      svg(doc, "circle", {
        class: ring.is_zero === true ? "ring zero" : "ring",
        r: coordinate(ring.radius),
      }),
    );
  return group;
}

/**
 * Drawn after what is plotted, so that no line runs through them: on one bearing, halved between
 * two spokes, on a halo of the disc's colour.
 */
export function ring_labels(doc: Document, list: Ring[], label_bearing_deg = 135): SVGElement {
  const group = svg(doc, "g", { class: "ring-labels" });
  for (const ring of list) {
    const place = polar(label_bearing_deg, ring.radius);
    group.append(
      svg(
        doc,
        "text",
        { class: "ring-label halo", x: coordinate(place.x), y: coordinate(place.y), dy: "0.35em" },
        ring.label,
      ),
    );
  }
  return group;
}

/** @param radius where the ticks begin, outside of everything plotted */
export function bezel(doc: Document, radius: number): SVGElement {
  const group = svg(doc, "g", { class: "bezel" });
  const short: string[] = [];
  const long: string[] = [];
  for (let bearing_deg = 0; bearing_deg < 360; bearing_deg += defaults.tick_deg) {
    const is_long = bearing_deg % 10 === 0;
    const end = radius + (is_long ? defaults.long_tick_length : defaults.tick_length);
    (is_long ? long : short).push(
      `M${at(polar(bearing_deg, radius))}L${at(polar(bearing_deg, end))}`,
    );
  }
  group.append(
    svg(doc, "circle", { class: "bezel-rim", r: coordinate(radius) }),
    svg(doc, "path", { class: "bezel-tick", d: short.join("") }),
    svg(doc, "path", { class: "bezel-tick long", d: long.join("") }),
  );
  const letters: Record<number, string> = { 0: "N", 90: "E", 180: "S", 270: "W" };
  for (let bearing_deg = 0; bearing_deg < 360; bearing_deg += defaults.spoke_deg) {
    const place = polar(bearing_deg, radius + defaults.numeral_gap);
    const letter = letters[bearing_deg];
    group.append(
      svg(
        doc,
        "text",
        {
          class: letter === undefined ? "bezel-numeral" : "bezel-numeral cardinal",
          x: coordinate(place.x),
          y: coordinate(place.y),
          dy: "0.35em",
        },
        letter ?? three_digits(bearing_deg),
      ),
    );
  }
  return group;
}
