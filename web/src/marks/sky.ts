// Who is in sight: each aircraft where it was heard last, with its last minutes behind it.
import type { SkyAnswer, SkyCell } from "../api";
import { svg } from "../dom";
import { at, coordinate, polar } from "../geometry";

/** Not heard for so long: in a gap. */
const gap_s = 30;
/** Gone. */
const gone_s = 300;

export interface InSight {
  address: string;
  last: SkyCell;
  is_heard: boolean;
  track: SkyCell[];
}

export function in_sight(sky: SkyAnswer): InSight[] {
  const to_s = Date.parse(sky.to ?? "") / 1000;
  return sky.aircraft.flatMap(({ address, track }) => {
    const last = track.filter(({ heard }) => heard > 0).at(-1);
    const silent_s = last === undefined ? Infinity : to_s - Date.parse(last.time) / 1000;
    if (last === undefined || silent_s > gone_s) return [];
    return [{ address: address ?? "", last, is_heard: silent_s <= gap_s, track }];
  });
}

/** @param px  from range to pixels */
export function sky_marks(doc: Document, sky: SkyAnswer, px: (km: number) => number): SVGElement[] {
  const point = ({ bearing_deg, range_km }: SkyCell) => polar(bearing_deg, px(range_km));
  return in_sight(sky).flatMap(({ address, last, is_heard, track }) => {
    const heard: string[] = [];
    const silent: string[] = [];
    track.slice(1).forEach((cell, i) => {
      const before = track[i];
      if (before === undefined) return;
      const is_gap = cell.heard === 0 || before.heard === 0;
      (is_gap ? silent : heard).push(`M${at(point(before))}L${at(point(cell))}`);
    });
    const place = point(last);
    return [
      svg(doc, "path", { class: "track-ground", d: [...heard, ...silent].join("") }),
      svg(doc, "path", { class: "track", d: heard.join("") }),
      svg(doc, "path", { class: "track silent", d: silent.join("") }),
      svg(
        doc,
        "circle",
        {
          class: is_heard ? "aircraft" : "aircraft silent",
          cx: coordinate(place.x),
          cy: coordinate(place.y),
          r: 4,
        },
        svg(doc, "title", {}, address),
      ),
    ];
  });
}
