import { parseHTML } from "linkedom";

/** A document without a browser. */
export function new_document(): Document {
  return parseHTML("<!doctype html><html><body></body></html>").document as unknown as Document;
}

/** One element a line, indented: what snapshots hold, so that a change shows where it is. */
export function structure(element: Element, depth = 0): string {
  const attributes = [...element.attributes].map(({ name, value }) => ` ${name}="${value}"`).sort();
  const head = `${"  ".repeat(depth)}<${element.localName}${attributes.join("")}>`;
  const children = [...element.children];
  if (children.length === 0) return `${head}${element.textContent ?? ""}\n`;
  return `${head}\n${children.map((child) => structure(child, depth + 1)).join("")}`;
}
