// Chooses a bearing on a round picture: pointer, tap and keys. To a screen reader it is a slider.
import { html } from "../dom";
import { bearing_of, compass_point, sector_at, wrap_deg } from "../geometry";
import { strings } from "../strings";
import type { Context } from "./view";

const key_steps: Record<string, number> = {
  ArrowRight: 1,
  ArrowUp: 1,
  ArrowLeft: -1,
  ArrowDown: -1,
};
const page_step_deg = 30;
const last_deg = 359;

export interface Dial {
  element: HTMLElement;
  /** @param value of the sector chosen, in words for a screen reader */
  show<T extends { bearing_deg: number }>(
    chosen_deg: number | null,
    circle: { sectors: T[]; sector_deg: number },
    value: (sector: T) => string,
  ): void;
}

/** What a key makes of the bearing chosen; undefined: the key is not ours. */
export function key_bearing(
  key: string,
  has_shift: boolean,
  chosen_deg: number | null,
  step_deg: number,
): number | null | undefined {
  const step = key_steps[key];
  if (step !== undefined)
    return chosen_deg === null ? 0 : wrap_deg(chosen_deg + step * (has_shift ? 1 : step_deg));
  if (key === "PageUp") return wrap_deg((chosen_deg ?? 0) + page_step_deg);
  if (key === "PageDown") return wrap_deg((chosen_deg ?? 0) - page_step_deg);
  if (key === "Home") return 0;
  if (key === "End") return last_deg;
  if (key === "Escape") return null;
  return undefined;
}

/** @param range_of  what lies so many pixels from the middle, on a map */
export function dial(
  { doc, set, preview }: Context,
  label: string,
  range_of: (radius_px: number) => number | null = () => null,
): Dial {
  let chosen_deg: number | null = null;
  let step_deg = 5;
  const element = html(doc, "div", {
    class: "dial",
    role: "slider",
    tabindex: 0,
    "aria-label": label,
    "aria-valuemin": 0,
    "aria-valuemax": last_deg,
    "aria-valuenow": 0,
    "aria-valuetext": strings.bearing_none,
  });
  const from_middle = (event: MouseEvent) => {
    const box = element.getBoundingClientRect();
    return {
      x: event.clientX - (box.left + box.width / 2),
      y: event.clientY - (box.top + box.height / 2),
    };
  };
  const bearing_at = (event: MouseEvent) => Math.round(bearing_of(from_middle(event))) % 360;
  element.addEventListener("pointermove", (event) => {
    if (event.pointerType === "touch") return;
    const { x, y } = from_middle(event);
    preview(bearing_at(event), range_of(Math.hypot(x, y)));
  });
  element.addEventListener("pointerleave", () => preview(null));
  element.addEventListener("click", (event) => set({ bearing_deg: bearing_at(event) }));
  element.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.altKey || event.metaKey) return;
    const next = key_bearing(event.key, event.shiftKey, chosen_deg, step_deg);
    if (next === undefined) return;
    event.preventDefault();
    chosen_deg = next; // keys may come faster than pictures
    set({ bearing_deg: next });
  });
  return {
    element,
    show(chosen, { sectors, sector_deg }, value) {
      chosen_deg = chosen;
      step_deg = sector_deg;
      const sector = chosen === null ? null : sector_at(sectors, chosen);
      element.setAttribute("aria-valuenow", String(chosen ?? 0));
      element.setAttribute(
        "aria-valuetext",
        chosen === null || sector === null
          ? strings.bearing_none
          : strings.bearing_value(String(chosen), compass_point(chosen), value(sector)),
      );
    },
  };
}
