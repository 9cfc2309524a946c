// What every view is: an element, and a way to bring it up to date.
import type { Model } from "../model";
import type { ViewState } from "../state";
import type { Savable } from "./export";

export interface Context {
  doc: Document;
  /** Changes the state, the page's address and everything that shows it. */
  set(change: Partial<ViewState>): void;
  /** A bearing that is pointed at, not chosen, and how far out where the picture is a map. */
  preview(bearing_deg: number | null, range_km?: number | null): void;
  /** What can be taken away, for the menu. */
  offer(thing: Savable): void;
  /** Asks again for everything: something has been changed. */
  refresh(): void;
  now_s(): number;
}

export interface Shown {
  model: Model;
  state: ViewState;
  /** The bearing to show numbers of: pointed at, else chosen. */
  bearing_deg: number | null;
  /** Pointed at on the map. */
  range_km: number | null;
}

/** A view that is drawn as wide as it is: anew whenever anything, or its width, has changed. */
export function drawn_view(element: HTMLElement, draw: (shown: Shown) => void): View {
  let latest: Shown | null = null;
  new ResizeObserver(() => {
    if (latest !== null) draw(latest);
  }).observe(element);
  return {
    element,
    update(shown) {
      latest = shown;
      draw(shown);
    },
  };
}

export interface View {
  element: HTMLElement;
  /** Called for any change; does nothing where its own part has not changed. */
  update(shown: Shown): void;
}
