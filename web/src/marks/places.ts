// A few named places, to see at a glance where a bearing leads. Which: the most populous that
// leave each other, and the antenna, room for their names.
import { svg } from "../dom";
import { coordinate, type Point } from "../geometry";

/** Name, latitude, longitude; the most populous first. */
export type Place = [name: string, latitude_deg: number, longitude_deg: number];

interface Box {
  left: number;
  right: number;
  top: number;
  bottom: number;
}

const defaults = {
  /** Area of disc, square pixels, to one name. */
  area_px: 26_000,
  most: 14,
  /** A mean of the font's letters. */
  letter_px: 5.9,
  line_px: 13,
  gap_px: 6,
  antenna_px: 16,
  /** Beyond it the band of states and the scale of degrees begin. */
  inside: 0.94,
};

function meets(a: Box, b: Box): boolean {
  const gap = defaults.gap_px;
  return (
    a.left < b.right + gap &&
    b.left < a.right + gap &&
    a.top < b.bottom + gap &&
    b.top < a.bottom + gap
  );
}

/** Whether a name stands clear of the rim. */
export function is_inside(box: Box, radius: number): boolean {
  return [box.left, box.right].every((x) =>
    [box.top, box.bottom].every((y) => Math.hypot(x, y) < radius * defaults.inside),
  );
}

/**
 * @param project to pixels around the antenna; null: outside of the map
 * @param taken where other names stand
 */
export function places(
  doc: Document,
  list: Place[],
  project: (longitude_deg: number, latitude_deg: number) => Point | null,
  radius: number,
  taken: Box[] = [],
): SVGElement {
  const group = svg(doc, "g", { class: "places" });
  const room = Math.min(defaults.most, Math.floor((Math.PI * radius * radius) / defaults.area_px));
  const { antenna_px } = defaults;
  const boxes: Box[] = [
    { left: -antenna_px, right: antenna_px, top: -antenna_px, bottom: antenna_px },
    ...taken,
  ];
  const start = boxes.length;
  for (const [name, latitude_deg, longitude_deg] of list) {
    if (boxes.length - start >= room) break;
    const point = project(longitude_deg, latitude_deg);
    if (point === null || Math.hypot(point.x, point.y) > radius * defaults.inside) continue;
    // The name stands on the outer side, where the antenna's own lines are sparser.
    const is_left = point.x < 0;
    const width = name.length * defaults.letter_px + 7;
    const box: Box = {
      left: is_left ? point.x - width : point.x - 3,
      right: is_left ? point.x + 3 : point.x + width,
      top: point.y - defaults.line_px / 2,
      bottom: point.y + defaults.line_px / 2,
    };
    if (!is_inside(box, radius) || boxes.some((other) => meets(other, box))) continue;
    boxes.push(box);
    group.append(
      svg(doc, "circle", {
        class: "place-dot",
        cx: coordinate(point.x),
        cy: coordinate(point.y),
        r: 1.9,
      }),
      svg(
        doc,
        "text",
        {
          class: is_left ? "axis-left halo" : "axis-right halo",
          x: coordinate(point.x + (is_left ? -5 : 5)),
          y: coordinate(point.y),
          dy: "0.35em",
        },
        name,
      ),
    );
  }
  return group;
}

/** Room that a text centred on a point takes. */
export function box_of_text(text: string, at: Point): Box {
  const half = (text.length * (defaults.letter_px + 1.6)) / 2;
  return {
    left: at.x - half,
    right: at.x + half,
    top: at.y - defaults.line_px,
    bottom: at.y + defaults.line_px / 3,
  };
}
