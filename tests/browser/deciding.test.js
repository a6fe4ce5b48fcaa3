// Everything that decides: choosing, approving, rejecting, and what is refused.
import assert from "node:assert/strict";
import { after, afterEach, before, beforeEach, test } from "node:test";
import { axeViolations, openBrowser, openDemoJob, openShop, openWindow } from "./shop.js";

let browser, shop, job, proposal;
before(async () => {
  browser = await openBrowser();
});
after(async () => {
  await browser?.close();
});
beforeEach(async () => {
  shop = await openShop();
  job = openDemoJob(shop);
  proposal = `${job}/proposals/c1`;
});
afterEach(async () => {
  await shop?.stop();
});

const recorded = (name = "c1") => JSON.parse(shop.run("--json", "proposal", "show", `plover-690/${name}`));

const table = (revision) => JSON.parse(shop.run("--json", "table", "show", "plover-690", "--revision", revision));

async function sign(page, reason = "looked right on the holds") {
  await page.getByLabel("Why (the record keeps it)").fill(reason);
}

// If this fails, a reviewer can't do the main job: find what waits, look, approve, and see what came of it.
test("from the inbox to a new revision", async () => {
  const { context, page, faults } = await openWindow(browser, shop);
  await page.goto("/");
  await page.getByRole("link", { name: /off target.*Proposal c1/s }).click();
  await sign(page);
  const words = await page.locator("button.approve").innerText();
  await page.locator("button.approve").click();
  await page.waitForURL((url) => url.pathname === proposal);
  const outcome = await page.getByRole("status").innerText();
  assert.match(outcome, /Approved by R\. Quenby/);
  const count = Number(/(\d+) change/.exec(words)[1]);
  assert.ok(outcome.includes(`${count} changes of`), outcome);
  assert.match(outcome, /looked right on the holds/);
  assert.deepEqual(await axeViolations(page), [], "the decided page has no barriers either");
  const verdict = recorded();
  assert.equal(verdict.state, "approved");
  assert.equal(verdict.verdict.reviewer, "R. Quenby");
  assert.equal(verdict.verdict.approved_node_count, count);
  await page.getByRole("link", { name: "See what changed" }).click();
  assert.match(await page.locator("p.lead").innerText(), /More fuel at \d+ nodes/);
  await page.goto("/");
  assert.match(await page.locator("main").innerText(), /Nothing waits/);
  assert.deepEqual(faults, []);
  await context.close();
});

