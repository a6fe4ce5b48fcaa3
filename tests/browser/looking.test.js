// Everything that only looks: every page at every size, in both schemes.
import assert from "node:assert/strict";
import { after, before, test } from "node:test";
import { axeViolations, openBrowser, openDemoJob, openShop, openWindow, sizes } from "./shop.js";

let shop, browser, job;
before(async () => {
  shop = await openShop();
  browser = await openBrowser();
  job = openDemoJob(shop);
});
after(async () => {
  await browser?.close();
  await shop?.stop();
});

const paths = () => [
  "/",
  job,
  `${job}/proposals/c1`,
  `${job}/proposals/c1?node=5500:60#at`,
  ...["before", "after", "sure", "choose"].map((reading) => `${job}/proposals/c1/${reading}`),
  `${job}/pulls/p3`,
  `${job}/revisions/r0`,
  `${job}/compare?from=r0&to=r0`,
  `${job}/stages`,
  "/shop",
  "/no/such/page",
];

// If this fails, somebody can't read or reach something: the rules are those of WCAG 2.2 AA as axe checks them.
for (const scheme of ["light", "dark"]) {
  for (const [name, viewport] of Object.entries(sizes)) {
    test(`no barriers, no errors, nothing wider than the screen: ${name}, ${scheme}`, async () => {
      const { context, page, faults } = await openWindow(browser, shop, { viewport, colorScheme: scheme });
      const barriers = [];
      for (const path of paths()) {
        await page.goto(path);
        barriers.push(...(await axeViolations(page)).map((barrier) => `${path}: ${barrier}`));
        // A path that is none says the same to everybody, signed in or not.
        const isTold = (await page.locator("header .you").count()) === 1 || path === "/no/such/page";
        if (!isTold) barriers.push(`${path}: does not say who is signed in`);
        const beyond = await page.evaluate(() => document.documentElement.scrollWidth - innerWidth);
        if (beyond > 0) barriers.push(`${path}: ${beyond} px wider than the screen`);
      }
      assert.deepEqual(barriers, []);
      assert.deepEqual(faults, []);
      await context.close();
    });
  }
}

// If this fails, a finger in a glove misses: what is touched is smaller than 44 px one way or the other.
test("cells, tabs and buttons are large enough for a finger", async () => {
  const { context, page } = await openWindow(browser, shop, { viewport: sizes.tablet, hasTouch: true });
  for (const path of [`${job}/proposals/c1?node=5500:60`, `${job}/proposals/c1/choose`]) {
    await page.goto(path);
    const small = await page.evaluate(() =>
      [...document.querySelectorAll(".grid td > a, .grid td > label, .grid th button, .tabs > *, button:not([hidden]), .node-head a")]
        .map((target) => ({ html: target.outerHTML.slice(0, 80), box: target.getBoundingClientRect() }))
        .filter(({ box }) => box.width < 44 || box.height < 44)
        .map(({ html, box }) => `${box.width} x ${box.height}: ${html}`));
    assert.deepEqual(small, [], path);
  }
  await context.close();
});

// If this fails, the node that a reviewer touched is not the one whose details are shown.
test("a touched cell shows why, and arrows lead on", async () => {
  const { context, page, faults } = await openWindow(browser, shop, { viewport: sizes.tablet, hasTouch: true });
  await page.goto(`${job}/proposals/c1`);
  const row = page.locator("tbody tr", { has: page.locator("th", { hasText: /^60$/ }) });
  await row.locator("td").nth(7).tap();
  await page.waitForURL(/node=5500:60/);
  assert.match(await page.locator("aside h2").innerText(), /5500 rpm, plate 60 %/);
  await page.getByRole("link", { name: "higher rpm" }).click();
  assert.match(await page.locator("aside h2").innerText(), /6250 rpm, plate 60 %/);
  await page.getByRole("link", { name: "How sure" }).click();
  assert.match(await page.locator("aside h2").innerText(), /6250 rpm/, "the node stays when the reading changes");
  assert.deepEqual(faults, []);
  await context.close();
});

// If this fails, the page lets in what it should keep out.
test("the policy is strict and an injected script does not run", async () => {
  const { context, page } = await openWindow(browser, shop);
  const answer = await page.goto(`${job}/proposals/c1`);
  const policy = answer.headers()["content-security-policy"];
  for (const part of ["default-src 'none'", "script-src 'self'", "style-src 'self'", "frame-ancestors 'none'", "base-uri 'none'", "form-action 'self'"]) {
    assert.ok(policy.includes(part), part);
  }
  assert.ok(!policy.includes("unsafe"));
  await page.evaluate(() => {
    const script = document.createElement("script");
    script.textContent = "globalThis.ran = true";
    document.body.append(script);
  });
  assert.equal(await page.evaluate(() => globalThis.ran), undefined);
  await context.close();
});

// If this fails, the sheet that goes into the file shows forms instead of numbers, or runs over many pages.
test("a proposal prints on at most four sheets of A4, without its forms", async () => {
  const { context, page } = await openWindow(browser, shop);
  await page.goto(`${job}/proposals/c1`);
  await page.emulateMedia({ media: "print" });
  assert.equal(await page.locator(".buttons:visible").count(), 0);
  assert.equal(await page.locator(".tabs").isVisible(), false);
  assert.equal(await page.locator(".cautions").first().isVisible(), true);
  const pdf = (await page.pdf({ format: "A4", landscape: true })).toString("latin1");
  const sheets = pdf.match(/\/Type\s*\/Page\b/g).length;
  assert.ok(sheets <= 4, `${sheets} sheets`);
  await context.close();
});

// If this fails, a reader who loses the way is not told where to go.
test("a page that there isn't says where to go", async () => {
  const { context, page } = await openWindow(browser, shop);
  for (const path of ["/no/such/page", "/jobs/no-such-job", `${job}/proposals/c99`, `${job}/pulls/x`, `${job}/proposals/c1/sideways`]) {
    const answer = await page.goto(path);
    assert.equal(answer.status(), 404, path);
    await page.getByRole("link", { name: "To the inbox" }).click();
    assert.equal(new URL(page.url()).pathname, "/");
  }
  await context.close();
});
