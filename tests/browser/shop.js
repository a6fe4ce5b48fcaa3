// A shop of its own for each test file: the real daemon over a fresh directory, driven by the real command line.
import assert from "node:assert/strict";
import { execFileSync, spawn } from "node:child_process";
import { mkdtempSync, readFileSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { dirname, join } from "node:path";
import { createInterface } from "node:readline";
import { fileURLToPath } from "node:url";
import { chromium } from "playwright-core";

const here = dirname(fileURLToPath(import.meta.url));
const bin = process.env.BAYTRIM_BIN ?? join(here, "../../target/debug");

/** Where the invented job and its pulls are. */
export const demo = join(here, "../../demo-data");

/** Widths and heights that the page is made for. */
export const sizes = {
  desktop: { width: 1440, height: 900 },
  tablet: { width: 1024, height: 768 },
  "upright tablet": { width: 768, height: 1024 },
  phone: { width: 390, height: 844 },
};

/** Starts a daemon; `stop` ends it and forgets its data. */
export async function openShop() {
  const data = mkdtempSync(join(tmpdir(), "baytrim-browser-"));
  const daemon = spawn(join(bin, "baytrimd"), ["serve", "--data", data, "--listen", "127.0.0.1:0", "--log-level", "warn"], {
    stdio: ["ignore", "pipe", "inherit"],
  });
  const url = await new Promise((found, lost) => {
    createInterface({ input: daemon.stdout }).on("line", (line) => {
      const match = /^listening on (http:\S+)$/.exec(line);
      if (match) found(match[1]);
    });
    daemon.once("exit", (code) => lost(new Error(`the daemon ended with ${code}`)));
  });
  const runAs = (token, ...args) =>
    execFileSync(join(bin, "baytrim"), ["--server", url, "--token-file", join(data, token), ...args], { encoding: "utf8" });
  const welcome = (name, role, token) => {
    runAs("owner.token", "member", "add", name, "--role", role);
    runAs("owner.token", "token", "issue", name, "--output", join(data, token));
  };
  welcome("M. Ottoway", "tuner,reviewer", "tuner.token");
  welcome("R. Quenby", "reviewer", "reviewer.token");
  const run = (...args) => runAs("tuner.token", ...args);
  // Whoever asked for a proposal can't approve it: a second pair of eyes does.
  const review = (...args) => runAs("reviewer.token", ...args);
  const token = readFileSync(join(data, "reviewer.token"), "utf8").trim();
  const tunerToken = readFileSync(join(data, "tuner.token"), "utf8").trim();
  const signedIn = await fetch(`${url}/sign-in`, {
    method: "POST",
    body: new URLSearchParams({ token }),
    headers: { origin: url },
    redirect: "manual",
  });
  const cookie = signedIn.headers.get("set-cookie").split(";")[0];
  const stop = async () => {
    daemon.kill("SIGTERM");
    await new Promise((ended) => (daemon.exitCode === null ? daemon.once("exit", ended) : ended()));
    rmSync(data, { recursive: true, force: true });
  };
  return { url, run, review, stop, token, tunerToken, cookie };
}

/** Opens the invented job, sends its pulls and has a proposal computed. */
export function openDemoJob(shop) {
  shop.run("job", "open", join(demo, "job.toml"));
  const pulls = ["pull-1-holds.csv", "pull-2-sweeps.csv", "pull-3-ride.csv"].map((name) => join(demo, name));
  shop.run("pull", "submit", "plover-690", ...pulls, "--bay", "east");
  shop.run("propose", "plover-690");
  return "/jobs/plover-690";
}

/** Plays the shop's earlier job by the commands beside its files, as the demo does. */
export function playEarlierJob(shop) {
  const folder = join(demo, "earlier");
  for (const [who, ...words] of JSON.parse(readFileSync(join(folder, "steps.json"), "utf8"))) {
    const act = { tuner: shop.run, reviewer: shop.review }[who];
    act(...words.map((word) => (/\.(csv|toml)$/.test(word) ? join(folder, word) : word)));
  }
  return "/jobs/plover-690-spring";
}

/** Starts Debian's Chromium. */
export function openBrowser() {
  return chromium.launch({
    executablePath: process.env.CHROMIUM ?? "/usr/bin/chromium",
    headless: true,
    args: [
      "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
      "--disable-background-networking", "--disable-component-update", "--disable-sync",
    ],
  });
}

/** Opens a window; `faults` collects script errors and whatever the policy forbade. */
export async function openWindow(browser, shop, { token = shop.token, ...options } = {}) {
  const context = await browser.newContext({ baseURL: shop.url, viewport: sizes.desktop, ...options });
  const page = await context.newPage();
  await page.goto("/sign-in");
  await page.getByLabel("Your token").fill(token);
  await page.getByRole("button", { name: "Sign in" }).click();
  const faults = [];
  page.on("pageerror", (error) => faults.push(`script: ${error.message}`));
  page.on("console", (message) => {
    const isRefusal = /the server responded with a status of 4\d\d/.test(message.text());
    if (message.type() === "error" && !isRefusal) faults.push(`console: ${message.text()}`);
  });
  page.on("request", (request) => {
    const address = request.url();
    if (!address.startsWith(shop.url) && !address.startsWith("data:")) faults.push(`fetched ${address}`);
  });
  return { context, page, faults };
}

/** Opens `path` on every size, light and dark, and lets `look` judge each; axe, width and faults are judged here. */
export async function onEverySize(browser, shop, path, name, look) {
  for (const [size, viewport] of Object.entries(sizes)) {
    for (const colorScheme of ["light", "dark"]) {
      const { context, page, faults } = await openWindow(browser, shop, { viewport, colorScheme });
      await page.goto(path);
      await look(page, size);
      assert.deepEqual(await axeViolations(page), [], `${name} ${size} ${colorScheme}`);
      const beyond = await page.evaluate(() => document.documentElement.scrollWidth - innerWidth);
      assert.ok(beyond <= 0, `${name}: ${beyond} px wider than the ${size}`);
      if (size !== "desktop") await assertTouchable(page, `${name} ${size}`);
      assert.deepEqual(faults, []);
      if (process.env.SHOTS) {
        await page.screenshot({ path: join(process.env.SHOTS, `${name}-${size.replace(" ", "-")}-${colorScheme}.png`), fullPage: true });
      }
      await context.close();
    }
  }
}

/** Fails where a button, box or choice is too small for a gloved finger: 24 px by WCAG 2.5.8, its label counted. */
async function assertTouchable(page, where) {
  const small = await page.evaluate(() => {
    const shown = [...document.querySelectorAll("main button, main select, main input:not([type=hidden])")].filter((it) => it.offsetParent);
    const area = (it) => (it.closest("label") ?? it).getBoundingClientRect();
    return shown.filter((it) => area(it).height < 36 || area(it).width < 36).map((it) => it.outerHTML);
  });
  assert.deepEqual(small, [], where);
}

/** Returns what axe has against the page, by the rules of WCAG 2.2 A and AA. */
export async function axeViolations(page) {
  const axe = readFileSync(join(here, "node_modules/axe-core/axe.min.js"), "utf8");
  // Over the debugger, not as a script of the page: the page's policy lets none in.
  await page.evaluate(axe);
  const tags = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"];
  const found = await page.evaluate((tags) => globalThis.axe.run(document, { runOnly: tags }), tags);
  return found.violations.map(({ id, nodes }) => `${id}: ${nodes.slice(0, 3).map((node) => node.html).join(" | ")}`);
}
