// What a script adds to the review page: keys in the table, quick choosing, drafts, local time.
// Everything else works without it.
"use strict";

const table = document.querySelector("table.grid");
const form = document.querySelector("form[data-draft]");

function tellLocalTime() {
  const format = new Intl.DateTimeFormat(undefined, { dateStyle: "medium", timeStyle: "short" });
  for (const time of document.querySelectorAll("time")) {
    time.title = time.textContent.trim();
    time.textContent = format.format(new Date(time.dateTime));
  }
}

// Arrow keys move between cells; Tab enters the table once and leaves it at once.
function moveByKeys() {
  const rows = [...table.rows].map((row) =>
    [...row.cells].map((cell) => cell.querySelector("a, input, button")));
  const all = rows.flat().filter(Boolean);
  if (all.length === 0) return;
  const here = table.querySelector("#at") ?? all[0];
  for (const target of all) target.tabIndex = target === here ? 0 : -1;
  if (location.hash === "#at" && here.id === "at") here.focus({ preventScroll: true });
  const step = { ArrowLeft: [0, -1], ArrowRight: [0, 1], ArrowUp: [-1, 0], ArrowDown: [1, 0] };
  table.addEventListener("focusin", (event) => {
    for (const target of all) target.tabIndex = target === event.target ? 0 : -1;
  });
  table.addEventListener("keydown", (event) => {
    const cell = event.target.closest("td, th");
    if (!cell || event.ctrlKey || event.altKey || event.metaKey) return;
    let row = cell.parentElement.rowIndex;
    let column = cell.cellIndex;
    if (event.key === "Home" || event.key === "End") {
      const found = rows[row].filter(Boolean);
      found.at(event.key === "Home" ? 0 : -1).focus();
      event.preventDefault();
      return;
    }
    const by = step[event.key];
    if (!by) return;
    event.preventDefault();
    for (row += by[0], column += by[1]; rows[row]?.[column] !== undefined; row += by[0], column += by[1]) {
      if (rows[row][column]) {
        rows[row][column].focus();
        return;
      }
    }
  });
}

// Rules, rows and columns are chosen at once, and a mouse paints over cells.
function chooseAtOnce() {
  const boxes = [...table.querySelectorAll("input[name=n]")];
  if (boxes.length === 0) return;
  // What stood against the choice as it came says nothing about the choice as it is now.
  const forget = () => {
    for (const place of document.querySelectorAll("[data-obstacle]")) {
      place.textContent = "Whether the limits allow this choice shows under After, or when it is approved.";
    }
  };
  const tell = () => {
    const count = boxes.filter((box) => box.checked).length;
    for (const place of document.querySelectorAll("[data-taken]")) place.textContent = count;
    for (const place of document.querySelectorAll("[data-count]")) {
      place.textContent = count === 1 ? "1 change" : `${count} changes`;
    }
    document.querySelector("button.approve").disabled = count === 0;
  };
  const toggle = (line) => {
    const to = !line.every((box) => box.checked);
    for (const box of line) box.checked = to;
    forget();
    tell();
  };
  form.addEventListener("click", (event) => {
    const button = event.target.closest("button");
    if (button?.name === "rule") {
      event.preventDefault();
      const code = button.dataset.nodes;
      for (const box of boxes) {
        const node = Number(box.value);
        box.checked = (parseInt(code[node >> 2], 16) >> (node & 3)) % 2 === 1;
      }
      forget();
      tell();
    } else if (button?.name === "toggle") {
      event.preventDefault();
      const cell = button.closest("th");
      const inRow = cell.scope === "row";
      toggle(boxes.filter((box) => {
        const place = box.closest("td");
        return inRow ? place.parentElement === cell.parentElement : place.cellIndex === cell.cellIndex;
      }));
    }
  });
  form.addEventListener("change", (event) => {
    if (event.target.name !== "n") return;
    forget();
    tell();
  });
  let paint = null;
  table.addEventListener("pointerdown", (event) => {
    const box = event.target.closest("label")?.querySelector("input");
    if (box && event.pointerType === "mouse" && event.button === 0) paint = { from: box, to: !box.checked, moved: false };
  });
  table.addEventListener("pointerover", (event) => {
    const box = event.target.closest("label")?.querySelector("input");
    if (!paint || !box || (box === paint.from && !paint.moved)) return;
    paint.moved = true;
    paint.from.checked = paint.to;
    box.checked = paint.to;
    forget();
    tell();
  });
  addEventListener("pointerup", () => { setTimeout(() => { paint = null; }); });
  table.addEventListener("click", (event) => {
    if (paint?.moved) event.preventDefault();
  });
  tell();
}

// A name and a reason survive a look at another node; a verdict forgets them.
function keepDraft() {
  const fields = [...form.querySelectorAll("input[name=reviewer], textarea")];
  const key = (field) => `draft ${form.dataset.draft} ${field.name}`;
  for (const field of fields) {
    if (field.value === "") field.value = sessionStorage.getItem(key(field)) ?? "";
    field.addEventListener("input", () => sessionStorage.setItem(key(field), field.value));
  }
  form.addEventListener("submit", (event) => {
    const address = event.submitter?.formAction ?? "";
    if (!/\/(approve|reject)$/.test(address)) return;
    for (const field of fields) sessionStorage.removeItem(key(field));
    setTimeout(() => { for (const button of form.querySelectorAll(".buttons button")) button.disabled = true; });
  });
  addEventListener("pageshow", () => {
    for (const button of form.querySelectorAll(".buttons button")) button.disabled = false;
  });
}

tellLocalTime();
if (form) keepDraft();
if (form && table) chooseAtOnce();
if (table) moveByKeys();
