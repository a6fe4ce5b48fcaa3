// A pull as it would have read with another table loaded: an invented pull's lambda, divided by the fuel that
// the table adds. Sound for the invented job's table of effective injector times only.
import { readFileSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import { demo } from "./shop.js";

/** Returns the index of the cell of `value` on `axis`, and how far through it is, 0 to 1. */
function cell(axis, value) {
  let index = 0;
  while (index < axis.length - 2 && value >= axis[index + 1]) index += 1;
  const through = (value - axis[index]) / (axis[index + 1] - axis[index]);
  return [index, Math.min(Math.max(through, 0), 1)];
}

/** Writes `name` of the invented pulls to `path` as revision `to` would have made it read instead of `r0`. */
export function writeLater(shop, name, to, path) {
  const table = (revision) => JSON.parse(shop.run("--json", "table", "show", "plover-690", "--revision", revision));
  const [base, later] = [table("r0"), table(to)];
  const { rpm, plate_percent: plate } = base;
  const ratio = plate.map((_, down) => rpm.map((_, across) => {
    const node = down * rpm.length + across;
    return later.values[node] / base.values[node];
  }));
  const [head, ...rows] = readFileSync(join(demo, name), "utf8").trim().split("\n");
  const names = head.split(",");
  const [speed, opening, lambda] = ["rpm", "plate_percent", "lambda"].map((column) => names.indexOf(column));
  const scaled = rows.map((row) => {
    const values = row.split(",");
    const read = Number(values[lambda]);
    if (values[lambda] === "" || Number.isNaN(read)) return row;
    const [i, u] = cell(rpm, Number(values[speed]));
    const [j, v] = cell(plate, Number(values[opening]));
    const fuel = (1 - v) * ((1 - u) * ratio[j][i] + u * ratio[j][i + 1]) + v * ((1 - u) * ratio[j + 1][i] + u * ratio[j + 1][i + 1]);
    values[lambda] = (read / fuel).toFixed(4);
    return values.join(",");
  });
  writeFileSync(path, `${[head, ...scaled].join("\n")}\n`);
}
