// node dev/look.mjs DIR [SCENARIO...]: pictures of the page to look at, by size and theme.
import { mkdir } from "node:fs/promises";
import { join } from "node:path";
import { chromium } from "playwright-core";
import { start_mock } from "./mock.mjs";

const [folder = "/tmp/look", ...wanted] = process.argv.slice(2);
const scenarios = wanted.length > 0 ? wanted : ["judged", "reach", "empty"];
await mkdir(folder, { recursive: true });
const browser = await chromium.launch({
  executablePath: process.env.CHROMIUM ?? "/usr/bin/chromium",
  args: ["--no-sandbox"],
});
for (const scenario of scenarios) {
  const mock = await start_mock({ scenario });
  for (const [name, width, height] of [
    ["wall", 2560, 1400],
    ["desk", 1440, 900],
    ["tablet", 768, 1024],
    ["phone", 390, 844],
  ])
    for (const theme of ["light", "dark"]) {
      const page = await browser.newPage({ viewport: { width, height }, colorScheme: theme });
      page.on("console", (message) => console.log(scenario, name, message.text()));
      page.on("pageerror", (error) => console.log(scenario, name, error.message));
      await page.goto(`${mock.url}#${process.env.HASH ?? ""}`);
      await page.waitForSelector(".coast .land", { state: "attached" });
      await page.waitForTimeout(800);
      await page.screenshot({
        path: join(folder, `${scenario}-${name}-${theme}.png`),
        fullPage: process.env.FULL !== undefined,
      });
      await page.close();
    }
  await mock.stop();
}
await browser.close();
