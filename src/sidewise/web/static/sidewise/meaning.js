// Keeps the panel up to date after each touch; hides it so that one can think first.

const KEY = "meaning-hidden"; // A preference of this device; nothing of a patient is kept.
const WAIT = 250; // Milliseconds without a touch before the meaning is asked for.
const AGAIN = 250; // Milliseconds before it is asked for again where the server had no time for it.
const panel = document.querySelector("[data-meaning]");
const body = document.getElementById("meaning-body");
const toggle = document.querySelector("[data-meaning-toggle]");
const old = document.querySelector("[data-meaning-old]");
let timer;

// On a narrow screen the examination comes first until it is asked for.
const narrow = window.matchMedia("(max-width: 999px)");
const hidden = () => (localStorage.getItem(KEY) ?? (narrow.matches ? "1" : "0")) === "1";
const weigh = () => { if (!hidden()) htmx.trigger(body, "weigh"); };
// Both say how many entries they rest on; a meaning of fewer is never shown as the present one.
const entriesIn = (element) => Number(element?.dataset.length ?? NaN);
const isOld = () => entriesIn(body.querySelector("[data-length]")) < entriesIn(document.getElementById("head"));
const mark = () => { old.hidden = hidden() || !isOld(); };
const weighIn = (wait) => { clearTimeout(timer); timer = setTimeout(weigh, wait); };
const show = () => {
  body.hidden = hidden();
  panel.classList.toggle("away-for-now", hidden());
  toggle.textContent = hidden() ? toggle.dataset.show : toggle.dataset.hide;
  toggle.setAttribute("aria-expanded", String(!hidden()));
};

if (panel) {
  toggle.hidden = false;
  toggle.addEventListener("click", () => {
    localStorage.setItem(KEY, hidden() ? "0" : "1");
    show();
    mark();
    weigh();
  });
  document.body.addEventListener("touched", () => { mark(); weighIn(WAIT); });
  document.body.addEventListener("weigh-later", () => weighIn(AGAIN));
  document.body.addEventListener("htmx:afterSwap", (event) => {
    if (event.target !== body) return;
    mark();
    if (isOld()) weighIn(WAIT);
  });
  show();
  if (document.readyState === "complete") weigh(); else window.addEventListener("load", weigh);
}
