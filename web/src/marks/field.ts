// The share heard by range and bearing: a quiet field behind the outline.
import { svg } from "../dom";
import { wedge } from "../geometry";

export interface FieldBin {
  bearing_deg: number;
  inner: number;
  outer: number;
  /** Heard of chances, 0 .. 1. */
  share: number;
}

/** Steps of share; one path each, so that a full field is five elements. */
export const share_steps = 5;

export function share_step(share: number): number {
  return Math.min(share_steps - 1, Math.max(0, Math.floor(share * share_steps)));
}

export function field(doc: Document, bins: FieldBin[], sector_deg: number): SVGElement {
  const group = svg(doc, "g", { class: "field" });
  for (let step = 0; step < share_steps; step += 1) {
    const d = bins
      .filter((bin) => share_step(bin.share) === step)
      .map(({ bearing_deg, inner, outer }) =>
        wedge(bearing_deg - sector_deg / 2, bearing_deg + sector_deg / 2, inner, outer),
      )
      .join("");
    if (d !== "") group.append(svg(doc, "path", { class: `share share-${step}`, d }));
  }
  return group;
}
