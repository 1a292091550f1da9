// Names what lies under the finger on a plate, and shows a structure chosen from the list.
// Without this the list says the same.

const page = document.querySelector("[data-anatomy]");
const said = page?.querySelector("[data-under]");

const entryOf = (name) => [...page.querySelectorAll("[data-named]")].find((entry) => entry.dataset.named === name);

const tell = (name, side, words) => {
  for (const use of page.querySelectorAll("use[data-structure]")) {
    use.classList.toggle("is-under", use.dataset.structure === name && (!side || !use.dataset.side || use.dataset.side === side));
  }
  const entry = entryOf(name);
  const label = entry?.querySelector(".name").textContent ?? words;
  const lines = [...(entry?.querySelectorAll("dl div") ?? [])].map((line) => `${line.children[0].textContent}: ${line.children[1].textContent}`);
  said.classList.add("told");
  said.textContent = [side ? `${side} ${label}` : label, ...lines].join("; ") + ".";
};

if (page) {
  page.querySelector(".fig").addEventListener("click", (event) => {
    const use = event.target.closest?.("use[data-structure]");
    if (use) tell(use.dataset.structure, use.dataset.side, use.dataset.label);
  });
  for (const button of page.querySelectorAll("[data-show-structure]")) {
    button.hidden = false;
    button.nextElementSibling.classList.add("away");
    button.addEventListener("click", () => {
      const layer = button.closest("[data-layer]").dataset.layer;
      const tick = page.querySelector(`.peel-${layer}`);
      if (tick) tick.checked = true;
      tell(button.dataset.showStructure, "");
    });
  }
}
