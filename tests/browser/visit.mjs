// What all journeys share: a browser, a visit that wants a clean console, and ways to look. A visit
// is to a roundeld made of fixtures (web/dev/mock.mjs), or to any other address.
// Journeys are run by ctest, a process a file, or: cd web && npm run browser
import assert from "node:assert/strict";
import { readFile } from "node:fs/promises";
import { createRequire } from "node:module";
import { after, before } from "node:test";
import { setTimeout as sleep } from "node:timers/promises";
import { start_mock } from "../../web/dev/mock.mjs";

const require = createRequire(new URL("../../web/package.json", import.meta.url));
const { chromium } = require("playwright-core");
const axe_source = await readFile(require.resolve("axe-core/axe.min.js"), "utf8");

export const desk = { width: 1280, height: 900 };
export const phone = { width: 360, height: 740 };
const patience_ms = 15_000;

let browser;
before(async () => {
  browser = await chromium.launch({
    executablePath: process.env.CHROMIUM ?? "/usr/bin/chromium",
    args: ["--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage"],
  });
});
after(() => browser?.close());

/** Of each page: its requests that are not answered yet, but for the stream, which never ends. */
const unanswered = new WeakMap();

/**
 * Opens an address and hands the page to `go`. Afterwards its console must be clean (but for
 * journeys that cut the line: a failed request is an error there too), and no request may have
 * gone elsewhere.
 * @param clock  the page's clock can be put forward; first: runs before the page does
 */
export async function look_at(
  url,
  { hash = "", viewport = desk, may_complain = false, clock = false, first, ...rest },
  go,
) {
  const context = await browser.newContext({ viewport, acceptDownloads: true, ...rest });
  context.setDefaultTimeout(patience_ms);
  const page = await context.newPage();
  const complaints = [];
  page.on("console", (message) => {
    if (["error", "warning"].includes(message.type())) complaints.push(message.text());
  });
  page.on("pageerror", (error) => complaints.push(error.message));
  const foreign = [];
  const open = new Set();
  unanswered.set(page, open);
  page.on("request", (request) => {
    if (!/^(data|blob):/.test(request.url()) && !request.url().startsWith(url))
      foreign.push(request.url());
    if (!request.url().endsWith("/api/live")) open.add(request);
  });
  for (const end of ["requestfinished", "requestfailed"])
    page.on(end, (request) => open.delete(request));
  try {
    if (clock) await page.clock.install();
    if (first !== undefined) await page.addInitScript(first);
    await page.goto(url + hash);
    await page.waitForSelector(".reach-map .land", { state: "attached" });
    await go(page);
    if (!may_complain) assert.deepEqual(complaints, []);
    assert.deepEqual(foreign, [], "requests that leave the machine");
  } finally {
    await context.close();
  }
}

/** The same on a roundeld made of fixtures. */
export async function visit({ scenario = "judged", ...options }, go) {
  const mock = await start_mock({ scenario });
  try {
    await look_at(mock.url, options, (page) => go(page, mock));
  } finally {
    await mock.stop();
  }
}

export const text = (page, selector) => page.locator(selector).first().innerText();

/**
 * Holds an assertion until it is true. What a page shows follows an action or an answer by a
 * redraw or more, so one look right after it proves nothing.
 */
export async function eventually(check) {
  const until_ms = Date.now() + patience_ms;
  for (;;) {
    try {
      return await check();
    } catch (error) {
      if (!(error instanceof assert.AssertionError) || Date.now() > until_ms) throw error;
    }
    await sleep(50);
  }
}

/** The first such element comes to say this: a pattern, or the whole text. */
export const says = (page, selector, wanted) =>
  eventually(async () => {
    const said = await text(page, selector);
    if (wanted instanceof RegExp) assert.match(said, wanted);
    else assert.equal(said, wanted);
  });

/** So many such elements come to be there. */
export const counts = (page, selector, n) =>
  eventually(async () => assert.equal(await page.locator(selector).count(), n, selector));

export const is_visible = (page, selector, wanted = true) =>
  eventually(async () =>
    assert.equal(await page.locator(selector).first().isVisible(), wanted, selector),
  );

export const address_is = (page, wanted) =>
  eventually(() => {
    const { hash } = new URL(page.url());
    if (wanted instanceof RegExp) assert.match(hash, wanted);
    else assert.equal(hash, wanted);
  });

/** The latest question at a path comes to be this one. */
export const asks = (mock, path, wanted) =>
  eventually(() => {
    const asked = mock.asked.filter((request) => request.path === path).at(-1);
    assert.match(decodeURIComponent(asked?.query ?? "never asked"), wanted, path);
  });

/**
 * All is answered and drawn. The page asks some questions a moment after the answer before (150
 * ms for the cut), so nothing may be open at the end of a longer one.
 */
export async function settled(page) {
  const open = unanswered.get(page);
  let is_quiet = false;
  const began = () => (is_quiet = false);
  page.on("request", began);
  while (!is_quiet) {
    await eventually(() => assert.equal(open.size, 0, "requests that are not answered"));
    is_quiet = true;
    await page.evaluate(
      () =>
        new Promise((done) => {
          const draw = () => requestAnimationFrame(() => requestAnimationFrame(done));
          setTimeout(draw, 300);
        }),
    );
  }
  page.off("request", began);
}

export async function violations(page) {
  // Injected past the page's own policy, as a tool of the test, not of the page.
  await page.evaluate(axe_source);
  const { violations: found } = await page.evaluate(() => globalThis.axe.run(document));
  return found.map(
    ({ id, nodes }) => `${id}: ${nodes.map((node) => node.target.join(" ")).join(", ")}`,
  );
}

export const width_over = (page) =>
  page.evaluate(() => document.documentElement.scrollWidth - window.innerWidth);
