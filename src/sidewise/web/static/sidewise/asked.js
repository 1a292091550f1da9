// The questions asked of everybody are one stop of the Tab key; the arrows move among the answers.
// Answers stand as a grid: up and down to the same answer of another question, left and right within.

const box = document.querySelector("[data-asked]");
const grid = () => [...box.querySelectorAll("[data-question]")].map((one) => [...one.querySelectorAll("button")]);

const stop = (here) => {
  for (const button of grid().flat()) button.tabIndex = button === here ? 0 : -1;
};
const ready = () => {
  const buttons = grid().flat();
  stop(buttons.find((one) => one === document.activeElement) ?? buttons.find((one) => one.tabIndex === 0 && one.hasAttribute("tabindex")) ?? buttons[0]);
};
const BY = { ArrowUp: [-1, 0], ArrowDown: [1, 0], ArrowLeft: [0, -1], ArrowRight: [0, 1] };

box?.addEventListener("focusin", (event) => { if (event.target.matches("button")) stop(event.target); });
box?.addEventListener("keydown", (event) => {
  const step = BY[event.key];
  const rows = grid();
  const row = rows.findIndex((buttons) => buttons.includes(event.target));
  if (!step || row < 0) return;
  event.preventDefault();
  const to = rows[row + step[0]] ?? rows[row];
  to[rows[row].indexOf(event.target) + step[1]]?.focus();
});
if (box) {
  ready();
  document.body.addEventListener("touched", ready);
}
