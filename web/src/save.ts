/** Hands a text to the browser's download. Nothing leaves the machine. */
export function save(doc: Document, name: string, type: string, content: string | Blob): void {
  const blob = typeof content === "string" ? new Blob([content], { type }) : content;
  const url = URL.createObjectURL(blob);
  const link = doc.createElement("a");
  link.href = url;
  link.download = name;
  link.click();
  setTimeout(() => URL.revokeObjectURL(url), 1000);
}
