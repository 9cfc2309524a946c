// A roundeld made of fixtures, for developing and testing the page without one.
import { build } from "esbuild";
import { createServer } from "node:http";
import { dirname, join } from "node:path";
import { fileURLToPath } from "node:url";
import { bundle } from "../bundle.mjs";

const here = dirname(fileURLToPath(import.meta.url));
const types = {
  html: "text/html; charset=utf-8",
  js: "text/javascript",
  css: "text/css",
  json: "application/json",
  svg: "image/svg+xml",
};

/** As daemon/serve names and frames it. */
const live_event = (live) => `event: live\ndata: ${JSON.stringify(live)}\n\n`;

/** As daemon/serve sends it. */
const content_policy =
  "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; " +
  "connect-src 'self'; frame-ancestors 'none'; base-uri 'none'; form-action 'none'";

export const load_fixtures = () => load("fixtures.ts");
/** Every word on the page. */
export const load_strings = () => load("../src/strings.ts");

async function load(file) {
  const result = await build({
    entryPoints: [join(here, file)],
    bundle: true,
    format: "esm",
    write: false,
  });
  const text = Buffer.from(result.outputFiles[0].contents).toString("base64");
  return import(`data:text/javascript;base64,${text}`);
}

// Made once a process; every mock serves the same.
let made;

/**
 * @param {{scenario: string, port?: number, beat_ms?: number}} options beat_ms: 0 sends one event only
 * @returns the address, and ways to steer it: `tell` sends an event, `drop` cuts event streams and
 * refuses new ones until `pick_up`.
 */
export async function start_mock({ scenario, port = 0, beat_ms = 0 }) {
  made ??= Promise.all([bundle(), load_fixtures()]);
  const [files, fixtures] = await made;
  let current = fixtures.scenario(scenario);
  let is_down = false;
  const streams = new Set();
  const asked = [];

  const server = createServer((request, response) => {
    const url = new URL(request.url, "http://mock");
    asked.push({
      method: request.method,
      path: url.pathname,
      query: url.search,
      headers: request.headers,
    });
    response.setHeader("Content-Security-Policy", content_policy);
    response.setHeader("X-Content-Type-Options", "nosniff");
    if (is_down) {
      request.socket.destroy();
    } else if (url.pathname === "/api/live") {
      response.writeHead(200, { "Content-Type": "text/event-stream", "Cache-Control": "no-store" });
      response.write(`retry: 300\n\n${live_event(current.live)}`);
      streams.add(response);
      request.on("close", () => streams.delete(response));
    } else if (request.method === "POST") {
      const may = request.headers.authorization === `Bearer ${current.token}`;
      response.writeHead(may ? 200 : 401, { "Content-Type": "application/json" });
      response.end(
        JSON.stringify(
          may ? {} : { title: "Unauthorized", status: 401, detail: "this is not the token" },
        ),
      );
    } else if (url.pathname === "/api/openapi.json") {
      const paths = Object.fromEntries(Object.keys(current.answers).map((path) => [path, {}]));
      response.writeHead(200, { "Content-Type": "application/json" });
      response.end(JSON.stringify({ openapi: "3.1.0", paths }));
    } else if (url.pathname.startsWith("/api/")) {
      const entry = current.answers[url.pathname];
      const answer = typeof entry === "function" ? entry(url.searchParams) : entry;
      if (answer === undefined) {
        response.writeHead(404, { "Content-Type": "application/problem+json" });
        response.end(JSON.stringify({ title: "Not Found", status: 404, detail: "no such path" }));
      } else {
        response.writeHead(200, { "Content-Type": "application/json" });
        response.end(JSON.stringify(answer));
      }
    } else {
      const name = url.pathname === "/" ? "index.html" : url.pathname.slice(1);
      const bytes = files.get(name);
      response.writeHead(bytes ? 200 : 404, {
        "Content-Type": types[name.split(".").at(-1)] ?? "text/plain",
      });
      response.end(bytes ?? "");
    }
  });
  await new Promise((resolve) => server.listen(port, "127.0.0.1", resolve));

  const tell = (live) => {
    current = { ...current, live };
    for (const stream of streams) stream.write(live_event(live));
  };
  const beat =
    beat_ms > 0
      ? setInterval(() => {
          const live = structuredClone(current.live);
          live.now_s += beat_ms / 1000;
          for (const feed of live.feeds)
            if (feed.state === "connected") {
              feed.received += 17;
              feed.last_report_s = live.now_s - 0.2;
            }
          tell(live);
        }, beat_ms)
      : undefined;
  return {
    url: `http://127.0.0.1:${server.address().port}/`,
    fixtures,
    asked,
    live: () => structuredClone(current.live),
    tell,
    show: (name) => (current = fixtures.scenario(name)),
    answer: (path, value) => (current.answers[path] = value),
    drop() {
      is_down = true;
      for (const stream of streams) stream.destroy();
    },
    pick_up: () => (is_down = false),
    async stop() {
      clearInterval(beat);
      server.closeAllConnections();
      await new Promise((resolve) => server.close(resolve));
    },
  };
}
