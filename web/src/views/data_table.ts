// A table from columns and rows; on the page and as CSV it is the same.
import { csv, filled, type Column } from "../columns";
import { html, set_text } from "../dom";
import { strings } from "../strings";
import type { Units } from "../units";
import type { Context } from "./view";

export function data_table<Row>(
  doc: Document,
  all: Column<Row>[],
  rows: Row[],
  caption: string,
  units: Units,
): HTMLElement {
  const columns = filled(all, rows);
  const head = columns.map((column) => html(doc, "th", { scope: "col" }, column.label));
  const body = rows.map((row) =>
    html(
      doc,
      "tr",
      {},
      ...columns.map((column, i) =>
        html(
          doc,
          i === 0 ? "th" : "td",
          i === 0 ? { scope: "row" } : {},
          column.text(row, units) ?? strings.unknown,
        ),
      ),
    ),
  );
  return html(
    doc,
    "table",
    {},
    html(doc, "caption", {}, caption),
    html(doc, "thead", {}, html(doc, "tr", {}, ...head)),
    html(doc, "tbody", {}, ...body),
  );
}

export interface Behind {
  element: HTMLDetailsElement;
  /** Filled only while it is open. */
  show<Row>(
    columns: Column<Row>[],
    rows: Row[],
    caption: string,
    units: Units,
    summary?: string,
  ): void;
}

/** The table behind a picture: closed at first. It can be saved as CSV whether open or not. */
export function table_behind(
  { doc, offer }: Pick<Context, "doc" | "offer">,
  file: string,
  style: string,
  summary: string,
): Behind {
  const place = html(doc, "div", {
    class: "scroll",
    tabindex: 0,
    role: "region",
    "aria-label": summary,
  });
  const head = html(doc, "summary", {}, summary);
  const element = html(doc, "details", { class: style, hidden: true }, head, place);
  let fill: (() => void) | null = null;
  let text = () => "";
  const fill_if_open = () => {
    if (element.open) fill?.();
    if (element.open) fill = null;
  };
  element.addEventListener("toggle", fill_if_open);
  offer({
    name: file,
    label: summary,
    csv: () => (element.hidden || element.closest("[hidden]") !== null ? null : text()),
  });
  return {
    element,
    show(columns, rows, caption, units, summary_now = summary) {
      element.hidden = rows.length === 0;
      set_text(head, summary_now);
      text = () => csv(filled(columns, rows), rows);
      fill = () => place.replaceChildren(data_table(doc, columns, rows, caption, units));
      fill_if_open();
    },
  };
}
