// Charts, coverage, plan, realised changes, pulls compared.
import assert from "node:assert/strict";
import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { after, before, test } from "node:test";
import { writeLater } from "./after.js";
import { axeViolations, openBrowser, openDemoJob, openShop, openWindow, sizes } from "./shop.js";

let shop, browser, job, place;
before(async () => {
  shop = await openShop();
  browser = await openBrowser();
  job = openDemoJob(shop);
  shop.review("approve", "plover-690/c1", "--reason", "right on the holds");
  place = mkdtempSync(join(tmpdir(), "baytrim-later-"));
  writeLater(shop, "pull-2-sweeps.csv", "r1", join(place, "sweeps.csv"));
  shop.run("pull", "submit", "plover-690", join(place, "sweeps.csv"), "--bay", "east", "--revision", "r1");
  shop.run("propose", "plover-690");
});
after(async () => {
  await browser?.close();
  await shop?.stop();
  rmSync(place, { recursive: true, force: true });
});

const paths = () => [
  `${job}/traces?plate=60`, `${job}/traces?shown=1&plate=10&pull=p2&pull=p4&proposal=c1`, `${job}/pulls/p4`, `${job}/pulls/p1/table`,
  `${job}/coverage`, `${job}/coverage?use=track&seconds=300`, `${job}/compare-pulls?from=p2&to=p4`, `${job}/sheet`, `${job}/revisions/r0`,
];

/** Waits until all charts are drawn, and returns how many points of each are not the ground's colour. */
async function drawn(page) {
  await page.waitForFunction(() => document.querySelectorAll("[data-chart]").length > 0 && !document.querySelector("[data-waits]"));
  return page.evaluate(() => [...document.querySelectorAll(".chart canvas")].map((canvas) => {
    const { data } = canvas.getContext("2d").getImageData(0, 0, canvas.width, canvas.height);
    let count = 0;
    for (let at = 3; at < data.length; at += 4) count += data[at] > 0;
    return count;
  }));
}

// If this fails, somebody can't read or reach a page with charts.
for (const scheme of ["light", "dark"]) {
  for (const [name, viewport] of Object.entries(sizes)) {
    test(`charts and plans: no barriers, no errors, nothing wider than the screen: ${name}, ${scheme}`, async () => {
      const { context, page, faults } = await openWindow(browser, shop, { viewport, colorScheme: scheme });
      const barriers = [];
      for (const path of paths()) {
        await page.goto(path);
        if (await page.locator("[data-chart]").count()) await drawn(page);
        barriers.push(...(await axeViolations(page)).map((barrier) => `${path}: ${barrier}`));
        if ((await page.locator("header .you").count()) !== 1) barriers.push(`${path}: does not say who is signed in`);
        const beyond = await page.evaluate(() => document.documentElement.scrollWidth - innerWidth);
        if (beyond > 0) barriers.push(`${path}: ${beyond} px wider than the screen`);
      }
      assert.deepEqual(barriers, []);
      assert.deepEqual(faults, []);
      await context.close();
    });
  }
}

