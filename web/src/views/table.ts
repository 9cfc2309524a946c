// The numbers behind the map, as a table.
import { csv, filled, sector_columns } from "../columns";
import { html } from "../dom";
import { sector_deg_of, sectors_of } from "../model";
import { save } from "../save";
import { strings } from "../strings";
import type { Context, Shown, View } from "./view";

export function table_view({ doc, set }: Context): View {
  const place = html(doc, "div", {
    class: "scroll",
    tabindex: 0,
    role: "region",
    "aria-label": strings.table,
  });
  const button = html(doc, "button", { type: "button", class: "quiet" }, strings.save_csv);
  const element = html(
    doc,
    "details",
    { class: "table panel" },
    html(doc, "summary", {}, strings.table),
    place,
    button,
  );
  let latest: Shown | null = null;
  let inputs: unknown[] = [];

  element.addEventListener("toggle", () => {
    if (latest !== null && latest.state.table !== element.open) set({ table: element.open });
  });
  button.addEventListener("click", () => {
    if (latest === null) return;
    const rows = sectors_of(latest.model);
    save(doc, "roundel-reach.csv", "text/csv", csv(filled(sector_columns, rows), rows));
  });

  return {
    element,
    update(shown) {
      latest = shown;
      const { model, state } = shown;
      element.open = state.table;
      const now: unknown[] = [model.reach, model.verdict, state.units, state.table];
      if (now.every((part, i) => part === inputs[i])) return;
      inputs = now;
      const rows = sectors_of(model);
      element.hidden = rows.length === 0;
      if (!state.table) return;
      const columns = filled(sector_columns, rows);
      place.replaceChildren(
        html(
          doc,
          "table",
          {},
          html(doc, "caption", {}, strings.table_caption(String(sector_deg_of(model)))),
          html(
            doc,
            "thead",
            {},
            html(
              doc,
              "tr",
              {},
              ...columns.map((column) => html(doc, "th", { scope: "col" }, column.label)),
            ),
          ),
          html(
            doc,
            "tbody",
            {},
            ...rows.map((row) =>
              html(
                doc,
                "tr",
                {},
                ...columns.map((column, i) =>
                  html(
                    doc,
                    i === 0 ? "th" : "td",
                    i === 0 ? { scope: "row" } : {},
                    column.text(row, state.units) ?? strings.unknown,
                  ),
                ),
              ),
            ),
          ),
        ),
      );
    },
  };
}
