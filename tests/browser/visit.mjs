// What all journeys share: a browser, a visit that wants a clean console, and ways to look.
import assert from "node:assert/strict";
import { readFile } from "node:fs/promises";
import { createRequire } from "node:module";
import { after, before } from "node:test";
import { start_mock } from "../../web/dev/mock.mjs";

const require = createRequire(new URL("../../web/package.json", import.meta.url));
const { chromium } = require("playwright-core");
const axe_source = await readFile(require.resolve("axe-core/axe.min.js"), "utf8");

export const desk = { width: 1280, height: 900 };
export const phone = { width: 360, height: 740 };
const patience_ms = 60_000;

let browser;
before(async () => {
  browser = await chromium.launch({
    executablePath: process.env.CHROMIUM ?? "/usr/bin/chromium",
    args: ["--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage"],
  });
});
after(() => browser?.close());

/**
 * Opens an address and hands the page to `go`. Afterwards its console must be clean (but for
 * journeys that cut the line: a failed request is an error there too), and no request may have
 * gone elsewhere.
 */
export async function look_at(
  url,
  { hash = "", viewport = desk, may_complain = false, ...rest },
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
  page.on("request", (request) => {
    if (!/^(data|blob):/.test(request.url()) && !request.url().startsWith(url))
      foreign.push(request.url());
  });
  try {
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

export async function serious_violations(page) {
  // Injected past the page's own policy, as a tool of the test, not of the page.
  await page.evaluate(axe_source);
  const { violations } = await page.evaluate(() => globalThis.axe.run(document));
  return violations
    .filter(({ impact }) => impact === "serious" || impact === "critical")
    .map(({ id, nodes }) => `${id}: ${nodes.map((node) => node.target.join(" ")).join(", ")}`);
}

export const width_over = (page) =>
  page.evaluate(() => document.documentElement.scrollWidth - window.innerWidth);
