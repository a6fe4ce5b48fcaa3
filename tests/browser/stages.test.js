// Stages: begun at the tablet, pulled in, compared; the job closed and taken up again.
import assert from "node:assert/strict";
import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { after, before, test } from "node:test";
import { writeLater } from "./after.js";
import { axeViolations, openBrowser, openDemoJob, openShop, openWindow, sizes } from "./shop.js";

let shop, browser, job, place;
before(async () => {
  place = mkdtempSync(join(tmpdir(), "baytrim-stages-"));
  shop = await openShop();
  browser = await openBrowser();
  job = openDemoJob(shop);
});
after(async () => {
  await browser?.close();
  await shop?.stop();
  rmSync(place, { recursive: true, force: true });
});

/** Opens a page as the tuner, who may begin stages. */
const asTuner = (viewport) => openWindow(browser, shop, { viewport, token: shop.tunerToken });

// If this fails, a tuner at the bay can't say that the vehicle is in another state, or the page says another.
test("a stage is begun at the tablet, and pulls belong to it", async () => {
  const { context, page, faults } = await asTuner(sizes.tablet);
  await page.goto(`${job}/stages`);
  await page.getByLabel("What it is").selectOption("tuned");
  await page.getByLabel(/Which parts/).fill("first corrections");
  await page.getByRole("button", { name: "Begin the stage" }).click();
  await page.waitForURL(`**${job}/stages`);
  await assert.doesNotReject(page.getByText("first corrections").waitFor());
  shop.review("approve", "plover-690/c1", "--reason", "right on the holds");
  for (const name of ["pull-1-holds.csv", "pull-2-sweeps.csv", "pull-3-ride.csv"]) {
    writeLater(shop, name, "r1", join(place, name));
    shop.run("pull", "submit", "plover-690", join(place, name), "--bay", "east");
  }
  await page.reload();
  const row = page.locator("#live-stages tbody tr").first();
  assert.match(await row.innerText(), /s2 now[\s\S]*p4 p5 p6/);
  assert.deepEqual(faults, []);
  await context.close();
});

// If this fails, before and after are not seen side by side, or noise looks like a gain.
test("two stages are compared, with what is inside the noise", async () => {
  for (const viewport of [sizes.desktop, sizes.tablet, sizes.phone]) {
    const { context, page, faults } = await openWindow(browser, shop, { viewport });
    await page.goto(`${job}/stages?from=s1&to=s2`);
    assert.match(await page.locator("p.lead").innerText(), /Lambda was [\d.]+ % off target as it came and [\d.]+ % tuned: that is more than repeated pulls differ by/);
    assert.equal(await page.locator("table.grid").count(), 3);
    assert.ok((await page.locator("table.grid td small").count()) > 20);
    assert.deepEqual(await axeViolations(page), []);
    const beyond = await page.evaluate(() => document.documentElement.scrollWidth - innerWidth);
    assert.ok(beyond <= 0, `${beyond} px wider than the screen`);
    // A reviewer begins no stage: a form that would be refused is not shown.
    assert.equal(await page.getByRole("button", { name: "Begin the stage" }).count(), 0);
    assert.deepEqual(faults, []);
    if (process.env.SHOTS) await page.screenshot({ path: join(process.env.SHOTS, `stages-${viewport.width}.png`), fullPage: true });
    await context.close();
  }
});

// If this fails, a finished job can't be told from one in work, or its closing is not explained when it is refused.
test("a job is closed with a reason, and taken up again", async () => {
  const { context, page, faults } = await asTuner(sizes.tablet);
  await page.goto(`${job}/stages`);
  await page.locator("#end").scrollIntoViewIfNeeded();
  await page.locator("section[aria-labelledby=end] textarea").fill("handed over with r1");
  await page.getByRole("button", { name: "Close the job" }).click();
  await page.getByRole("button", { name: "Take the job up again" }).waitFor();
  assert.match(await page.locator("section[aria-labelledby=end]").innerText(), /M\. Ottoway closed it: handed over with r1/);
  await page.locator("section[aria-labelledby=end] textarea").fill("surges at 3000");
  await page.getByRole("button", { name: "Take the job up again" }).click();
  await page.getByRole("button", { name: "Close the job" }).waitFor();
  assert.deepEqual(faults, []);
  await context.close();
});
