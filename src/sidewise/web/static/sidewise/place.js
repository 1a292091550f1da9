// A free mark on the figure: touch where it is. The side follows from the half that was touched,
// and is written; every named place can be marked without this, from its own entry.

document.addEventListener("click", (event) => {
  const svg = event.target.closest?.("svg[data-marking]");
  const form = document.querySelector("[data-place-form]");
  if (!svg || !form || event.target.closest("a")) return;
  const box = svg.getBoundingClientRect();
  const x = (event.clientX - box.left) / box.width, y = (event.clientY - box.top) / box.height;
  const { item, what, view, leftOfPage, oneSided } = form.dataset;
  const other = leftOfPage === "left" ? "right" : "left";
  const side = oneSided || x < 0.5 ? leftOfPage : other;
  const value = { kind: "place", what: what.split(",")[0], view, x: x.toFixed(3), y: y.toFixed(3) };
  form.elements.findings.value = JSON.stringify([{ item, side, value }]);
  form.requestSubmit();
});
