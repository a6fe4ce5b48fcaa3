// What an open page learns without being loaded again.
import assert from "node:assert/strict";
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { after, before, test } from "node:test";
import { axeViolations, demo, openBrowser, openDemoJob, openShop, openWindow } from "./shop.js";

let shop, browser, job;
before(async () => {
  shop = await openShop();
  browser = await openBrowser();
});
after(async () => {
  await browser?.close();
  await shop?.stop();
});

// If this fails, a reviewer looks at an inbox that is hours old.
test("the inbox fills and empties by itself, and keeps the focus", async () => {
  const { context, page, faults } = await openWindow(browser, shop);
  await page.goto("/");
  assert.match(await page.locator("main").innerText(), /Nothing waits/);
  job = openDemoJob(shop);
  const card = page.getByRole("link", { name: /off target.*Proposal c1/s });
  await card.waitFor({ timeout: 8000 });
  assert.match(await page.locator("#news").innerText(), /recorded just now/);
  await card.focus();
  shop.run("propose", "plover-690");
  await page.getByRole("link", { name: /Proposal c2/ }).waitFor({ timeout: 8000 });
  assert.match(await page.evaluate(() => document.activeElement.getAttribute("href")), /proposals\/c1$/);
  assert.deepEqual(await axeViolations(page), []);
  shop.run("reject", "plover-690/c2", "--reason", "asked twice");
  await page.getByRole("link", { name: /Proposal c2/ }).waitFor({ state: "detached", timeout: 8000 });
  assert.deepEqual(faults, []);
  await context.close();
});

// If this fails, a job's page does not show a pull that came in meanwhile.
test("a job's page grows by itself", async () => {
  const { context, page } = await openWindow(browser, shop);
  await page.goto(job);
  assert.equal(await page.getByRole("link", { name: /Pull p4/ }).count(), 0);
  const place = mkdtempSync(join(tmpdir(), "baytrim-live-"));
  const ride = readFileSync(join(demo, "pull-3-ride.csv"), "utf8").split("\n").slice(0, 3000).join("\n");
  writeFileSync(join(place, "part.csv"), ride);
  shop.run("pull", "submit", "plover-690", join(place, "part.csv"), "--bay", "west");
  rmSync(place, { recursive: true, force: true });
  await page.getByRole("link", { name: /Pull p4/ }).waitFor({ timeout: 8000 });
  await context.close();
});

// If this fails, somebody writes a verdict in vain, and does not learn who was first.
test("two windows: the second learns who was first before it asks", async () => {
  const one = await openWindow(browser, shop);
  const other = await openWindow(browser, shop);
  await one.page.goto(`${job}/proposals/c1`);
  await other.page.goto(`${job}/proposals/c1`);
  await other.page.getByLabel("Why (the record keeps it)").fill("not yet sure");
  await one.page.getByLabel("Why (the record keeps it)").fill("good");
  await one.page.locator("button.approve").click();
  const told = other.page.locator("#meanwhile");
  await told.waitFor({ state: "visible", timeout: 8000 });
  assert.match(await told.innerText(), /Meanwhile: Approved by R\. Quenby/);
  assert.equal(await other.page.locator("button.approve").isDisabled(), true);
  assert.equal(await other.page.getByLabel("Why (the record keeps it)").inputValue(), "not yet sure", "what was written stays");
  assert.deepEqual(await axeViolations(other.page), []);
  await other.page.getByRole("link", { name: "Look again" }).click();
  assert.match(await other.page.getByRole("status").innerText(), /Approved by R\. Quenby/);
  await one.context.close();
  await other.context.close();
});

// If this fails, an earlier table can't be put back from the page, or is put back over somebody else's.
test("an earlier revision is put back, unless the table has moved on", async () => {
  const { context, page, faults } = await openWindow(browser, shop);
  const late = await openWindow(browser, shop);
  for (const window of [page, late.page]) {
    await window.goto(`${job}/revisions/r0`);
    await window.getByLabel("Why (the record keeps it)").fill("the customer came back");
  }
  await page.getByRole("button", { name: "Put r0 back" }).click();
  await page.waitForURL(/revisions\/r2$/);
  assert.match(await page.locator("h1").innerText(), /Revision r2, in force/);
  const table = (revision) => JSON.parse(shop.run("--json", "table", "show", "plover-690", "--revision", revision));
  assert.deepEqual(table("r2").values, table("r0").values);
  await late.page.getByRole("button", { name: "Put r0 back" }).click();
  assert.match(await late.page.getByRole("alert").innerText(), /Nothing was recorded.*is r2 by now, from R\. Quenby/s);
  assert.deepEqual(faults, []);
  await context.close();
  await late.context.close();
});
