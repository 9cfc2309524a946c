// A journey with the real programs: what roundeld sends is what the page understands.
// ROUNDEL_BIN: the build folder, which holds both programs; without it the journey is skipped.
import assert from "node:assert/strict";
import { spawn } from "node:child_process";
import { once } from "node:events";
import { mkdtemp, rm, writeFile } from "node:fs/promises";
import { connect } from "node:net";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { createInterface } from "node:readline";
import { after, before, describe, it } from "node:test";
import { load_strings } from "../../web/dev/mock.mjs";
import { look_at, says, violations, settled } from "./visit.mjs";

const build = process.env.ROUNDEL_BIN;
const roundel = join(build ?? "", "analysis/program/roundel");
const roundeld = join(build ?? "", "daemon/program/roundeld");
const token = "a-token-of-the-journey";

const site = `[site]
name = "Hill house"
latitude = 52.1
longitude = 19.4
ground_m = 110
antenna_m = 12
`;

const configuration = (feed_port, web_port) => `
${site}[store]
path = "roundel.db"
[[antenna]]
name = "collinear"
[[receiver]]
name = "rx1"
[[mount]]
name = "gable"
[[feed]]
name = "roof"
listen = "127.0.0.1:${feed_port}"
layout = "ndjson"
antenna = "collinear"
receiver = "rx1"
mount = "gable"
[web]
listen = "127.0.0.1:${web_port}"
token = "${token}"
`;

const scenario = `
seed = 7
start = "2026-03-02T00:00:00Z"
hours = 3
${site}[[antenna]]
name = "collinear"
[[trial]]
feed = "roof"
antenna = "collinear"
[[feed]]
name = "roof"
[traffic]
mean_aircraft = 40
`;

async function succeeds(child) {
  const [code] = await once(child, "exit");
  assert.equal(code, 0, child.spawnargs.join(" "));
}

/** Runs roundeld until its page is up. */
async function start(folder, file = "roundel.toml") {
  const child = spawn(roundeld, ["run", "--config", file], {
    cwd: folder,
    stdio: ["ignore", "ignore", "pipe"],
  });
  const ports = {};
  for await (const line of createInterface({ input: child.stderr })) {
    ports.feed ??= /feed "roof" on 127\.0\.0\.1:(\d+)/.exec(line)?.[1];
    ports.web ??= /page on http:\/\/127\.0\.0\.1:(\d+)/.exec(line)?.[1];
    if (ports.feed && ports.web) break;
  }
  child.stderr.resume();
  assert.ok(ports.web, "roundeld ended before its page was up");
  return { child, ...ports, url: `http://127.0.0.1:${ports.web}/` };
}

async function stop(child) {
  child.kill("SIGTERM");
  if (child.exitCode === null) await once(child, "exit");
}

describe(
  "with the real roundeld",
  { skip: build === undefined && "ROUNDEL_BIN is not set" },
  () => {
    let folder;
    let running;
    before(async () => {
      folder = await mkdtemp(join(tmpdir(), "roundel-page-"));
      await writeFile(join(folder, "scenario.toml"), scenario);
      await writeFile(join(folder, "roundel.toml"), configuration(0, 0));
      const simulate = spawn(roundel, ["simulate", "scenario.toml"], {
        cwd: folder,
        stdio: ["ignore", "pipe", "inherit"],
      });
      const load = spawn(roundeld, ["load", "--config", "roundel.toml", "--feed", "roof", "-"], {
        cwd: folder,
        stdio: [simulate.stdout, "ignore", "ignore"],
      });
      try {
        await Promise.all([succeeds(simulate), succeeds(load)]);
      } finally {
        simulate.kill(); // else it waits for a reader for ever
      }
      running = await start(folder);
    });
    after(async () => {
      if (running !== undefined) await stop(running.child);
      await rm(folder, { recursive: true, force: true });
    });

    it("is configured by the lines that the page shows to who has no feed", async () => {
      const { strings } = await load_strings();
      const lines = configuration(0, 0)
        .replace("roundel.db", "shown.db")
        .replace(/\[\[antenna\]\][^]*\n(?=\[web\])/, "");
      await writeFile(join(folder, "shown.toml"), `${lines}\n${strings.snippet_feed}\n`);
      const load = spawn(
        roundeld,
        ["load", "--config", "shown.toml", "--feed", "roof", "/dev/null"],
        { cwd: folder, stdio: ["ignore", "ignore", "inherit"] },
      );
      await succeeds(load);
    });

    it("has a map and says what to do before anything is heard, without a complaint", async () => {
      const lines = configuration(0, 0).replace("roundel.db", "fresh.db");
      await writeFile(join(folder, "fresh.toml"), lines);
      const fresh = await start(folder, "fresh.toml");
      try {
        await look_at(fresh.url, {}, async (page) => {
          await says(page, ".conclusion .sentence", /Nothing heard yet/);
          await says(page, ".lessons", /waiting for someone to connect to it, on 127\.0\.0\.1:\d+/);
          await settled(page);
        });
      } finally {
        await stop(fresh.child);
      }
    });

    it("shows reach, verdict, cut and hours of what was recorded, without a complaint", () =>
      look_at(running.url, {}, async (page) => {
        await page.waitForSelector(".reach-map .reach-line[d*=L]", { state: "attached" });
        await page.waitForSelector("[data-question=round]:not([data-tone=waiting])");
        await page.waitForSelector(".picture.cut .horizon-line", { state: "attached" });
        await page.waitForSelector(".time .picture.hours", { state: "attached" });
        await says(page, ".feeds", /roof\s+waiting for a connection/);
        await says(page, ".legend", /of reports heard/);
        await settled(page);
        assert.deepEqual(await violations(page), []);
      }));

    it("moves as reports come, is told a note, says when it is gone and comes back", () =>
      look_at(running.url, { may_complain: true }, async (page) => {
        const socket = connect(Number(running.feed), "127.0.0.1");
        await once(socket, "connect");
        await page.waitForSelector(".feeds [data-state=connected]");
        for (let i = 0; i < 20; i += 1)
          socket.write(
            `{"time":${1772500000 + i},"address":"4b1617","latitude":52.3,"longitude":19.8,"altitude_ft":36000}\n`,
          );
        await says(page, ".feeds", /[1-9]\d*\s+reports/);
        socket.destroy();

        await page.getByLabel("Token").fill(token);
        await page.getByLabel("Note", { exact: true }).fill("cable dried");
        await page.getByRole("button", { name: "Add note" }).click();
        await says(page, ".trials [role=status]", "Note added.");

        await writeFile(join(folder, "roundel.toml"), configuration(running.feed, running.web));
        await stop(running.child);
        await page.waitForSelector(".notice:not([hidden])");
        running = await start(folder);
        await page.waitForSelector(".notice", { state: "hidden" });
      }));
  },
);
