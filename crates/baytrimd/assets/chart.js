// Draws the charts of the review page with uPlot. Each chart's numbers stand in a table as well.
"use strict";

// The same outlines as in the keys, in a square of 16 by 16.
const outlines = [
  "M8 3.5a4.5 4.5 0 1 0 .01 0z",
  "M4 4h8v8h-8z",
  "M8 3l5 9h-10z",
  "M8 2.5l5.5 5.5l-5.5 5.5l-5.5 -5.5z",
  "M3 4h10l-5 9z",
  "M6 3h4v3h3v4h-3v3h-4v-3h-3v-4h3z",
].map((outline) => new Path2D(outline));

const ink = (name) => getComputedStyle(document.documentElement).getPropertyValue(`--${name}`).trim();

const font = () => `13px ${getComputedStyle(document.body).fontFamily}`;

const axis = (label, more) => ({
  label, values: (_, values) => values.map((value) => (value === null ? "" : `${value}`)), stroke: ink("ink"), font: font(), labelFont: font(), labelSize: 22,
  grid: { stroke: ink("line"), width: 1 }, ticks: { stroke: ink("line"), width: 1, size: 5 }, ...more,
});

const height = () => Math.round(Math.min(Math.max(innerHeight * 0.55, 280), 520));

/** Draws anew when the place or the colours change; `make` returns what to destroy. */
function keepDrawn(place, make) {
  let charts = [];
  let width = 0;
  const draw = () => {
    for (const chart of charts) chart.destroy();
    width = place.clientWidth;
    charts = make(width);
  };
  new ResizeObserver(() => { if (Math.abs(place.clientWidth - width) > 1) draw(); }).observe(place);
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", draw);
  draw();
  return draw;
}

function readout(place) {
  const words = document.createElement("p");
  words.className = "readout";
  words.setAttribute("aria-hidden", "true");
  words.textContent = "\u00a0";
  place.after(words);
  return (text) => { words.textContent = text || "\u00a0"; };
}

/** Returns the index of the value nearest to `wanted`. */
function nearest(values, wanted) {
  let found = 0;
  values.forEach((value, at) => {
    if (Math.abs(value - wanted) < Math.abs(values[found] - wanted)) found = at;
  });
  return found;
}

/**
 * Lets keys move along a chart: a slider over `along()`, whose value `say` tells in words and `show` marks; `show`
 * of nothing ends that. `leap` returns where Page Up and Page Down lead; `other` may take further keys.
 */
function moveByKeys(place, { along, say, show, leap, other, words }) {
  if (along().length === 0) return () => {};
  let here = null;
  const go = (at) => {
    const values = along();
    here = values[Math.min(Math.max(at, 0), values.length - 1)];
    const index = nearest(values, here);
    const told = { valuemin: values[0], valuemax: values.at(-1), valuenow: here, valuetext: say(index) };
    for (const [name, value] of Object.entries(told)) place.setAttribute(`aria-${name}`, value);
    return index;
  };
  place.tabIndex = 0;
  place.setAttribute("role", "slider");
  place.setAttribute("aria-describedby", words);
  go(0);
  place.addEventListener("focus", () => show(go(nearest(along(), here))));
  place.addEventListener("blur", () => show(null));
  place.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.altKey || event.metaKey) return;
    const values = along();
    const at = nearest(values, here);
    const to = {
      ArrowLeft: at - 1, ArrowDown: at - 1, ArrowRight: at + 1, ArrowUp: at + 1, Home: 0, End: values.length - 1,
      PageUp: leap(at, 1), PageDown: leap(at, -1),
    }[event.key];
    if (to === undefined && !other?.(event.key, here)) return;
    event.preventDefault();
    if (to !== undefined) show(go(to));
  });
  // A closer look has other steps: the place stays.
  return () => {
    const at = go(nearest(along(), here));
    if (document.activeElement === place) show(at);
  };
}

/** Puts the cursor of charts on the value at `at`; without one takes it away. */
function putCursor(charts, values, at) {
  charts.forEach((u, index) => {
    const left = at === null ? -10 : u.valToPos(values[at], "x");
    u.setCursor({ left, top: at === null ? -10 : 1 }, index === 0);
  });
}

async function fetched(address) {
  const answer = await fetch(address, { headers: { accept: "application/json" } });
  if (!answer.ok) throw new Error(`${answer.status}`);
  return answer.json();
}

function range(lists) {
  let [low, high] = [Infinity, -Infinity];
  for (const list of lists) {
    for (const value of list) {
      if (value === null || value === undefined) continue;
      low = Math.min(low, value);
      high = Math.max(high, value);
    }
  }
  if (low > high) return [0, 1];
  const edge = Math.max((high - low) * 0.06, 0.005);
  return [low - edge, high + edge];
}

