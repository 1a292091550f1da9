// Draws with a finger or the pointer on a plate: a scar, a swelling, the pain. Without this, and by
// keyboard, a place of the list is marked, or a line is drawn from place to place. The record keeps
// the line in half-millimetres of the body, so that it lies right on every plate of that view.

const CLOSE = 3; // half-millimetres: points nearer than this to a straight line are left out
const MOST = 120; // points

const pointOf = (svg, event) => {
  const at = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
  return [Math.round(at.x), Math.round(at.y)];
};

const off = ([x, y], [ax, ay], [bx, by]) => {
  const length = Math.hypot(bx - ax, by - ay);
  return length ? Math.abs((bx - ax) * (ay - y) - (ax - x) * (by - ay)) / length : Math.hypot(x - ax, y - ay);
};

export const simplified = (points, close = CLOSE) => {
  if (points.length < 3) return points;
  const first = points[0], last = points.at(-1);
  let far = 0, most = 0;
  points.slice(1, -1).forEach((point, number) => {
    const away = off(point, first, last);
    if (away > most) [far, most] = [number + 1, away];
  });
  if (most <= close) return [first, last];
  return [...simplified(points.slice(0, far + 1), close), ...simplified(points.slice(far), close).slice(1)];
};

export const fewer = (points) => {
  let close = CLOSE, found = simplified(points, close);
  while (found.length > MOST) found = simplified(points, close *= 2);
  return found;
};

const textOf = (points) => points.map((point) => point.join(",")).join(" ");
const middle = (points) => points.reduce((sum, [x]) => sum + x, 0) / points.length;

// On a plate of both sides x is 0 on the midline and the side on the left of the page is negative.
const sideOf = (form, points) => {
  const { side, leftOfPage } = form.dataset;
  if (side) return side;
  const other = leftOfPage === "left" ? "right" : "left";
  return middle(points) < 0 ? leftOfPage : other;
};

const placeAt = (svg, [x, y]) => {
  const point = new DOMPoint(x, y);
  for (const path of svg.querySelectorAll(".place-target path")) {
    const local = path.transform.baseVal.numberOfItems ? new DOMPoint(-x, y) : point;
    if (path.isPointInFill(local)) return path.parentNode.dataset.label;
  }
  return null;
};

const keep = (form, points, structure) => {
  const { item, what, view } = form.dataset;
  const value = { kind: "place", what, view, drawn: textOf(points), ...(structure && { structure }) };
  form.elements.findings.value = JSON.stringify([{ item, side: sideOf(form, points), value }]);
  form.requestSubmit();
};

let stroke = null;

const begin = (event) => {
  const svg = event.target.closest?.("svg[data-drawing]");
  const form = document.querySelector("[data-place-form]");
  if (!svg || !form || stroke || event.button > 0) return;
  event.preventDefault();
  svg.setPointerCapture(event.pointerId);
  const line = document.createElementNS("http://www.w3.org/2000/svg", "polyline");
  line.setAttribute("class", "fig-stroke");
  line.setAttribute("vector-effect", "non-scaling-stroke");
  svg.append(line);
  stroke = { svg, form, line, id: event.pointerId, points: [pointOf(svg, event)] };
};

const go = (event) => {
  if (event.pointerId !== stroke?.id) return;
  stroke.points.push(pointOf(stroke.svg, event));
  stroke.line.setAttribute("points", textOf(stroke.points));
};

const end = (event) => {
  if (event.pointerId !== stroke?.id) return;
  const { svg, form, line, points } = stroke;
  stroke = null;
  if (event.type === "pointercancel") { line.remove(); return; }
  keep(form, fewer(points), placeAt(svg, points[0]));
};

document.addEventListener("pointerdown", begin);
document.addEventListener("pointermove", go);
document.addEventListener("pointerup", end);
document.addEventListener("pointercancel", end);

const numbers = (text) => text.split(",").map(Number);
const ready = () => { for (const button of document.querySelectorAll("[data-line-draw]")) button.hidden = false; };
document.addEventListener("htmx:afterSwap", ready);
ready();

// From place to place, by keyboard: the button is inside the form that a touch sends.
document.addEventListener("click", (event) => {
  const button = event.target.closest?.("[data-line-draw]");
  if (!button) return;
  event.preventDefault();
  const form = button.form;
  const from = form.querySelector("[data-line-from]"), to = form.querySelector("[data-line-to]");
  const points = from.value === to.value ? [numbers(from.value)] : [numbers(from.value), numbers(to.value)];
  const label = from.selectedOptions[0].textContent.replace(/^(left|right) /, "");
  keep(form, points, label);
});
