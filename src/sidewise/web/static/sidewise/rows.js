// Rows stand closed until a hand opens one. What a row offers when it is open comes with it, in a
// <template>, so that it opens at once and without network. Escape closes what was opened last.

const opened = new Set(); // Rows that a hand opened, by id: they stay open until they are done.
const closed = new WeakMap();

const CONTROL = "button:not([hidden]), input:not([type=hidden]), select, summary, a[href]";
const focusIn = (root, selector = CONTROL) => root?.querySelector(selector)?.focus({ preventScroll: true });

const open = (row) => {
  const template = row.querySelector(":scope > template");
  if (!template) return;
  closed.set(row, [...row.childNodes]);
  row.replaceChildren(template.content.cloneNode(true));
  row.classList.remove("closed", "blank");
  row.classList.add("open");
  opened.add(row.id);
  const instrument = document.querySelector("[data-instrument] [aria-pressed=true]")?.value;
  for (const field of row.querySelectorAll("[data-instrument-field]")) if (instrument) field.value = instrument;
  htmx.process(row);
  htmx.trigger(row, "htmx:load", { elt: row });
};

const close = (row) => {
  opened.delete(row.id);
  if (!closed.has(row)) return;
  row.replaceChildren(...closed.get(row));
  row.classList.remove("open");
  row.classList.add("closed");
  row.classList.toggle("blank", !row.querySelector(".phrase, .last"));
  row.querySelector("[data-opens]")?.focus({ preventScroll: true });
};

// After an answer has brought rows anew: what was open stays open, unless nothing is left to enter.
export const reopen = () => {
  for (const id of [...opened]) {
    const row = document.getElementById(id);
    if (row?.matches(".closed:not([data-done])")) open(row);
    else if (!row?.matches(".open")) opened.delete(id);
  }
  // What is called for now stands among its group, not behind "more".
  for (const more of document.querySelectorAll("details.more:has(article)")) more.open = true;
};

// Where the hand goes next: what is touched singly, then what may be recorded together; after a
// row that could have been recorded with others, the next open row of any kind.
const SINGLY = "[data-row][data-singly]:not([data-done]) .one-touch:not(.lesser)";
const ANY = "[data-row]:not([data-done]) .one-touch:not(.lesser)";
const FOOT = ".stage-foot .sweep";
let waits = false;
export const next = (from, singly) => {
  const after = (other) => !from || from.compareDocumentPosition(other) & Node.DOCUMENT_POSITION_FOLLOWING;
  const found = [...document.querySelectorAll(`${singly ? SINGLY : ANY}, ${FOOT}`)].find(after);
  const go = found ?? [...document.querySelectorAll(".following a")].at(-1);
  waits = !found && Boolean(go);
  return go;
};
document.addEventListener("htmx:afterSettle", (event) => {
  if (!waits || !event.target.matches?.("section.stage") || document.activeElement !== document.body) return;
  waits = false;
  next(event.target, true)?.focus();
});

document.addEventListener("click", (event) => {
  const link = event.target.closest?.("[data-opens]");
  const row = link?.closest("[data-row]");
  if (!row?.querySelector(":scope > template") || event.ctrlKey || event.metaKey) return;
  event.preventDefault();
  const side = link.dataset.opens;
  open(row);
  focusIn(side ? row.querySelector(`.${side}`) : row.querySelector(".side"));
});

const shut = (panel) => {
  const row = panel.closest("[data-row]");
  panel.replaceChildren();
  row?.querySelector(".side-links a")?.focus({ preventScroll: true });
};
document.addEventListener("click", (event) => {
  const panel = event.target.closest?.("[data-close-panel]")?.closest(".panel");
  if (panel) shut(panel);
});
document.addEventListener("keydown", (event) => {
  if (event.key !== "Escape") return;
  const here = document.activeElement;
  const row = here?.closest?.("[data-row]") ?? document.getElementById([...opened].at(-1));
  const panel = here?.closest?.(".panel") ?? row?.querySelector(".panel:not(:empty)");
  if (panel?.childElementCount) shut(panel);
  else if (row) close(row);
});
