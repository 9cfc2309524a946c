// A picture as a file of its own: SVG with the styles it needs, or PNG drawn from that.
import { html } from "../dom";
import { save } from "../save";
import { strings } from "../strings";

/** The rules for pictures, with the colours that hold at the moment. */
function styles(doc: Document): string {
  const probe = html(doc, "span", { hidden: true });
  doc.body.append(probe);
  const view = doc.defaultView ?? window;
  const colour = (name: string) => {
    probe.style.color = `var(${name})`;
    return view.getComputedStyle(probe).color;
  };
  const rules: string[] = [];
  for (const sheet of doc.styleSheets)
    for (const rule of sheet.cssRules)
      if (rule instanceof CSSStyleRule && rule.selectorText.startsWith(".picture"))
        rules.push(rule.cssText.replace(/var\((--[\w-]+)\)/g, (_, name: string) => colour(name)));
  probe.remove();
  return rules.join("\n");
}

export function standalone(doc: Document, picture: SVGElement): string {
  const copy = picture.cloneNode(true) as SVGElement;
  copy.setAttribute("xmlns", "http://www.w3.org/2000/svg");
  const style = doc.createElementNS("http://www.w3.org/2000/svg", "style");
  style.textContent = styles(doc);
  copy.prepend(style);
  return new XMLSerializer().serializeToString(copy);
}

const png_scale = 2;

async function png(doc: Document, picture: SVGElement): Promise<Blob | null> {
  const width = Number(picture.getAttribute("width"));
  const height = Number(picture.getAttribute("height"));
  const image = new Image(width, height);
  image.src = `data:image/svg+xml;charset=utf-8,${encodeURIComponent(standalone(doc, picture))}`;
  await image.decode();
  const canvas = html(doc, "canvas", { width: width * png_scale, height: height * png_scale });
  const pen = canvas.getContext("2d");
  if (pen === null) return null;
  pen.fillStyle = getComputedStyle(doc.body).backgroundColor;
  pen.fillRect(0, 0, canvas.width, canvas.height);
  pen.drawImage(image, 0, 0, canvas.width, canvas.height);
  return new Promise((resolve) => canvas.toBlob(resolve, "image/png"));
}

/** A picture or a table that can be kept as a file. */
export interface Savable {
  /** Of the file, and what a person calls it. */
  name: string;
  label: string;
  /** What is shown at the moment; null: nothing. */
  picture?(): SVGElement | null;
  csv?(): string | null;
}

/** One menu for all that can be saved. */
export function save_menu(doc: Document, things: Savable[]): HTMLElement {
  const list = html(doc, "ul", { class: "menu-list" });
  const element = html(
    doc,
    "details",
    { class: "menu" },
    html(doc, "summary", {}, strings.save),
    list,
  );
  const close = () => {
    element.open = false;
    element.querySelector("summary")?.focus();
  };
  const button = (label: string, text: string, act: () => void) => {
    const made = html(doc, "button", { type: "button", "aria-label": `${label}: ${text}` }, text);
    made.addEventListener("click", () => {
      act();
      close();
    });
    return made;
  };
  function row({ name, label, picture, csv }: Savable): HTMLElement | null {
    const drawn = picture?.() ?? null;
    const shown = drawn?.closest("[hidden]") === null ? drawn : null;
    const table = csv?.() ?? null;
    if (shown === null && table === null) return null;
    const buttons: HTMLElement[] = [];
    if (shown !== null)
      buttons.push(
        button(label, "SVG", () =>
          save(doc, `roundel-${name}.svg`, "image/svg+xml", standalone(doc, shown)),
        ),
        button(label, "PNG", () => {
          void png(doc, shown).then((blob) => {
            if (blob !== null) save(doc, `roundel-${name}.png`, "image/png", blob);
          });
        }),
      );
    if (table !== null)
      buttons.push(button(label, "CSV", () => save(doc, `roundel-${name}.csv`, "text/csv", table)));
    return html(doc, "li", {}, html(doc, "span", {}, label), html(doc, "span", {}, ...buttons));
  }
  element.addEventListener("toggle", () => {
    if (!element.open) return;
    const print = button(strings.page, strings.print, () => {
      element.open = false;
      doc.defaultView?.print();
    });
    list.replaceChildren(
      ...things.flatMap((thing) => row(thing) ?? []),
      html(doc, "li", {}, html(doc, "span", {}, strings.page), html(doc, "span", {}, print)),
    );
  });
  element.addEventListener("keydown", (event) => {
    if (event.key === "Escape") close();
  });
  doc.addEventListener("pointerdown", (event) => {
    if (!element.contains(event.target as Node)) element.open = false;
  });
  return element;
}