/** Returns the range of what was accepted: a cut or a warm-up would leave the rest a flat line. */
function acceptedRange(data) {
  const { low, high } = data.lambda;
  const accepted = (list) => list.filter((_, at) => data.refused_by[at] === null && list[at] !== null);
  const lists = [accepted(low), accepted(high)];
  return range(lists[0].length > 0 ? [...lists, data.target] : [low, high]);
}

/** Draws each pull's readings, every one with its shape. */
function drawPulls(u, pulls) {
  const { ctx } = u;
  const size = (devicePixelRatio * 9) / 16;
  ctx.save();
  ctx.beginPath();
  ctx.rect(u.bbox.left, u.bbox.top, u.bbox.width, u.bbox.height);
  ctx.clip();
  pulls.forEach((pull, index) => {
    ctx.fillStyle = ink(`pull${index % 6}`);
    const outline = outlines[index % 6];
    pull.rpm.forEach((rpm, at) => {
      const x = u.valToPos(rpm, "x", true);
      const y = u.valToPos(pull.lambda[at], "y", true);
      const path = new Path2D();
      path.addPath(outline, new DOMMatrix([size, 0, 0, size, x - 8 * size, y - 8 * size]));
      ctx.fill(path);
    });
  });
  ctx.restore();
}

async function band(place) {
  const data = await fetched(place.dataset.source);
  const tell = readout(place);
  const share = data.tolerance_percent / 100;
  const lower = data.target.map((value) => value * (1 - share));
  const upper = data.target.map((value) => value * (1 + share));
  const curves = [data.rpm, data.target, lower, upper, data.leanest, data.before, data.predicted, data.low, data.high];
  const speeds = [...data.pulls.flatMap((pull) => pull.rpm), ...data.rpm];
  const [least, most] = [Math.min(...speeds), Math.max(...speeds)];
  const reach = range([...curves.slice(1), ...data.pulls.map((pull) => pull.lambda)]);
  const none = { stroke: "transparent", width: 0, points: { show: false } };
  const line = (name, width, dash) => ({ stroke: ink(name), width, dash, points: { show: false } });
  const stops = data.rpm;
  const between = (at) => (stops[at] + stops[at + 1]) / 2;
  const say = (at) => {
    const curves = [["target", data.target], ["leanest", data.leanest], ["before", data.before], ["predicted", data.predicted]]
      .filter(([, list]) => typeof list[at] === "number")
      .map(([name, list]) => `${name} ${list[at].toFixed(3)}`);
    const [from, to] = [at === 0 ? -Infinity : between(at - 1), at + 1 === stops.length ? Infinity : between(at)];
    const read = data.pulls.flatMap((pull) => {
      const near = pull.lambda.filter((_, index) => pull.rpm[index] >= from && pull.rpm[index] < to);
      return near.length === 0 ? [] : [`${pull.id} read ${Math.min(...near).toFixed(3)} to ${Math.max(...near).toFixed(3)}`];
    });
    return `${stops[at]} rpm: ${[...curves, ...read].join(", ")}`;
  };
  let charts = [];
  keepDrawn(place, (width) => (charts = [new uPlot({
    width, height: height(), legend: { show: false }, padding: [12, 40, 0, 0],
    cursor: { y: false, points: { show: false }, drag: { x: false, y: false } },
    scales: { x: { time: false, range: [least, most] }, y: { range: reach } },
    axes: [axis("engine speed, rpm"), axis("lambda: leaner upwards", { size: 58 })],
    series: [
      {},
      line("ink", 2, [2, 4]), none, none,
      line("bad", 2.5),
      { ...line("soft", 2, [9, 5]), points: { show: true, size: 7, fill: ink("sheet"), stroke: ink("soft") } },
      { ...line("accent", 3), points: { show: true, size: 8, fill: ink("accent") } },
      none, none,
    ],
    bands: [
      { series: [3, 2], fill: ink("chart-tolerance") },
      { series: [8, 7], fill: ink("chart-interval") },
    ],
    hooks: {
      draw: [(u) => drawPulls(u, data.pulls)],
      setCursor: [(u) => {
        const at = u.cursor.idx;
        tell(at === null || at === undefined ? "" : say(at));
      }],
    },
  }, curves, place)]));
  moveByKeys(place, {
    along: () => stops, say, show: (at) => putCursor(charts, stops, at),
    leap: (at, way) => at + 5 * way, words: place.dataset.keys,
  });
}

