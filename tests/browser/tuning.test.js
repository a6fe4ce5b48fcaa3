// Power, grip, library and shop with what a shop has after a job: two stages on the roller, a hand, a vehicle of one kind.
import assert from "node:assert/strict";
import { after, before, test } from "node:test";
import { onEverySize, openBrowser, openDemoJob, openShop, openWindow, playEarlierJob, sizes } from "./shop.js";

let shop, browser, job, earlier;
before(async () => {
  shop = await openShop();
  browser = await openBrowser();
  earlier = playEarlierJob(shop);
  job = openDemoJob(shop);
});
after(async () => {
  await browser?.close();
  await shop?.stop();
});

const drawn = (page) => page.waitForFunction(() => document.querySelector(".chart canvas") && !document.querySelector("[data-waits]"));

// If this fails, power before and after can't be read at the bay, or a gain is shown without what it rests on.
test("power of two stages stands side by side", async () => {
  await onEverySize(browser, shop, `${earlier}/power`, "power", async (page) => {
    await drawn(page);
    assert.match(await page.locator(".headline").innerText(), /^\+3\.\d %[\s\S]*stage s2 with r2 has \+3\.\d %.*more power/);
    const keys = await page.locator("ul.chart-key li").allInnerTexts();
    assert.equal(keys.length, 4, keys.join());
    assert.match(keys.join(), /stage s1, r0 loaded[\s\S]*stage s2, r2 loaded/);
    assert.match(await page.locator("section[aria-labelledby=peaks]").innerText(), /59\.9 kW/);
  });
});

// If this fails, a choice of pulls or of standard air is lost, or power is shown at another air than was asked for.
test("pulls and standard air are chosen", async () => {
  const { context, page, faults } = await openWindow(browser, shop, { viewport: sizes.tablet });
  await page.goto(`${earlier}/power`);
  await page.locator("select[name=standard]").selectOption("din_70020");
  await page.getByLabel(/^p4 /).uncheck();
  await page.getByRole("button", { name: "Show" }).click();
  await drawn(page);
  assert.match(await page.locator("h2#curves").innerText(), /DIN 70020/);
  assert.equal(await page.locator("ul.chart-key li").count(), 3);
  assert.equal(await page.getByLabel(/^p4 /).isChecked(), false);
  assert.deepEqual(faults, []);
  await context.close();
});

// If this fails, a plate that moves by itself or opens suddenly is not seen where the table is looked at.
test("grip and plate say what the hand does", async () => {
  await onEverySize(browser, shop, `${earlier}/grip`, "grip", async (page) => {
    const said = await page.locator("section.mode").innerText();
    assert.match(said, /shuts by itself as engine speed rises/);
    assert.match(said, /from 20 to 30 % of grip/);
    assert.equal(await page.locator("svg.grip-plot").count(), 2);
  });
});

// If this fails, a grip can't be commented on by itself, or nobody sees at the row that somebody did.
test("a grip table is talked about grip by grip", async () => {
  const path = `${earlier}/proposals/c2`;
  const { context, page, faults } = await openWindow(browser, shop, { viewport: sizes.tablet });
  await page.goto(path);
  await page.locator("select[name=node]").selectOption({ label: "30 % of grip" });
  await page.getByRole("textbox", { name: /^Comment/ }).fill("felt abrupt here");
  await page.getByRole("button", { name: "Add the comment" }).click();
  await page.locator("#talk").waitFor();
  assert.match(await page.locator(".said").innerText(), /on 30 % of grip/);
  assert.match(await page.locator("#grip-30").innerText(), /1 comment/);
  assert.deepEqual(faults, []);
  await context.close();
  await onEverySize(browser, shop, path, "grip-table", async (page) => {
    assert.match(await page.locator("h1").innerText(), /riding mode street/);
  });
});

// If this fails, a tuner does not see that the shop has tuned one like it, or can't start from it.
test("the library shows the nearest vehicle, and a starting table comes of it", async () => {
  await onEverySize(browser, shop, `${job}/library`, "library", async (page) => {
    assert.match(await page.locator("section[aria-labelledby=near]").innerText(), /Plover 690 of the spring, the same kind and parts/);
    assert.equal(await page.locator("section[aria-labelledby=start] table.grid").count(), 1);
  });
  const { context, page, faults } = await openWindow(browser, shop, { viewport: sizes.tablet, token: shop.tunerToken });
  await page.goto(`${job}/library`);
  await page.getByRole("button", { name: "Propose a starting table from those chosen" }).click();
  await page.waitForURL(`**${job}/proposals/c2`);
  assert.match(await page.locator("main").innerText(), /it only adds fuel/);
  assert.deepEqual(faults, []);
  await context.close();
});

// If this fails, what stands where in the shop is not seen from across the room.
test("the shop shows its jobs by bay", async () => {
  await onEverySize(browser, shop, "/shop", "shop", async (page) => {
    assert.match(await page.locator("p.lead").innerText(), /^2 to review/);
    assert.equal(await page.locator("#live-shop tbody tr").count(), 2);
  });
});

// If this fails, what was done to the overrun or the air can't be put on record at the bay.
test("a stage says what changed of overrun and secondary air", async () => {
  const { context, page, faults } = await openWindow(browser, shop, { viewport: sizes.phone, token: shop.tunerToken });
  await page.goto(`${earlier}/stages`);
  await page.getByText("Overrun and secondary air, where they change").click();
  assert.match(await page.locator("details.vehicle").innerText(), /By now the record says: fuel cut on the overrun\./);
  await page.getByLabel("What it is").selectOption("other");
  await page.getByLabel("Fuel on the overrun").selectOption("above_rpm");
  await page.getByLabel("Secondary air").selectOption("blocked");
  await page.getByLabel(/What people call it/).fill("after the second visit");
  await page.getByRole("button", { name: "Begin the stage" }).click();
  // Refused, and nothing of what was typed is lost.
  await page.getByText("Nothing was recorded.").waitFor();
  assert.equal(await page.getByLabel("Fuel on the overrun").inputValue(), "above_rpm");
  assert.equal(await page.getByLabel(/What people call it/).inputValue(), "after the second visit");
  await page.getByLabel(/Above which engine speed/).fill("4500");
  await page.getByRole("button", { name: "Begin the stage" }).click();
  await page.waitForURL(`**${earlier}/stages`);
  const row = page.locator("#live-stages tbody tr").first();
  assert.match(await row.innerText(), /fuel cut on the overrun above 4500 rpm only; secondary air blanked off/);
  assert.deepEqual(faults, []);
  await context.close();
});
