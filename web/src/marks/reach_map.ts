// The picture in the middle: map and polar plot in one, the antenna in the centre.
import type { SectorState, SkyAnswer, Time } from "../api";
import { svg } from "../dom";
import { apart_deg, sector_at, stepped_outline, type SectorRadius } from "../geometry";
import { km_to, range_text, grouped, type Units } from "../units";
import { coast, coast_lines, map_names, type CoastPlace, type Land } from "./coast";
import { difference } from "./difference";
import { field } from "./field";
import { bezel, disc, ring_labels, rings, spokes } from "./grid";
import { antenna_mark, turn_hand } from "./hand";
import { limit_labels, limits, type LimitOutline } from "./limits";
import { reach } from "./reach";
import { range_scale, type RangeScale } from "./scale";
import { sky_marks } from "./sky";
import { state_band } from "./states";

export interface RangeSector {
  bearing_deg: number;
  reach_km: number | null;
  state: SectorState | null;
}

export interface LimitData {
  label: string;
  /** One range for every bearing, or one for each of evenly spaced sectors. */
  range_km: number | { bearing_deg: number; range_km: number | null }[];
}

export interface ReachMapData {
  latitude_deg: number;
  longitude_deg: number;
  sectors: RangeSector[];
  sector_deg: number;
  limits: LimitData[];
  land: Land | null;
  /** Share heard by range and bearing; null: not drawn. */
  field: {
    sector_deg: number;
    /** Not of all that is selected, but from here on. */
    only_from?: Time;
    bins: {
      bearing_deg: number;
      from_km: number;
      to_km: number;
      heard: number;
      expected: number;
    }[];
  } | null;
  /** Of two selections, the first less the second; null: not drawn. */
  difference: {
    sector_deg: number;
    sectors: { bearing_deg: number; difference_db: number | null; significant: boolean }[];
  } | null;
  /** A second reach to hold the first against. */
  against: {
    sector_deg: number;
    sectors: { bearing_deg: number; reach_km: number | null }[];
  } | null;
}

export interface PictureOptions {
  /** Side of the square, pixels. */
  size: number;
  units: Units;
  title: string;
  description: string;
  /** Prefix of ids, unlike that of any other picture in the document. */
  id: string;
}

export interface ReachMap {
  element: SVGElement;
  scale: RangeScale;
  /** Where aircraft in sight go. */
  sky_layer: SVGElement;
  /** Where the hand goes; replaced as bearings are chosen. */
  hand_layer: SVGElement;
}

const band_width = 9;
const band_gap = 3;
const margin = 34;

function farthest_km(data: ReachMapData): number {
  const ranges = data.limits.flatMap(({ range_km }) =>
    typeof range_km === "number" ? [range_km] : range_km.map((sector) => sector.range_km ?? 0),
  );
  const reaches = [...data.sectors, ...(data.against?.sectors ?? [])];
  return Math.max(0, ...ranges, ...reaches.map((sector) => sector.reach_km ?? 0));
}

