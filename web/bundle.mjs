// The page's files, bundled in memory.
import { build } from "esbuild";
import { readFile } from "node:fs/promises";
import { dirname, join } from "node:path";
import { fileURLToPath } from "node:url";

const here = dirname(fileURLToPath(import.meta.url));

/** File name to bytes. Names carry no hash: the server answers with entity tags. */
export async function bundle() {
  const result = await build({
    absWorkingDir: here,
    entryPoints: { app: "src/main.ts", style: "src/style/page.css" },
    bundle: true,
    minify: true,
    target: "es2022",
    format: "esm",
    charset: "utf8",
    legalComments: "eof",
    write: false,
    outdir: "/",
    logLevel: "warning",
  });
  const files = new Map();
  for (const file of result.outputFiles) files.set(file.path.slice(1), Buffer.from(file.contents));
  files.set("index.html", await readFile(join(here, "src/index.html")));
  files.set("icon.svg", await readFile(join(here, "src/icon.svg")));
  files.set("coast.json", await coast());
  files.set("places.json", await places());
  return files;
}

/** Countries at 1:50 million (Natural Earth by way of world-atlas, public domain). */
async function coast() {
  const atlas = JSON.parse(
    await readFile(join(here, "node_modules/world-atlas/countries-50m.json"), "utf8"),
  );
  delete atlas.objects.land; // its outline is the mesh of countries that have no neighbour
  return Buffer.from(JSON.stringify(atlas));
}

/** Smaller ones are never among the few that a map has room for. */
const least_people = 40_000;

/**
 * Towns with their names and places, the most populous first (city-timezones, MIT). The list knows
 * the marks of some names only, so all are written without.
 */
async function places() {
  const towns = JSON.parse(
    await readFile(join(here, "node_modules/city-timezones/data/cityMap.json"), "utf8"),
  );
  const hundredths = (angle_deg) => Math.round(angle_deg * 100) / 100;
  return Buffer.from(
    JSON.stringify(
      towns
        .filter(({ pop }) => pop >= least_people)
        .sort((a, b) => b.pop - a.pop || (a.city < b.city ? -1 : 1))
        .map(({ city_ascii, lat, lng }) => [city_ascii, hundredths(lat), hundredths(lng)]),
    ),
  );
}
