import { gzipSync } from "node:zlib";
import { describe, expect, it } from "vitest";
import { bundle } from "../bundle.mjs";

describe("the bundle", () => {
  it("is under 300 kB compressed besides coastlines, asks no other machine and runs nothing inline", async () => {
    const files = await bundle();
    let total = 0;
    for (const [name, bytes] of files) if (name !== "coast.json") total += gzipSync(bytes).length;
    expect(total).toBeLessThan(300_000);
    expect(gzipSync(files.get("app.js") ?? Buffer.alloc(99_999)).length).toBeLessThan(80_000);
    const page = files.get("index.html")?.toString() ?? "";
    expect(page).not.toMatch(/<script(?![^>]*src=)|<style|\sstyle=|\son[a-z]+=/);
    for (const name of ["index.html", "style.css"])
      expect(files.get(name)?.toString()).not.toMatch(/https?:|\/\//);
  });
});