export function reach_map(doc: Document, data: ReachMapData, options: PictureOptions): ReachMap {
  const { size, units, id } = options;
  const has_states = data.sectors.some((sector) => sector.state !== null);
  const land = data.land;
  const rim = size / 2 - margin;
  // The states' room is kept free before they are known: a map that shrinks then would jump.
  const radius = rim - band_width - band_gap * 2;
  const scale = range_scale(farthest_km(data), radius, units);
  const radii: SectorRadius[] = data.sectors.map(({ bearing_deg, reach_km }) => ({
    bearing_deg,
    radius: reach_km === null ? null : scale.px(reach_km),
  }));
  const outlines: LimitOutline[] = data.limits.map(({ label, range_km }) => ({
    label,
    radius:
      typeof range_km === "number"
        ? scale.px(range_km)
        : range_km.map((sector) => ({
            bearing_deg: sector.bearing_deg,
            radius: sector.range_km === null ? null : scale.px(sector.range_km),
          })),
  }));
  const last_ring = scale.rings_km[scale.rings_km.length - 1];
  const ring_list = scale.rings_km.map((range_km) => ({
    radius: scale.px(range_km),
    label: range_km === last_ring ? range_text(units, range_km) : grouped(km_to(units, range_km)),
  }));
  const ground: CoastPlace = {
    latitude_deg: data.latitude_deg,
    longitude_deg: data.longitude_deg,
    radius,
    domain_km: scale.domain_km,
  };
  /** As far as either of the two reaches. */
  const outer_px = ({ bearing_deg }: { bearing_deg: number }) =>
    scale.px(
      Math.max(
        sector_at(data.sectors, bearing_deg)?.reach_km ?? 0,
        sector_at(data.against?.sectors ?? [], bearing_deg)?.reach_km ?? 0,
      ),
    );
  const hand_layer = svg(doc, "g", { class: "hand-layer" });
  const sky_layer = svg(doc, "g", { class: "sky" });
  const ground_layer = land === null ? null : coast(doc, land, ground);
  const element = svg(
    doc,
    "svg",
    {
      class: "picture reach-map",
      viewBox: `${-size / 2} ${-size / 2} ${size} ${size}`,
      width: size,
      height: size,
      role: "img",
      "aria-labelledby": `${id}-title ${id}-description`,
    },
    svg(doc, "title", { id: `${id}-title` }, options.title),
    svg(doc, "desc", { id: `${id}-description` }, options.description),
    disc(doc, radius),
    ground_layer,
    data.field === null
      ? null
      : field(
          doc,
          data.field.bins.map((bin) => ({
            bearing_deg: bin.bearing_deg,
            inner: scale.px(bin.from_km),
            outer: Math.min(radius, scale.px(bin.to_km)),
            heard: bin.heard,
            expected: bin.expected,
          })),
          data.field.sector_deg,
          `${id}-field`,
        ),
    data.difference === null
      ? null
      : difference(
          doc,
          data.difference.sectors.map((sector) => ({ ...sector, outer: outer_px(sector) })),
          data.difference.sector_deg,
          `${id}-difference`,
        ),
    spokes(doc, radius),
    rings(doc, ring_list),
    ground_layer === null ? null : coast_lines(ground_layer),
    reach(doc, radii, { sector_deg: data.sector_deg, radius, id: `${id}-unknown` }),
    data.against === null
      ? null
      : svg(doc, "path", {
          class: "against-line",
          d: stepped_outline(
            data.against.sectors.map(({ bearing_deg, reach_km }) => ({
              bearing_deg,
              radius: reach_km === null ? null : scale.px(reach_km),
            })),
            data.against.sector_deg,
          ),
        }),
    limits(doc, outlines),
    // After all lines, so that none runs through a word.
    land === null ? null : map_names(doc, land, ground),
    ring_labels(doc, ring_list),
    limit_labels(doc, outlines, `${id}-limit`, quiet_bearing_deg(radii)),
    sky_layer,
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
    antenna_mark(doc),
  );
  return { element, scale, sky_layer, hand_layer };
}

/** Bearings at which the limits' labels may stand, the preferred one first; rings have 135. */
const label_bearings_deg = [315, 45, 225];

/** That of them around which the reach has no steps for labels to stand on. */
function quiet_bearing_deg(sectors: SectorRadius[]): number {
  const unrest = (bearing_deg: number) => {
    const near = sectors.filter((sector) => apart_deg(sector.bearing_deg, bearing_deg) < 20);
    const radii = near.flatMap(({ radius }) => (radius === null ? [] : [radius]));
    return radii.length === 0 ? 0 : Math.max(...radii) - Math.min(...radii);
  };
  const least = Math.min(...label_bearings_deg.map(unrest));
  return label_bearings_deg.find((bearing_deg) => unrest(bearing_deg) < least + 12) ?? 315;
}

/** Moves the hand, or takes it away. Cheap: nothing else is touched. */
export function point_hand(
  doc: Document,
  map: ReachMap,
  data: Pick<ReachMapData, "sectors" | "sector_deg">,
  bearing_deg: number | null,
): void {
  turn_hand(doc, map.hand_layer, data, bearing_deg, map.scale.radius, ({ reach_km }) =>
    reach_km === null ? null : map.scale.px(reach_km),
  );
}

/** Puts aircraft into their layer, or takes them away. */
export function show_sky(doc: Document, map: ReachMap, sky: SkyAnswer | null): void {
  map.sky_layer.replaceChildren(...(sky === null ? [] : sky_marks(doc, sky, map.scale.px)));
}
