// What a script adds to the review page: keys in the table, quick choosing, drafts, local time.
// Everything else works without it.
"use strict";

const table = document.querySelector("table.grid");
const form = document.querySelector("form[data-draft]");

function tellLocalTime(place = document) {
  const format = new Intl.DateTimeFormat(undefined, { dateStyle: "medium", timeStyle: "short" });
  for (const time of place.querySelectorAll("time")) {
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
    for (const place of document.querySelectorAll("[data-as-loaded]")) place.hidden = false;
  };
  const tell = () => {
    const count = boxes.filter((box) => box.checked).length;
    for (const place of document.querySelectorAll("[data-taken]")) place.textContent = count;
    for (const place of document.querySelectorAll("[data-count]")) {
      place.textContent = count === 1 ? "1 change" : `${count} changes`;
    }
    const approve = document.querySelector("button.approve");
    approve.disabled = count === 0 || approve.hasAttribute("data-barred");
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
  // A mouse always paints; a finger scrolls the table until it is told to paint.
  const finger = document.querySelector("[data-paint]");
  if (finger && matchMedia("(any-pointer: coarse)").matches) {
    finger.hidden = false;
    finger.addEventListener("click", () => {
      const on = finger.getAttribute("aria-pressed") !== "true";
      finger.setAttribute("aria-pressed", String(on));
      table.classList.toggle("painted", on);
    });
  }
  const boxAt = (place) => place?.closest?.("table.grid td > label")?.querySelector("input");
  let paint = null;
  table.addEventListener("pointerdown", (event) => {
    const box = boxAt(event.target);
    const paints = event.pointerType === "mouse" ? event.button === 0 : table.classList.contains("painted");
    if (box && paints) paint = { from: box, to: !box.checked, moved: false };
  });
  // By place, since a finger's moves all go to the cell that it touched first.
  addEventListener("pointermove", (event) => {
    if (!paint) return;
    const box = boxAt(document.elementFromPoint(event.clientX, event.clientY));
    if (!box || (box === paint.from && !paint.moved)) return;
    paint.moved = true;
    paint.from.checked = paint.to;
    box.checked = paint.to;
    forget();
    tell();
  });
  const end = () => { setTimeout(() => { paint = null; }); };
  addEventListener("pointerup", end);
  addEventListener("pointercancel", end);
  table.addEventListener("click", (event) => {
    if (paint?.moved) event.preventDefault();
  });
  tell();
}

// How much of each change is taken stands on the button that takes it.
function tellShare() {
  const field = form.querySelector("input[name=share]");
  const place = form.querySelector("[data-share]");
  field?.addEventListener("input", () => {
    const share = Number(field.value);
    place.textContent = share >= 1 && share < 100 ? `, ${share} % of each` : "";
  });
}

// Enter in a node's own share sets it; elsewhere in the form Enter presses nothing.
function setShareByEnter() {
  const field = form.querySelector("input[name=own-share]");
  field?.addEventListener("keydown", (event) => {
    if (event.key !== "Enter") return;
    event.preventDefault();
    form.querySelector("button[name=own][value=take]").click();
  });
}

// What was written survives a look at another node; what was sent is forgotten.
function keepDraft() {
  const fields = [...form.querySelectorAll("textarea")];
  const key = (field) => `draft ${form.dataset.draft} ${field.name}`;
  for (const field of fields) {
    if (field.value === "") field.value = sessionStorage.getItem(key(field)) ?? "";
    field.addEventListener("input", () => sessionStorage.setItem(key(field), field.value));
  }
  form.addEventListener("submit", (event) => {
    const sends = /\/(approve|reject|revert|comment)$/.exec(event.submitter?.formAction ?? "")?.[1];
    if (!sends) return;
    for (const field of fields) {
      if ((field.name === "text") === (sends === "comment")) sessionStorage.removeItem(key(field));
    }
    setTimeout(() => {
      for (const button of form.querySelectorAll(".buttons button:not([disabled])")) {
        button.disabled = true;
        button.dataset.sent = "";
      }
    });
  });
  addEventListener("pageshow", () => {
    for (const button of form.querySelectorAll("button[data-sent]")) button.disabled = false;
  });
}

// Asks every two seconds whether anything was recorded, and then looks again.
const LOOK_MS = 2000;

// Ages are told in minutes: an open inbox counts them.
const AGES_MS = 60000;

/** Looks again; `isNews` says whether something was recorded, or only time went by. */
async function lookAgain(isNews) {
  const answer = await fetch(location.href, { headers: { accept: "text/html" } });
  if (!answer.ok) return;
  const fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
  for (const here of document.querySelectorAll("[data-live]")) {
    const there = fresh.getElementById(here.id);
    if (!there) continue;
    tellLocalTime(there);
    if (there.innerHTML === here.innerHTML) continue;
    const focused = here.contains(document.activeElement) ? document.activeElement.getAttribute("href") : null;
    here.replaceChildren(...there.childNodes);
    if (focused) [...here.querySelectorAll("a")].find((link) => link.getAttribute("href") === focused)?.focus();
    if (isNews) tellNews("The page shows what was recorded just now.");
  }
  tellMeanwhile(fresh);
}

function tellNews(words) {
  const place = document.querySelector("#news");
  if (place) place.textContent = words;
}

// Somebody else was first: say so before a verdict is written in vain.
function tellMeanwhile(fresh) {
  const there = fresh.querySelector("form[data-standing]");
  const place = document.querySelector("#meanwhile");
  if (!there || !place || !form?.dataset.standing || there.dataset.standing === form.dataset.standing) return;
  const words = fresh.querySelector(".outcome p");
  const link = document.createElement("a");
  link.href = location.href;
  link.textContent = "Look again";
  const text = document.createElement("p");
  text.append("Meanwhile: ", ...(words ? [words.textContent, " "] : [`${there.dataset.standing}. `]), link);
  place.replaceChildren(text);
  place.hidden = false;
  for (const button of form.querySelectorAll(".buttons button")) button.disabled = true;
}

function stayLive() {
  if (!document.querySelector("[data-live], form[data-standing]")) return;
  let [seen, looked] = [null, Date.now()];
  const ask = async () => {
    if (document.visibilityState !== "visible") return;
    const answer = await fetch("/changes");
    if (!answer.ok) return;
    const now = await answer.text();
    const isNews = seen !== null && now !== seen;
    seen = now;
    if (!isNews && Date.now() - looked < AGES_MS) return;
    looked = Date.now();
    await lookAgain(isNews);
  };
  // A daemon that is away for a moment is asked again; the page stays as it is.
  const quietly = () => ask().catch(() => {});
  quietly();
  setInterval(quietly, LOOK_MS);
  document.addEventListener("visibilitychange", quietly);
}

tellLocalTime();
stayLive();
if (form) keepDraft();
if (form) tellShare();
if (form) setShareByEnter();
if (form && table) chooseAtOnce();
if (table) moveByKeys();
