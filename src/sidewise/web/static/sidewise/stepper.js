// Large buttons that step a number up and down; the field itself stays, for the keypad.

const ready = (root) => { for (const step of root.querySelectorAll("[data-step]")) step.hidden = false; };

document.addEventListener("click", (event) => {
  const step = event.target.closest?.("[data-step]");
  if (!step) return;
  const field = step.closest("[data-stepper]").querySelector("input");
  const now = Number.parseFloat(field.value);
  field.value = String((Number.isNaN(now) ? 0 : now) + Number(step.dataset.step));
  field.dispatchEvent(new Event("input", { bubbles: true }));
});

ready(document);
document.addEventListener("htmx:load", (event) => ready(event.target));
