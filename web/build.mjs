// Bundles the page. Usage: node build.mjs [--out DIR] [--embed FILE.cpp]
// With --embed also writes the files, compressed, as one C++ source that defines
// roundel::serve::assets(). Same input, same bytes.
import { createHash } from "node:crypto";
import { mkdir, rm, writeFile } from "node:fs/promises";
import { dirname, join } from "node:path";
import { fileURLToPath } from "node:url";
import { parseArgs } from "node:util";
import { gzipSync } from "node:zlib";
import { bundle } from "./bundle.mjs";

const here = dirname(fileURLToPath(import.meta.url));
const { values } = parseArgs({
  options: { out: { type: "string", default: join(here, "dist") }, embed: { type: "string" } },
});

const content_types = {
  html: "text/html; charset=utf-8",
  js: "text/javascript; charset=utf-8",
  css: "text/css; charset=utf-8",
  json: "application/json",
  svg: "image/svg+xml",
};

/** A C++ string literal. Octal escapes are three digits long, so none swallows what follows. */
function literal(bytes) {
  const lines = [];
  for (let start = 0; start < bytes.length; start += 4096) {
    let line = "";
    for (const byte of bytes.subarray(start, start + 4096)) {
      const is_plain =
        byte >= 0x20 && byte < 0x7f && byte !== 0x22 && byte !== 0x5c && byte !== 0x3f;
      line += is_plain ? String.fromCharCode(byte) : "\\" + byte.toString(8).padStart(3, "0");
    }
    lines.push(`"${line}"`);
  }
  return lines.join("\n") || '""';
}

function source(files) {
  const entries = [];
  for (const [name, bytes] of files) {
    const type = content_types[name.split(".").at(-1)];
    const path = name === "index.html" ? "/" : `/${name}`;
    const etag = createHash("sha256").update(bytes).digest("hex").slice(0, 20);
    const packed = gzipSync(bytes, { level: 9 });
    packed[9] = 255; // the operating system, which should not change our bytes
    const gzip = packed.length < bytes.length;
    const stored = gzip ? packed : bytes;
    entries.push(
      `    {"${path}", "${type}",\n     std::string_view(\n${literal(stored)},\n${stored.length}),\n` +
        `     "\\"${etag}\\"", ${gzip}},`,
    );
  }
  return `// The page, made by web/build.mjs.
#include <array>

#include "roundel/serve/assets.h"

namespace roundel::serve {

std::span<const Asset> assets() {
  static constexpr std::array<Asset, ${files.size}> files{{
${entries.join("\n")}
  }};
  return files;
}

}  // namespace roundel::serve
`;
}

const files = await bundle();
if (values.embed) {
  await mkdir(dirname(values.embed), { recursive: true });
  await writeFile(values.embed, source(files));
} else {
  await rm(values.out, { recursive: true, force: true });
  await mkdir(values.out, { recursive: true });
  for (const [name, bytes] of files) await writeFile(join(values.out, name), bytes);
}