// If this fails, what is recorded is not what was chosen by row, column, rule or touch.
for (const javaScriptEnabled of [true, false]) {
  test(`nodes are chosen one by one, by line and by rule, scripts ${javaScriptEnabled ? "on" : "off"}`, async () => {
    const { context, page, faults } = await openWindow(browser, shop, { javaScriptEnabled });
    await page.goto(`${proposal}/choose`);
    const ticked = () => page.locator("input[name=n]:checked").count();
    const becomes = async (holds, what) => {
      for (let look = 0; look < 100 && !holds(await ticked()); look += 1) await page.waitForTimeout(50);
      const count = await ticked();
      assert.ok(holds(count), `${what}: ${count}`);
      return count;
    };
    const all = await page.locator("input[name=n]").count();
    const press = (name) => page.getByRole("button", { name }).click();
    await press(/^None/);
    await becomes((count) => count === 0, "none");
    await press(/^All \(/);
    await becomes((count) => count === all, "all");
    await press(/^None/);
    await becomes((count) => count === 0, "none again");
    await press("plate 60 %: take or leave all");
    const row = await becomes((count) => count > 0 && count < all, "a row");
    await press("5500 rpm: take or leave all");
    await becomes((count) => count > row, "a row and a column");
    await press(/^None/);
    await becomes((count) => count === 0, "none at last");
    const box = page.locator("input[name=n]").first();
    const node = Number(await box.getAttribute("value"));
    await page.locator("td > label").first().click();
    await becomes((count) => count === 1, "one");
    await page.getByRole("button", { name: "After" }).click();
    await page.waitForURL(/\/after\/[0-9a-f]+$/);
    await page.getByRole("link", { name: "Choose nodes" }).first().click();
    await becomes((count) => count === 1, "the choice survives a look at the result");
    await sign(page, "only the first");
    await page.locator("button.approve").click();
    await page.getByRole("status").waitFor();
    const after = recorded();
    assert.equal(after.verdict.approved_node_count, 1);
    const [from, to] = ["r0", "r1"].map((revision) => table(revision).values.flat());
    const changed = from.map((value, index) => (value === to[index] ? -1 : index)).filter((index) => index >= 0);
    assert.deepEqual(changed, [node], "that node and no other has a new value");
    assert.deepEqual(faults, []);
    await context.close();
  });
}

// If this fails, a mouse can't paint over cells, or a plain click chooses twice.
test("a mouse leaves out several nodes in one stroke", async () => {
  const { context, page } = await openWindow(browser, shop);
  await page.goto(`${proposal}/choose`);
  await page.getByRole("button", { name: /^All \(/ }).click();
  const all = await page.locator("input[name=n]:checked").count();
  const row = page.locator("tbody tr", { has: page.getByRole("button", { name: "plate 60 %: take or leave all" }) });
  await row.scrollIntoViewIfNeeded();
  const cells = await row.locator("td > label").all();
  const middle = async (cell) => {
    const box = await cell.boundingBox();
    return [box.x + box.width / 2, box.y + box.height / 2];
  };
  await page.mouse.move(...(await middle(cells[1])));
  await page.mouse.down();
  await page.mouse.move(...(await middle(cells[2])));
  await page.mouse.move(...(await middle(cells[3])));
  await page.mouse.up();
  assert.equal(await page.locator("input[name=n]:checked").count(), all - 3);
  assert.match(await page.locator("button.approve").innerText(), new RegExp(`${all - 3} changes`));
  await cells[1].click();
  assert.equal(await page.locator("input[name=n]:checked").count(), all - 2);
  await context.close();
});

// If this fails, a reviewer who has unticked everything approves everything.
test("an empty choice is refused in words, and nothing is recorded", async () => {
  const { context, page } = await openWindow(browser, shop, { javaScriptEnabled: false });
  await page.goto(`${proposal}/choose`);
  await page.getByRole("button", { name: /^None/ }).click();
  await sign(page);
  await page.locator("button.approve").click();
  assert.match(await page.getByRole("alert").innerText(), /Nothing was recorded.*no change is chosen/s);
  assert.equal(recorded().state, "open");
  await context.close();
});

// If this fails, the second of two windows overwrites the verdict of the first, or is not told what happened.
test("two windows: the second is told who was first", async () => {
  const one = await openWindow(browser, shop);
  const other = await openWindow(browser, shop);
  await one.page.goto(proposal);
  await other.page.goto(proposal);
  await sign(one.page);
  await one.page.locator("button.approve").click();
  await one.page.getByRole("status").waitFor();
  await other.page.getByLabel("Why (the record keeps it)").fill("not convinced");
  await other.page.locator("button.reject").click();
  await other.page.getByText("Nothing was recorded").waitFor();
  const text = await other.page.locator("main").innerText();
  assert.match(text, /Approved by R\. Quenby/);
  assert.match(text, /Nothing was recorded.*approved by R\. Quenby already/s);
  assert.equal(recorded().verdict.reviewer, "R. Quenby");
  await one.context.close();
  await other.context.close();
});

// If this fails, a proposal against a table that has moved on is approved, or its reviewer is left without a way on.
test("a stale proposal says so, with the command that helps", async () => {
  shop.run("propose", "plover-690");
  const { context, page } = await openWindow(browser, shop);
  await page.goto(`${job}/proposals/c2`);
  shop.review("approve", "plover-690/c1", "--reason", "first");
  await sign(page);
  await page.locator("button.approve").click();
  await page.getByText("Nothing was recorded").waitFor();
  const text = await page.locator("main").innerText();
  assert.match(text, /Nothing was recorded.*stale.*baytrim propose plover-690/s);
  assert.equal(recorded("c2").state, "stale");
  assert.deepEqual(await axeViolations(page), [], "a refusal has no barriers either");
  assert.equal(await page.locator("button.approve").count(), 0, "only putting it aside is offered now");
  await sign(page, "overtaken");
  await page.locator("button.reject").click();
  await page.waitForURL((url) => url.pathname === `${job}/proposals/c2`);
  assert.match(await page.getByRole("status").innerText(), /Rejected by R\. Quenby/);
  await context.close();
});

// If this fails, whoever can't use a pointer can't review.
test("keyboard only: to a node, its reasons, and a verdict", async () => {
  const { context, page, faults } = await openWindow(browser, shop);
  await page.goto(proposal);
  const focused = () => page.evaluate(() => document.activeElement.closest("td, th")?.cellIndex ?? document.activeElement.name ?? "");
  await page.locator("table.grid tbody a").first().focus();
  await page.keyboard.press("ArrowDown");
  await page.keyboard.press("ArrowRight");
  assert.equal(await focused(), 2);
  await page.keyboard.press("Enter");
  await page.waitForURL(/node=2000:2/);
  assert.equal(await focused(), 2, "the focus stays on the cell");
  assert.match(await page.locator("aside h2").innerText(), /2000 rpm, plate 2 %/);
  for (let step = 0; step < 30 && (await focused()) !== "reason"; step += 1) await page.keyboard.press("Tab");
  await page.keyboard.type("by keys");
  await page.keyboard.press("Tab");
  await page.keyboard.press("Enter");
  await page.getByRole("status").waitFor();
  assert.equal(recorded().verdict.reason, "by keys");
  assert.deepEqual(faults, []);
  await context.close();
});

// If this fails, a half-written reason is lost by a look at a node, or comes back with the next proposal.
test("a draft survives a look around and ends with the verdict", async () => {
  const { context, page } = await openWindow(browser, shop);
  await page.goto(proposal);
  await sign(page, "half a thought");
  await page.locator("table.grid tbody a").nth(40).click();
  await page.waitForURL(/node=/);
  assert.equal(await page.getByLabel("Why (the record keeps it)").inputValue(), "half a thought");
  await page.locator("button.reject").click();
  await page.getByRole("status").waitFor();
  shop.run("propose", "plover-690");
  await page.goto(`${job}/proposals/c2`);
  assert.equal(await page.getByLabel("Why (the record keeps it)").inputValue(), "");
  await context.close();
});

// If this fails, a form on another site gives a verdict through a reviewer's browser.
test("a form of another site is refused", async () => {
  const body = new URLSearchParams({ etag: recorded().etag, reason: "forged", take: "f".repeat(42) });
  const send = (headers) => post({ cookie: shop.cookie, ...headers });
  const post = (headers) => fetch(`${shop.url}${proposal}/approve`, { method: "POST", body, headers, redirect: "manual" });
  for (const headers of [{ origin: "http://elsewhere.example" }, { origin: "null" }, {}, { origin: shop.url, "sec-fetch-site": "cross-site" }]) {
    assert.equal((await send(headers)).status, 403, JSON.stringify(headers));
  }
  assert.equal(recorded().state, "open");
  assert.equal((await post({ origin: shop.url })).status, 401, "nobody decides without signing in");
  assert.equal((await send({ origin: shop.url })).status, 303, "the page's own form is taken");
  assert.equal(recorded().verdict.reviewer, "R. Quenby");
});

// If this fails, a reviewer can't take less than proposed, sees another result than is recorded, or half a number counts as all.
for (const javaScriptEnabled of [true, false]) {
  test(`a reviewer takes part of each change, scripts ${javaScriptEnabled ? "on" : "off"}`, async () => {
    const { context, page, faults } = await openWindow(browser, shop, { javaScriptEnabled });
    await page.goto(proposal);
    const share = page.getByLabel("How much of each change, percent");
    await share.fill("50");
    await page.getByRole("button", { name: "Show the result" }).click();
    await page.waitForURL(/\/after\/[0-9a-f]+-50$/);
    assert.equal(await share.inputValue(), "50");
    assert.match(await page.locator("button.approve").innerText(), /50 % of each/);
    const shown = await page.locator(".grid tbody td small").allInnerTexts();
    await sign(page, "half of it first");
    await page.locator("button.approve").click();
    assert.match(await page.getByRole("status").innerText(), /less than proposed/);
    const [from, to] = ["r0", "r1"].map((revision) => table(revision).values.flat());
    const { nodes } = recorded();
    const half = to.map((value, node) => (value - from[node]) / (nodes[node].after - from[node])).filter(Number.isFinite);
    assert.ok(half.length > 0 && half.every((part) => part <= 0.5 + 1e-9), `${half}`);
    assert.ok(half.some((part) => part > 0.3), `${half}`);
    assert.deepEqual(shown.map(Number), to, "the record holds what was shown");
    assert.deepEqual(faults, []);
    await context.close();
  });
}

// If this fails, one node can't be taken in part, or the record holds another table than was shown.
for (const javaScriptEnabled of [true, false]) {
  test(`one node is taken in part, another left out, scripts ${javaScriptEnabled ? "on" : "off"}`, async () => {
    const { context, page, faults } = await openWindow(browser, shop, { javaScriptEnabled });
    await page.goto(`${proposal}?node=5500:60#at`);
    const field = page.getByLabel("How much of this change, percent");
    await field.fill("40");
    if (javaScriptEnabled) await field.press("Enter");
    else await page.getByRole("button", { name: "Take this much" }).click();
    await page.waitForURL(/change\/[0-9a-f]+_\d+\.40\?node=5500:60#at$/);
    assert.match(await page.locator("aside").innerText(), /Part of it is taken/);
    assert.match(await page.locator("button.approve").innerText(), /1 by a share of its own/);
    if (javaScriptEnabled) assert.deepEqual(await axeViolations(page), []);
    await page.getByRole("link", { name: "higher rpm" }).click();
    await page.waitForURL(/_\d+\.40\?node=6250:60/);
    await page.getByRole("button", { name: "Leave it out" }).click();
    await page.getByText(/^Left out: lambda then/).waitFor();
    await field.fill("0");
    await page.getByRole("button", { name: "Take it" }).click();
    assert.match(await page.getByRole("alert").filter({ hasText: "Nothing was recorded" }).innerText(), /"0" is no share of a change/);
    await page.getByRole("link", { name: "After" }).click();
    const shown = await page.locator(".grid tbody td small").allInnerTexts();
    await sign(page, "careful there");
    await page.locator("button.approve").click();
    assert.match(await page.getByRole("status").innerText(), /of 1 less than proposed/);
    const [from, to] = ["r0", "r1"].map((revision) => table(revision).values.flat());
    assert.deepEqual(shown.map(Number), to, "the record holds what was shown");
    const { nodes } = recorded();
    const at = (rpm) => nodes.findIndex((node) => node.rpm === rpm && node.plate_percent === 60);
    const part = (to[at(5500)] - from[at(5500)]) / (nodes[at(5500)].after - from[at(5500)]);
    assert.ok(part > 0.2 && part <= 0.4 + 1e-9, `${part}`);
    assert.equal(to[at(6250)], from[at(6250)], "left out");
    assert.deepEqual(faults, []);
    await context.close();
  });
}

// If this fails, a share that is none is taken for another one.
test("a share that is none is refused in words", async () => {
  const { context, page } = await openWindow(browser, shop);
  const take = "f".repeat(Math.ceil(recorded().nodes.length / 4));
  const body = new URLSearchParams({ etag: recorded().etag, reason: "all?", take, share: "1e2" });
  const headers = { cookie: shop.cookie, origin: shop.url };
  const answer = await fetch(`${shop.url}${proposal}/approve`, { method: "POST", body, headers, redirect: "manual" });
  assert.equal(answer.status, 422);
  assert.match(await answer.text(), /Nothing was recorded.*no share of a change/s);
  assert.equal(recorded().state, "open");
  await page.goto(proposal);
  await context.close();
});

// If this fails, nothing can be said about a proposal or a node, or saying it loses the choice or the reason.
test("comments on a node and on the whole proposal", async () => {
  const { context, page, faults } = await openWindow(browser, shop);
  const other = await openWindow(browser, shop);
  await other.page.goto(proposal);
  await page.goto(`${proposal}/choose`);
  await page.getByRole("button", { name: /^All \(/ }).click();
  const all = await page.locator("input[name=n]:checked").count();
  await page.locator("td > label").first().click();
  await sign(page, "not lost");
  const text = page.getByLabel("Comment (all who work here can read it)");
  await text.fill("<b>hot</b> by the end of the pull");
  await page.getByRole("button", { name: "Add the comment" }).click();
  await page.locator("#live-talk blockquote").waitFor();
  assert.equal(await page.locator("#live-talk blockquote").innerText(), "<b>hot</b> by the end of the pull");
  assert.equal(await page.locator("input[name=n]:checked").count(), all - 1, "the choice stays");
  assert.equal(await page.getByLabel("Why (the record keeps it)").inputValue(), "not lost");
  assert.equal(await text.inputValue(), "", "what was sent is gone");
  await page.goto(`${proposal}?node=5500:60#at`);
  await text.fill("hold this one longer");
  await page.getByRole("button", { name: "Add the comment" }).click();
  await page.waitForURL(/node=5500:60#talk/);
  assert.match(await page.locator("aside").innerText(), /Said about it.*hold this one longer/s);
  assert.match(await page.locator("#live-talk").innerText(), /R\. Quenby.*on 5500 rpm, plate 60 %/s);
  assert.deepEqual(await axeViolations(page), []);
  await other.page.getByText("hold this one longer").waitFor({ timeout: 8000 });
  await page.getByRole("button", { name: "Add the comment" }).click();
  assert.match(await page.getByRole("alert").filter({ hasText: "Nothing was recorded" }).innerText(), /text.*0 bytes/s);
  const said = recorded().comments;
  assert.deepEqual(said.map((comment) => comment.text), ["<b>hot</b> by the end of the pull", "hold this one longer"]);
  assert.deepEqual(faults, []);
  await context.close();
  await other.context.close();
});

// If this fails, who asked for a proposal learns only from a refusal that somebody else decides, or can't withdraw it.
test("who proposed is told beforehand, and can withdraw", async () => {
  const { context, page, faults } = await openWindow(browser, shop, { token: shop.tunerToken });
  await page.goto(proposal);
  assert.match(await page.locator(".barred").innerText(), /Not yours to approve.*M\. Ottoway asked for it.*second pair of eyes/s);
  assert.equal(await page.locator("button.approve").isDisabled(), true);
  assert.deepEqual(await axeViolations(page), []);
  await page.getByRole("link", { name: "Choose nodes" }).first().click();
  await page.getByRole("button", { name: /^All \(/ }).click();
  assert.equal(await page.locator("button.approve").isDisabled(), true, "choosing does not lift it");
  await sign(page, "pulled with the wrong plug");
  await page.locator("button.reject").click();
  await page.getByRole("status").waitFor();
  assert.equal(recorded().state, "rejected");
  assert.deepEqual(faults, []);
  await context.close();
});
