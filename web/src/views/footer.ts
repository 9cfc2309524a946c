// Which roundeld answers, and where the map comes from.
import { html, set_text } from "../dom";
import { strings } from "../strings";
import type { Context, Shown, View } from "./view";

export function footer_view({ doc }: Context): View {
  const version = html(doc, "span", {});
  return {
    element: html(doc, "footer", {}, version, html(doc, "span", {}, strings.footer_map)),
    update({ model }: Shown) {
      set_text(version, model.site === null ? "" : strings.footer(model.site.version));
    },
  };
}
