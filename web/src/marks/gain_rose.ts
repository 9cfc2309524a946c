// Relative gain by bearing with its band: the antenna's pattern, as far as it is known.
import type { SectorState } from "../api";
import { svg } from "../dom";
import { apart_deg, coordinate, smooth_outline } from "../geometry";
import { signed } from "../units";
import { bezel, disc, ring_labels, rings, spokes } from "./grid";
import { turn_hand } from "./hand";
import { band, db_scale, type DbScale } from "./radial";
import type { PictureOptions } from "./reach_map";
import { state_band } from "./states";

export interface GainSector {
  bearing_deg: number;
  value_db: number | null;
  low_db: number | null;
  high_db: number | null;
  state?: SectorState | null;
  /** Of a difference: its interval leaves out zero. */
  is_significant?: boolean;
}

export interface GainRoseData {
  sectors: GainSector[];
  sector_deg: number;
  /** Peak-to-peak within which the antenna counts as omnidirectional; null: not drawn. */
  tolerance_db: number | null;
}

export interface GainRose {
  element: SVGElement;
  scale: DbScale;
  radius: number;
  hand_layer: SVGElement;
}

const margin = 32;
const band_width = 7;
const band_gap = 2.5;

export function gain_rose(
  doc: Document,
  data: GainRoseData,
  { size, id, title, description }: Omit<PictureOptions, "units">,
): GainRose {
  const rim = size / 2 - margin;
  const has_states = data.sectors.some((sector) => sector.state);
  const radius = has_states ? rim - band_width - 2 * band_gap : rim;
  const drawn = data.sectors.flatMap(({ low_db, high_db, value_db }) =>
    [low_db, high_db, value_db].filter((value): value is number => value !== null),
  );
  const scale = db_scale(drawn, radius);
  const px = (value_db: number | null) =>
    value_db === null ? null : Math.min(radius, Math.max(0, scale.px(value_db)));
  const hand_layer = svg(doc, "g", { class: "hand-layer" });
  const tolerance =
    data.tolerance_db === null
      ? null
      : svg(doc, "path", {
          class: "tolerance",
          "fill-rule": "evenodd",
          d: [data.tolerance_db / 2, -data.tolerance_db / 2]
            .map((db) => {
              const r = coordinate(scale.px(db));
              return `M0,-${r}A${r},${r} 0 1 1 0,${r}A${r},${r} 0 1 1 0,-${r}Z`;
            })
            .join(""),
        });
  const ring_list = scale.rings_db.map((ring) => ({
    radius: scale.px(ring),
    label: ring === scale.high_db ? "" : ring === 0 ? "0 dB" : signed(ring).replace(".0", ""),
    is_zero: ring === 0,
  }));
  const labelled = ring_list.filter(({ label }) => label !== "");
  const marked = data.sectors.filter((sector) => sector.is_significant === true);
  const element = svg(
    doc,
    "svg",
    {
      class: "picture gain-rose",
      viewBox: `${-size / 2} ${-size / 2} ${size} ${size}`,
      width: size,
      height: size,
      role: "img",
      "aria-labelledby": `${id}-title ${id}-description`,
    },
    svg(doc, "title", { id: `${id}-title` }, title),
    svg(doc, "desc", { id: `${id}-description` }, description),
    disc(doc, radius),
    tolerance,
    spokes(doc, radius),
    rings(doc, ring_list),
    band(
      doc,
      data.sectors.map(({ bearing_deg, low_db, high_db }) => ({
        bearing_deg,
        low: px(low_db),
        high: px(high_db),
      })),
      "gain-band",
    ),
    svg(doc, "path", {
      class: "gain-line",
      d: smooth_outline(
        data.sectors.map(({ bearing_deg, value_db }) => ({ bearing_deg, radius: px(value_db) })),
      ),
    }),
    marked.length === 0
      ? null
      : svg(doc, "path", {
          class: "gain-marked",
          d: smooth_outline(
            data.sectors.map(({ bearing_deg, value_db, is_significant }) => ({
              bearing_deg,
              radius: is_significant === true ? px(value_db) : null,
            })),
          ),
        }),
    ring_labels(doc, labelled, clear_bearing_deg(labelled, data.sectors, px)),
    has_states
      ? state_band(doc, {
          sectors: data.sectors,
          sector_deg: data.sector_deg,
          inner: radius + band_gap,
          outer: radius + band_gap + band_width,
          id: `${id}-state`,
        })
      : null,
    bezel(doc, rim),
    hand_layer,
  );
  return { element, scale, radius, hand_layer };
}

/** Between two spokes, where the line keeps farthest from the rings' labels. */
function clear_bearing_deg(
  labelled: { radius: number }[],
  sectors: GainSector[],
  px: (value_db: number | null) => number | null,
): number {
  const room = (bearing_deg: number) =>
    Math.min(
      ...sectors
        .filter((sector) => apart_deg(sector.bearing_deg, bearing_deg) < 12)
        .flatMap(({ value_db }) => {
          const line = px(value_db);
          return line === null ? [] : labelled.map(({ radius }) => Math.abs(radius - line));
        }),
    );
  const bearings_deg = Array.from({ length: 12 }, (_, i) => 15 + 30 * ((i + 4) % 12));
  return bearings_deg.reduce((best, other) => (room(other) > room(best) + 2 ? other : best));
}

export function point_gain_hand(
  doc: Document,
  rose: GainRose,
  data: GainRoseData,
  bearing_deg: number | null,
): void {
  turn_hand(doc, rose.hand_layer, data, bearing_deg, rose.radius, ({ value_db }) =>
    value_db === null ? null : rose.scale.px(value_db),
  );
}
