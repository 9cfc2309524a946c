// Which site this is, and how things are to be shown.
import { html, set_text } from "../dom";
import { strings } from "../strings";
import type { Theme } from "../state";
import type { Units } from "../units";
import { coordinate_text } from "./words";
import type { Context, Shown, View } from "./view";

interface Choice<T extends string> {
  element: HTMLElement;
  mark(value: T): void;
}

/** A row of buttons of which one is down. */
export function choice<T extends string>(
  doc: Document,
  label: string,
  options: [T, string][],
  pick: (value: T) => void,
): Choice<T> {
  const buttons = options.map(([value, text]) => {
    const button = html(doc, "button", { type: "button", "aria-pressed": "false" }, text);
    button.addEventListener("click", () => pick(value));
    return { value, button };
  });
  return {
    element: html(
      doc,
      "div",
      { class: "choice", role: "group", "aria-label": label },
      ...buttons.map(({ button }) => button),
    ),
    mark(value) {
      for (const entry of buttons)
        entry.button.setAttribute("aria-pressed", String(entry.value === value));
    },
  };
}

export function header_view({ doc, set }: Context): View {
  const name = html(doc, "h1", {}, strings.product);
  const place = html(doc, "p", { class: "place" });
  const units = choice<Units>(
    doc,
    strings.units,
    [
      ["metric", strings.metric],
      ["aviation", strings.aviation],
    ],
    (value) => set({ units: value }),
  );
  const theme = choice<Theme>(
    doc,
    strings.theme,
    [
      ["auto", strings.theme_auto],
      ["light", strings.theme_light],
      ["dark", strings.theme_dark],
    ],
    (value) => set({ theme: value }),
  );
  return {
    element: html(
      doc,
      "header",
      { class: "site" },
      html(doc, "div", { class: "site-name" }, name, place),
      html(doc, "div", { class: "settings" }, units.element, theme.element),
    ),
    update({ model, state }: Shown) {
      const site = model.site?.site;
      set_text(name, site?.name ?? (model.site === null ? strings.product : strings.no_site));
      set_text(place, site ? coordinate_text(site, state.units) : "");
      doc.title = site ? strings.title(site.name) : strings.product;
      units.mark(state.units);
      theme.mark(state.theme);
      doc.documentElement.dataset["theme"] = state.theme;
    },
  };
}
