// Whether the largest usual table is still quick to look at.
import assert from "node:assert/strict";
import { after, before, test } from "node:test";
import { openLargeJob } from "./large.js";
import { axeViolations, openBrowser, openShop, openWindow, sizes } from "./shop.js";

let shop, browser, proposal;
before(async () => {
  shop = await openShop();
  browser = await openBrowser();
  proposal = openLargeJob(shop);
});
after(async () => {
  await browser?.close();
  await shop?.stop();
});

// If this fails, a tablet waits: the limits are 200 kB and one second with 40 x 40 nodes, all it fetches counted.
test("40 x 40 nodes come in under 200 kB and a second", async (context) => {
  const { page, context: window, faults } = await openWindow(browser, shop, { viewport: sizes.tablet });
  const fetched = [];
  page.on("requestfinished", (request) => fetched.push(request.sizes()));
  await page.goto(proposal, { waitUntil: "load" });
  const loaded = await page.evaluate(() => performance.getEntriesByType("navigation")[0].loadEventEnd);
  await page.waitForLoadState("networkidle");
  const bytes = (await Promise.all(fetched)).reduce((sum, sizes) => sum + sizes.responseBodySize, 0);
  context.diagnostic(`${bytes} bytes, ${loaded.toFixed(0)} ms`);
  assert.equal(await page.locator(".grid tbody td").count(), 1600);
  assert.ok(bytes > 20_000 && bytes < 200_000, `${bytes} bytes`);
  assert.ok(loaded < 1000, `${loaded} ms`);
  assert.deepEqual(faults, []);
  await window.close();
});

// If this fails, the heads of a large table scroll away, and nobody knows which node a number belongs to.
test("heads stay while a large table scrolls", async () => {
  const { page, context } = await openWindow(browser, shop, { viewport: sizes.tablet });
  await page.goto(`${proposal}?node=9000:90#at`);
  const seen = await page.evaluate(() => {
    const frame = document.querySelector(".scroll").getBoundingClientRect();
    const column = [...document.querySelectorAll("thead th")].find((head) => head.innerText.trim() === "9000").getBoundingClientRect();
    const row = [...document.querySelectorAll("tbody th")].find((head) => head.innerText.trim() === "90").getBoundingClientRect();
    const cell = document.querySelector("#at").getBoundingClientRect();
    return {
      scrolled: document.querySelector(".scroll").scrollLeft > 0,
      column: Math.abs(column.left + column.width / 2 - cell.left - cell.width / 2) < 2 && column.top >= frame.top - 1,
      row: row.left >= frame.left - 1 && Math.abs(row.top + row.height / 2 - cell.top - cell.height / 2) < 2,
    };
  });
  assert.deepEqual(seen, { scrolled: true, column: true, row: true });
  assert.deepEqual(await axeViolations(page), []);
  await context.close();
});
