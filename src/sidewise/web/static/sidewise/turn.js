// Turns the mirror: columns change places and the headings say who stands where.
// Also keeps the strip in step with the stage in view, and the instrument chosen for angles.

// The keyboard goes as the eye reads: the side at the left of the page stands first in its row.
const inOrder = () => {
  for (const row of document.querySelectorAll("[data-mirror] [data-row]")) {
    const [right, left] = ["right", "left"].map((side) => row.querySelector(`:scope > .${side}`));
    const item = row.querySelector(":scope > .item");
    if (!right || !left || !item) continue;
    const [first, last] = row.closest(".behind") ? [left, right] : [right, left];
    if (first.compareDocumentPosition(item) & Node.DOCUMENT_POSITION_FOLLOWING) continue;
    item.before(first);
    item.after(last);
  }
};

document.addEventListener("click", (event) => {
  const turn = event.target.closest?.("[data-turn]");
  if (!turn) return;
  event.preventDefault();
  const behind = !turn.closest("[data-mirror]").classList.contains("behind");
  for (const mirror of document.querySelectorAll("[data-mirror]")) mirror.classList.toggle("behind", behind);
  inOrder();
  const text = behind ? "You stand behind: the patient's left is on the left of the page." : "You face the patient: the patient's right is on the left of the page.";
  document.dispatchEvent(new CustomEvent("notice", { detail: { text } }));
});

document.addEventListener("submit", (event) => {
  if (!event.target.matches("[data-instrument]")) return;
  event.preventDefault();
  const chosen = event.submitter.value;
  for (const field of document.querySelectorAll("[data-instrument-field]")) field.value = chosen;
  for (const chip of event.target.querySelectorAll(".chip")) chip.setAttribute("aria-pressed", String(chip.value === chosen));
  htmx.ajax("POST", event.target.action, { values: { instrument: chosen }, swap: "none" });
});

// On a narrow screen the strip scrolls sideways: the stage in hand stands in its middle.
const centre = () => {
  const here = document.querySelector("[data-strip] [aria-current]");
  const list = here?.closest("ol");
  if (list) list.scrollLeft = here.offsetLeft - (list.clientWidth - here.offsetWidth) / 2;
};
centre();

const mark = (slug) => {
  for (const link of document.querySelectorAll("[data-strip] a[data-stage]")) {
    if (link.dataset.stage === slug) link.setAttribute("aria-current", "page");
    else link.removeAttribute("aria-current");
  }
  centre();
};
const seen = new IntersectionObserver((entries) => {
  const here = entries.find((entry) => entry.isIntersecting);
  if (here) mark(here.target.dataset.stage);
}, { rootMargin: "-30% 0px -60% 0px" });
const watch = () => { for (const stage of document.querySelectorAll("section[data-stage]")) seen.observe(stage); };
watch();
document.addEventListener("htmx:afterSettle", watch);
for (const when of ["touched", "htmx:load"]) document.body.addEventListener(when, inOrder);
document.body.addEventListener("touched", () => {
  const middle = document.elementFromPoint(window.innerWidth / 3, window.innerHeight * 0.35)?.closest("section[data-stage]");
  if (middle) mark(middle.dataset.stage);
});
inOrder();
