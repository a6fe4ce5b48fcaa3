// The job sheet: as a page, on paper, and as the daemon's own PDF, read back with Debian's poppler-utils.
import assert from "node:assert/strict";
import { execFileSync } from "node:child_process";
import { createHash } from "node:crypto";
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { after, before, test } from "node:test";
import { openLargeJob } from "./large.js";
import { openBrowser, openDemoJob, openShop, openWindow } from "./shop.js";

let shop, browser, job, place;
before(async () => {
  shop = await openShop();
  browser = await openBrowser();
  job = openDemoJob(shop);
  place = mkdtempSync(join(tmpdir(), "baytrim-sheet-"));
});
after(async () => {
  await browser?.close();
  await shop?.stop();
  rmSync(place, { recursive: true, force: true });
});

/** Returns the text and the number of pages of a PDF. */
function read(path) {
  const text = execFileSync("pdftotext", ["-layout", path, "-"], { encoding: "utf8" });
  const pages = Number(/Pages:\s+(\d+)/.exec(execFileSync("pdfinfo", [path], { encoding: "utf8" }))[1]);
  return { text, pages };
}

// If this fails, the sheet for the customer lacks what was done, by whom, with which table, or its cautions.
test("the PDF tells the job on at most four pages", () => {
  shop.review("approve", "plover-690/c1", "--reason", "right on the holds");
  const path = join(place, "sheet.pdf");
  const told = JSON.parse(shop.run("--json", "job", "sheet", "plover-690", "--output", path));
  const { text, pages } = read(path);
  assert.ok(pages >= 1 && pages <= 4, `${pages} pages`);
  assert.equal(told.page_count, pages);
  assert.equal(told.sha256, createHash("sha256").update(readFileSync(path)).digest("hex"));
  together(text);
  const flat = text.replace(/\s+/g, " ");
  for (const words of [
    "Plover 690, open silencer", "What came in", "What was done", "How it is now", "Table r1 from proposal c1",
    "right on the holds", "Before: with the table that came", "After: with the table handed over", "The table handed over",
    "carbon monoxide", "A licensed, competent person decides", "Customer: name, date, signature", "petrol E5",
    "has not been checked by a pull of its own yet", `page ${pages} of ${pages}`,
  ]) assert.ok(flat.includes(words), `${words} in\n${text}`);
  assert.ok(!text.includes("\ufffd"), "every letter can be set");
  const exported = join(place, "table.csv");
  const file = JSON.parse(shop.run("--json", "table", "export", "plover-690", "--format", "csv", "--output", exported));
  assert.ok(flat.includes(file.sha256), "the table's hash is that of the file that is exported");
  const fonts = execFileSync("pdffonts", [path], { encoding: "utf8" });
  assert.match(fonts, /NotoSans-Regular.*yes yes yes/, "fonts are embedded");
});

/** Fails unless before and after stand on one page. */
function together(text) {
  const pages = text.split("\f").filter((page) => page.includes("with the table"));
  assert.ok(pages.some((page) => page.includes("Before: with the table") && page.includes("After: with the table")), text);
}

// If this fails, the largest usual table makes a sheet that is too long, or that can't be read.
test("40 x 40 nodes still make a short sheet", () => {
  openLargeJob(shop);
  const path = join(place, "large.pdf");
  shop.run("job", "sheet", "larch-40", "--output", path);
  const { pages, text } = read(path);
  assert.ok(pages >= 1 && pages <= 4, `${pages} pages`);
  together(text);
});

// If this fails, page and PDF tell different jobs, or the page does not print.
test("the page tells the same, links to the PDF and prints on at most four pages", async () => {
  const { context, page, faults } = await openWindow(browser, shop);
  await page.goto(`${job}/sheet`);
  const path = join(place, "page.pdf");
  const answer = await fetch(shop.url + (await page.getByRole("link", { name: "As PDF" }).getAttribute("href")), { headers: { cookie: shop.cookie } });
  assert.equal(answer.headers.get("content-type"), "application/pdf");
  writeFileSync(path, Buffer.from(await answer.arrayBuffer()));
  const flat = read(path).text.replace(/\s+/g, " ");
  for (const said of await page.locator(".sheet h2 + p").allInnerTexts()) {
    if (said.includes("UTC") || said.includes("runs across") || /\d{1,2}:\d\d/.test(said)) continue;
    assert.ok(flat.includes(said.replace(/\s+/g, " ").slice(0, 60)), said);
  }
  await page.emulateMedia({ media: "print" });
  assert.equal(await page.getByRole("link", { name: "As PDF" }).isVisible(), false);
  const printed = join(place, "printed.pdf");
  writeFileSync(printed, await page.pdf({ format: "A4" }));
  const { pages, text } = read(printed);
  assert.ok(pages <= 4, `${pages} pages`);
  assert.match(text, /Customer: name, date, signature/);
  assert.deepEqual(faults, []);
  await context.close();
});
