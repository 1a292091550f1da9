// Keeps the panel up to date after each touch; hides it so that one can think first.

const KEY = "meaning-hidden"; // A preference of this device; nothing of a patient is kept.
const WAIT = 250; // Milliseconds without a touch before the meaning is asked for.
const panel = document.querySelector("[data-meaning]");
const body = document.getElementById("meaning-body");
const toggle = document.querySelector("[data-meaning-toggle]");
let timer;

// On a narrow screen the examination comes first until it is asked for.
const narrow = window.matchMedia("(max-width: 999px)");
const hidden = () => (localStorage.getItem(KEY) ?? (narrow.matches ? "1" : "0")) === "1";
const weigh = () => { if (!hidden()) htmx.trigger(body, "weigh"); };
const show = () => {
  body.hidden = hidden();
  panel.classList.toggle("away-for-now", hidden());
  toggle.textContent = hidden() ? "show" : "hide";
  toggle.setAttribute("aria-expanded", String(!hidden()));
};

if (panel) {
  toggle.hidden = false;
  toggle.addEventListener("click", () => {
    localStorage.setItem(KEY, hidden() ? "0" : "1");
    show();
    weigh();
  });
  document.body.addEventListener("touched", () => {
    clearTimeout(timer);
    timer = setTimeout(weigh, WAIT);
  });
  document.body.addEventListener("htmx:afterSwap", (event) => { if (event.target.matches("[data-question]")) weigh(); });
  show();
  if (document.readyState === "complete") weigh(); else window.addEventListener("load", weigh);
}