// If this fails, the chart is empty, or draws other numbers than its table tells.
test("the chart of a band draws what its table tells", async () => {
  const { context, page, faults } = await openWindow(browser, shop);
  await page.goto(`${job}/traces?plate=60`);
  const [points] = await drawn(page);
  assert.ok(points > 5000, `${points} points are drawn`);
  const source = await page.locator("[data-chart]").getAttribute("data-source");
  const data = await (await fetch(shop.url + source, { headers: { cookie: shop.cookie } })).json();
  assert.deepEqual(data.pulls.map(({ id, revision }) => `${id} ${revision}`), ["p1 r0", "p2 r0", "p3 r0", "p4 r1"]);
  await page.getByText("The same as a table").click();
  const row = page.locator("details table tbody tr", { has: page.locator("th", { hasText: /^7000$/ }) });
  const cells = await row.locator("td").allInnerTexts();
  const at = data.rpm.indexOf(7000);
  assert.equal(cells[0], data.target[at].toFixed(3));
  assert.equal(cells[1], data.leanest[at].toFixed(3));
  assert.equal(cells[2], data.before[at].toFixed(3));
  assert.ok(cells[3].startsWith(data.predicted[at].toFixed(3)), cells[3]);
  // The band's readings near 7000 rpm: before they were lean, with r1 they are near the target.
  const near = (pull) => data.pulls[pull].lambda.filter((_, index) => Math.abs(data.pulls[pull].rpm[index] - 7000) < 350);
  const mean = (values) => values.reduce((sum, value) => sum + value, 0) / values.length;
  assert.ok(mean(near(1)) > 1.0 && mean(near(3)) < 0.95, `${mean(near(1))}, ${mean(near(3))}`);
  for (const pull of data.pulls) {
    const [low, high] = /([\d.]+)–([\d.]+)/.exec(cells[4 + data.pulls.indexOf(pull)]).slice(1).map(Number);
    const nearest = pull.lambda.filter((_, index) => pull.rpm[index] > 6650 && pull.rpm[index] < 7350);
    for (const value of nearest) assert.ok(value >= low - 6e-4 && value <= high + 6e-4, `${pull.id}: ${value} in ${low} to ${high}`);
  }
  assert.deepEqual(faults, []);
  await context.close();
});

// If this fails, a plate or a pull that was chosen is not what is shown, or choosing needs a script.
test("plates and pulls are chosen without a script", async () => {
  const { context, page } = await openWindow(browser, shop, { javaScriptEnabled: false });
  await page.goto(`${job}/traces`);
  await page.getByRole("link", { name: "40", exact: true }).click();
  await page.getByLabel(/^p1/).uncheck();
  await page.getByLabel("Proposal").selectOption("none");
  await page.getByRole("button", { name: "Show" }).click();
  assert.match(await page.locator("h2").first().innerText(), /Plate 40 %: 35 to 50 %/);
  const key = await page.locator(".chart-key").innerText();
  assert.ok(!key.includes("pull p1") && key.includes("pull p2") && !key.includes("predicted"), key);
  assert.match(await page.locator("[data-waits]").innerText(), /table below holds the same numbers/);
  await context.close();
});

// If this fails, a closer look at a pull shows the same coarse steps, or leads nowhere.
test("a pull over time: closer by mouse and by button, back to the whole", async () => {
  const { context, page, faults } = await openWindow(browser, shop);
  const asked = [];
  page.on("request", (request) => { if (request.url().includes("/timeline")) asked.push(request.url()); });
  await page.goto(`${job}/pulls/p3`);
  const counts = await drawn(page);
  assert.equal(counts.length, 3);
  assert.ok(counts.every((count) => count > 2000), `${counts}`);
  const answered = () => page.waitForResponse((answer) => answer.url().includes("/timeline?"));
  const box = await page.locator(".chart .u-over").first().boundingBox();
  const next = answered();
  await page.mouse.move(box.x + box.width * 0.4, box.y + 40);
  await page.mouse.down();
  await page.mouse.move(box.x + box.width * 0.5, box.y + 40, { steps: 5 });
  await page.mouse.up();
  const closer = await (await next).json();
  const share = (closer.shown[1] - closer.shown[0]) / (closer.whole[1] - closer.whole[0]);
  assert.ok(share > 0.08 && share < 0.12, `${share}`);
  assert.ok(closer.row_count / closer.offset_s.length < 4, "the steps are finer now");
  const buttons = page.locator("[data-chart-buttons]");
  const whole = answered();
  await buttons.getByRole("button", { name: "Whole pull" }).press("Enter");
  const all = await (await whole).json();
  assert.deepEqual(all.shown, all.whole);
  assert.ok(all.refused_by.some((gate) => gate !== null) && all.refused_by.some((gate) => gate === null));
  assert.deepEqual(faults, []);
  await context.close();
});