/** Returns stripes, so that what was refused is told by more than its colour. */
function stripes(context) {
  const tile = document.createElement("canvas");
  tile.width = tile.height = 8;
  const pen = tile.getContext("2d");
  pen.strokeStyle = ink("warn-line");
  pen.globalAlpha = 0.45;
  pen.lineWidth = 2;
  pen.beginPath();
  for (const from of [-8, 0, 8]) {
    pen.moveTo(from, 8);
    pen.lineTo(from + 8, 0);
  }
  pen.stroke();
  return context.createPattern(tile, "repeat");
}

/** Stripes the steps that were refused, behind the lines. */
function drawRefused(u, data) {
  const { ctx, bbox } = u;
  const edge = (at) => {
    const inside = Math.min(Math.max(at, 0), data.offset_s.length - 1);
    return u.valToPos(data.offset_s[inside], "x", true);
  };
  ctx.save();
  ctx.beginPath();
  ctx.rect(bbox.left, bbox.top, bbox.width, bbox.height);
  ctx.clip();
  ctx.fillStyle = stripes(ctx);
  for (let from = 0; from < data.refused_by.length; from += 1) {
    if (data.refused_by[from] === null) continue;
    let to = from;
    while (to + 1 < data.refused_by.length && data.refused_by[to + 1] !== null) to += 1;
    const left = from === 0 ? bbox.left : (edge(from - 1) + edge(from)) / 2;
    const right = to + 1 >= data.refused_by.length ? bbox.left + bbox.width : (edge(to) + edge(to + 1)) / 2;
    ctx.fillRect(left, bbox.top, Math.max(right - left, 1), bbox.height);
    from = to;
  }
  ctx.restore();
}

async function time(place) {
  let data = await fetched(place.dataset.source);
  const tell = readout(place);
  const rows = [["lambda", "lambda", 0.5], ["rpm", "rpm", 0.28], ["plate_percent", "plate, %", 0.28]];
  const numbers = (key) => [data.offset_s, data[key].low, data[key].high, ...(key === "lambda" ? [data.target] : [])];
  let charts = [];
  let asked = "";
  const show = async (from, to) => {
    const [first, last] = data.whole;
    const width = Math.min(Math.max(to - from, 0.5), last - first);
    const start = Math.min(Math.max(from, first), last - width);
    const mine = `${place.dataset.source}?from=${start.toFixed(3)}&to=${(start + width).toFixed(3)}`;
    // The three charts move together: each of them tells the same drag.
    if (mine === asked) return;
    asked = mine;
    const next = await fetched(mine);
    if (mine !== asked) return;
    data = next;
    redraw();
    follow();
  };
  const say = (at) => {
    const value = (name, decimals) => {
      const [low, high] = [data[name].low[at], data[name].high[at]];
      if (low === null) return "not read";
      return low === high ? low.toFixed(decimals) : `${low.toFixed(decimals)} to ${high.toFixed(decimals)}`;
    };
    const gate = data.refused_by[at];
    return `${data.offset_s[at].toFixed(1)} s: lambda ${value("lambda", 3)}, ${value("rpm", 0)} rpm, plate ${value("plate_percent", 1)} %; ${
      gate === null ? "accepted" : `refused: ${data.gates[gate]}`}`;
  };
  const make = (width) => {
    charts = rows.map(([key, label, share], index) => new uPlot({
      width, height: Math.round(height() * share) + (index === rows.length - 1 ? 40 : 0), legend: { show: false },
      padding: [8, 40, 0, 0],
      cursor: { y: false, points: { show: false }, drag: { x: true, y: false, setScale: false }, sync: { key: "time" } },
      scales: { x: { time: false, range: () => data.shown }, y: { range: () => (key === "lambda" ? acceptedRange(data) : range(numbers(key).slice(1))) } },
      axes: [
        index === rows.length - 1 ? axis("seconds since the pull began") : axis(undefined, { values: () => [], size: 8 }),
        axis(label, { size: 64, space: 28 }),
      ],
      series: [
        {},
        { stroke: ink("accent"), width: 1.5, points: { show: false } },
        { stroke: ink("accent"), width: 1.5, points: { show: false } },
        ...(key === "lambda" ? [{ stroke: ink("ink"), width: 2, dash: [2, 4], points: { show: false } }] : []),
      ],
      bands: [{ series: [2, 1], fill: ink("chart-interval") }],
      hooks: {
        drawClear: [(u) => drawRefused(u, data)],
        setSelect: [(u) => {
          if (u.select.width < 4) return;
          const from = u.posToVal(u.select.left, "x");
          const to = u.posToVal(u.select.left + u.select.width, "x");
          u.setSelect({ left: 0, width: 0, top: 0, height: 0 }, false);
          show(from, to);
        }],
        setCursor: [(u) => {
          const at = u.cursor.idx;
          tell(at === null || at === undefined ? "" : say(at));
        }],
      },
    }, numbers(key), place));
    return charts;
  };
  const redraw = keepDrawn(place, make);
  // Page Up and Down lead to where the next span begins: accepted, or refused for another reason.
  const span = (at, way) => {
    const by = data.refused_by;
    let to = at;
    if (way < 0 && to > 0) to -= 1;
    while (way < 0 ? to > 0 && by[to - 1] === by[to] : to < by.length - 1 && by[to] === by[at]) to += way;
    return to;
  };
  const zoom = (key, at) => {
    const [from, to] = data.shown;
    const by = { "+": 0.5, "-": 2, 0: Infinity }[key];
    if (by === undefined) return false;
    if (by === Infinity) show(...data.whole);
    else show(at - (at - from) * by, at + (to - at) * by);
    return true;
  };
  const follow = moveByKeys(place, {
    along: () => data.offset_s, say, show: (at) => putCursor(charts, data.offset_s, at),
    leap: span, other: zoom, words: place.dataset.keys,
  });
  const buttons = document.querySelector("[data-chart-buttons]");
  buttons.hidden = false;
  buttons.addEventListener("click", (event) => {
    const move = event.target.closest("button")?.dataset.move;
    if (!move) return;
    const [from, to] = data.shown;
    const half = (to - from) / 2;
    const moves = {
      earlier: [from - half, to - half], later: [from + half, to + half],
      closer: [from + half / 2, to - half / 2], wider: [from - half, to + half], whole: data.whole,
    };
    show(...moves[move]);
  });
}

