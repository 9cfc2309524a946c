// Elements, made with the document that is passed in, so that pictures need no browser.

type Attributes = Record<string, string | number | boolean | null | undefined>;
type Child = Node | string | null | undefined;

const svg_namespace = "http://www.w3.org/2000/svg";

function fill(element: Element, attributes: Attributes, children: Child[]): void {
  for (const [name, value] of Object.entries(attributes)) {
    if (value === null || value === undefined || value === false) continue;
    element.setAttribute(name, value === true ? "" : String(value));
  }
  for (const child of children) if (child !== null && child !== undefined) element.append(child);
}

export function svg(
  doc: Document,
  name: string,
  attributes: Attributes = {},
  ...children: Child[]
): SVGElement {
  const element = doc.createElementNS(svg_namespace, name) as SVGElement;
  fill(element, attributes, children);
  return element;
}

export function html<K extends keyof HTMLElementTagNameMap>(
  doc: Document,
  name: K,
  attributes: Attributes = {},
  ...children: Child[]
): HTMLElementTagNameMap[K] {
  const element = doc.createElement(name);
  fill(element, attributes, children);
  return element;
}

/** Changes the text only where it differs, so that nothing flickers or is announced anew. */
export function set_text(element: Element, text: string): void {
  if (element.textContent !== text) element.textContent = text;
}