// If this fails, whoever has no pointer, or no sight of the chart, can't read a value from it.
test("keys move along the charts, and each value is told", async () => {
  const { context, page, faults } = await openWindow(browser, shop);
  const told = (chart) => chart.getAttribute("aria-valuetext");
  await page.goto(`${job}/traces?plate=60`);
  await drawn(page);
  const band = page.getByRole("slider", { name: /Lambda against engine speed/ });
  await band.focus();
  for (const key of ["Home", "ArrowRight", "ArrowRight"]) await page.keyboard.press(key);
  assert.match(await told(band), /^2500 rpm: target 0\.\d{3}, leanest .*predicted 0\.\d{3}.*p4 read 0\.\d{3} to 0\.\d{3}/);
  assert.equal(await page.locator(".readout").innerText(), await told(band), "the sighted are told the same");
  assert.equal(await page.locator("#band-keys").isVisible(), true);
  await page.keyboard.press("PageUp");
  assert.match(await told(band), /^5500 rpm:/);
  await page.keyboard.press("End");
  assert.match(await told(band), /^10000 rpm:/);
  assert.deepEqual(await axeViolations(page), []);
  await page.keyboard.press("Tab");
  assert.equal((await page.locator(".readout").innerText()).trim(), "");

  await page.goto(`${job}/pulls/p3`);
  await drawn(page);
  const time = page.getByRole("slider", { name: /over time/ });
  await time.focus();
  await page.keyboard.press("Home");
  assert.match(await told(time), /^\d\.\d s: lambda .* plate /);
  const fate = async () => /accepted|refused: .*/.exec(await told(time))[0];
  const seen = [await fate()];
  for (let span = 0; span < 6; span += 1) {
    await page.keyboard.press("PageUp");
    seen.push(await fate());
  }
  for (let at = 1; at < seen.length; at += 1) assert.notEqual(seen[at], seen[at - 1], `${seen}`);
  const before = await time.getAttribute("aria-valuenow");
  const next = page.waitForResponse((answer) => answer.url().includes("/timeline?"));
  await page.keyboard.press("+");
  const closer = await (await next).json();
  assert.ok(closer.shown[1] - closer.shown[0] < 0.6 * (closer.whole[1] - closer.whole[0]));
  await page.waitForFunction((most) => Number(document.querySelector("[role=slider]").ariaValueMax) < most, closer.whole[1] - 1);
  assert.ok(Math.abs(Number(await time.getAttribute("aria-valuenow")) - Number(before)) < 2, "the place stays");
  assert.deepEqual(await axeViolations(page), []);
  assert.deepEqual(faults, []);
  await context.close();
});

// If this fails, the plan is not what the API plans, or its runs are not in the map.
test("the plan is the command line's plan", async () => {
  const { context, page } = await openWindow(browser, shop);
  await page.goto(`${job}/coverage?use=track&seconds=60`);
  const runs = await page.locator(".runs li span").allInnerTexts();
  const plan = JSON.parse(shop.run("--json", "plan", "plover-690", "--use", "track", "--seconds", "60"));
  assert.equal(runs.length, plan.runs?.length ?? plan.steps.length);
  assert.ok(runs.length > 0);
  assert.match(runs[0], /^(hold|sweep) \d+/);
  const numbers = (await page.locator(".plan td").allInnerTexts()).join(" ").split(/\s+/).filter(Boolean);
  for (let run = 1; run <= runs.length; run += 1) assert.ok(numbers.includes(String(run)), `run ${run} is in the map`);
  await context.close();
});

// If this fails, a reviewer is told another share of the change than the record holds.
test("what was realised is what the record says", async () => {
  const { context, page } = await openWindow(browser, shop);
  await page.goto(`${job}/pulls/p4`);
  const share = Number(/^(\d+) %/.exec(await page.locator("#realised ~ .headline .figure").innerText())[1]);
  assert.ok(share > 80 && share < 120, `${share} %`);
  assert.match(await page.locator("section", { has: page.locator("#realised") }).innerText(), /what was loaded: r1 above 99\.9 %/);
  await context.close();
});