/** Draws power above torque, a line and a shape for each pull. */
async function power(place) {
  const data = await fetched(place.dataset.source);
  const tell = readout(place);
  const dashes = [[], [10, 5], [3, 4], [12, 4, 3, 4], [6, 3], [2, 2]];
  const rows = [["power_kw", "power, kW", 0.62], ["torque_nm", "torque, Nm", 0.62]];
  const say = (at) => {
    const told = data.pulls.filter((pull) => pull.power_kw[at] !== null)
      .map((pull) => `${pull.id} ${pull.power_kw[at].toFixed(1)} kW, ${pull.torque_nm[at].toFixed(1)} Nm`);
    return `${data.rpm[at]} rpm: ${told.join("; ")}`;
  };
  const marks = (u, key) => {
    const size = (devicePixelRatio * 8) / 16;
    data.pulls.forEach((pull, index) => {
      u.ctx.fillStyle = ink(`pull${index % 6}`);
      pull[key].forEach((value, at) => {
        if (value === null) return;
        const x = u.valToPos(data.rpm[at], "x", true);
        const y = u.valToPos(value, "y", true);
        const path = new Path2D();
        path.addPath(outlines[index % 6], new DOMMatrix([size, 0, 0, size, x - 8 * size, y - 8 * size]));
        u.ctx.fill(path);
      });
    });
  };
  let charts = [];
  keepDrawn(place, (width) => (charts = rows.map(([key, label, share], row) => new uPlot({
    width, height: Math.round(height() * share) + (row === 1 ? 30 : 0), legend: { show: false }, padding: [12, 40, 0, 0],
    cursor: { y: false, points: { show: false }, drag: { x: false, y: false }, sync: { key: "power" } },
    scales: { x: { time: false }, y: { range: (_, low, high) => [Math.min(0, low), high * 1.05] } },
    axes: [row === 1 ? axis("engine speed, rpm") : axis(undefined, { values: () => [], size: 8 }), axis(label, { size: 58 })],
    series: [{}, ...data.pulls.map((_, index) => ({
      stroke: ink(`pull${index % 6}`), width: 2, dash: dashes[index % 6], points: { show: false },
    }))],
    hooks: {
      draw: [(u) => marks(u, key)],
      setCursor: [(u) => {
        const at = u.cursor.idx;
        tell(at === null || at === undefined ? "" : say(at));
      }],
    },
  }, [data.rpm, ...data.pulls.map((pull) => pull[key])], place))));
  moveByKeys(place, {
    along: () => data.rpm, say, show: (at) => putCursor(charts, data.rpm, at),
    leap: (at, way) => at + 5 * way, words: place.dataset.keys,
  });
}

const kinds = { band, power, time };
for (const place of document.querySelectorAll("[data-chart]")) {
  const waits = place.querySelector("[data-waits]");
  waits.textContent = "Drawing \u2026";
  kinds[place.dataset.chart](place).then(
    () => waits.remove(),
    () => { waits.textContent = "The chart can't be drawn now; the table holds the same numbers."; },
  );
}
