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

/** Two buttons beside a picture. @param picture the one that is shown at the moment */
export function save_buttons(
  doc: Document,
  name: string,
  picture: () => SVGElement | null,
): HTMLElement {
  const as_svg = html(doc, "button", { type: "button", class: "quiet" }, strings.save_svg);
  const as_png = html(doc, "button", { type: "button", class: "quiet" }, strings.save_png);
  as_svg.addEventListener("click", () => {
    const shown = picture();
    if (shown !== null) save(doc, `roundel-${name}.svg`, "image/svg+xml", standalone(doc, shown));
  });
  as_png.addEventListener("click", () => {
    const shown = picture();
    if (shown === null) return;
    void png(doc, shown).then((blob) => {
      if (blob !== null) save(doc, `roundel-${name}.png`, "image/png", blob);
    });
  });
  return html(doc, "div", { class: "save" }, as_svg, as_png);
}
