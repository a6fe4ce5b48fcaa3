// Takes the pictures of the documentation: `node pictures.js`, after `run.sh` has installed what it needs.
import { execFileSync } from "node:child_process";
import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { dirname, join } from "node:path";
import { fileURLToPath } from "node:url";
import { writeLater } from "./after.js";
import { openBrowser, openDemoJob, openShop, openWindow, playEarlierJob, sizes } from "./shop.js";

const images = join(dirname(fileURLToPath(import.meta.url)), "../../docs/images");
const place = mkdtempSync(join(tmpdir(), "baytrim-pictures-"));
const shop = await openShop();
const browser = await openBrowser();

async function take(name, path, viewport, colorScheme, ready) {
  const { context, page } = await openWindow(browser, shop, { viewport, colorScheme });
  await page.goto(path);
  await ready?.(page);
  await page.screenshot({ path: join(images, `${name}.png`) });
  await context.close();
}

const drawn = (page) => page.waitForFunction(() => document.querySelector(".chart canvas") && !document.querySelector("[data-waits]"));

try {
  const job = openDemoJob(shop);
  await take("inbox-tablet-light", "/", { width: 1024, height: 600 }, "light");
  await take("proposal-desktop-light", `${job}/proposals/c1?node=5500:60`, sizes.desktop, "light");
  await take("proposal-tablet-dark", `${job}/proposals/c1`, sizes.tablet, "dark");
  await take("decide-phone-light", `${job}/proposals/c1#decide`, sizes.phone, "light");
  shop.review("approve", "plover-690/c1", "--reason", "right on the holds");
  await take("traces-desktop-light", `${job}/traces?plate=60`, sizes.desktop, "light", drawn);
  await take("plan-tablet-dark", `${job}/coverage`, sizes.tablet, "dark");
  shop.run("stage", "begin", "plover-690", "tuned", "--notes", "table r1");
  for (const name of ["pull-1-holds.csv", "pull-2-sweeps.csv", "pull-3-ride.csv"]) {
    writeLater(shop, name, "r1", join(place, name));
    shop.run("pull", "submit", "plover-690", join(place, name), "--bay", "east");
  }
  await take("stages-tablet-light", `${job}/stages`, { width: 1024, height: 1100 }, "light");
  const earlier = playEarlierJob(shop);
  await take("power-tablet-light", `${earlier}/power`, { width: 1024, height: 1100 }, "light", drawn);
  await take("grip-tablet-dark", `${earlier}/grip`, { width: 1024, height: 1100 }, "dark");
  const sheet = join(place, "sheet.pdf");
  shop.run("job", "sheet", "plover-690", "--output", sheet);
  execFileSync("pdftoppm", ["-png", "-r", "70", "-f", "1", "-l", "1", "-singlefile", sheet, join(images, "job-sheet")]);
  if (process.env.SHEET_PAGES) execFileSync("pdftoppm", ["-png", "-r", "70", sheet, process.env.SHEET_PAGES]);
} finally {
  await browser.close();
  await shop.stop();
  rmSync(place, { recursive: true, force: true });
}
