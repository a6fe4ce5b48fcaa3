// A job with the largest usual table, 40 x 40 nodes, and a pull that sweeps over it. Invented.
import { mkdtempSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";

const rpm = Array.from({ length: 40 }, (_, index) => 1000 + 250 * index);
const plate = Array.from({ length: 40 }, (_, index) => 2.5 + 2.5 * index);

const jobFile = `# Invented.
id = "larch-40"
name = "Larch 40, forty by forty"
[engine]
strokes = 4
displacement_cc = 800.0
cylinders = 3
[fuel]
name = "petrol E5"
stoichiometric_afr = 14.29
[axes]
rpm = [${rpm.map((value) => value.toFixed(1)).join(", ")}]
plate_percent = [${plate.map((value) => value.toFixed(1)).join(", ")}]
[table]
content = "percent"
resolution = 0.1
values = [
${plate.map(() => `  [${rpm.map(() => "0.0").join(", ")}],`).join("\n")}
]
[target]
lambda = 0.9
[limits]
visits_min = 1
[bays.west]
delay = "identify"
`;

/** Slow sweeps, up and down, at every second plate angle, ten rows a second, four percent lean here and rich there. */
function log() {
  const rows = ["offset_s,rpm,plate_percent,lambda,coolant_c,sensor_ready"];
  let tick = 0;
  const end = rpm.at(-1);
  for (let index = 0; index < plate.length; index += 2) {
    for (let step = 0; step <= 2 * (end - rpm[0]); step += 25) {
      const speed = step <= end - rpm[0] ? rpm[0] + step : 2 * end - rpm[0] - step;
      // Irrational frequencies in place of chance: noise that is the same each time.
      const noise = 0.004 * Math.sin(tick * Math.SQRT2 * 7) + 0.004 * Math.sin(tick * Math.E * 3);
      const lambda = 0.9 * (1 + 0.06 * Math.sin(speed / 1500) * Math.cos(plate[index] / 25) + noise);
      rows.push(`${(tick / 10).toFixed(1)},${speed},${plate[index]},${lambda.toFixed(4)},85,1`);
      tick += 1;
    }
  }
  return `${rows.join("\n")}\n`;
}

/** Opens the job, sends the pull and has a proposal computed; returns the proposal's path. */
export function openLargeJob(shop) {
  const place = mkdtempSync(join(tmpdir(), "baytrim-large-"));
  try {
    writeFileSync(join(place, "job.toml"), jobFile);
    writeFileSync(join(place, "sweeps.csv"), log());
    shop.run("job", "open", join(place, "job.toml"));
    shop.run("pull", "submit", "larch-40", join(place, "sweeps.csv"), "--bay", "west");
    shop.run("propose", "larch-40");
  } finally {
    rmSync(place, { recursive: true, force: true });
  }
  return "/jobs/larch-40/proposals/c1";
}
