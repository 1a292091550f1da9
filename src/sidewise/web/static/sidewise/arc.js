// The painful part of raising the arm, drawn on a half circle: drag either end, or use the
// arrow keys; the two number fields say the same and work without this.

const SVG = "http://www.w3.org/2000/svg";
const CX = 60, CY = 62, R = 50;
const make = (name, attributes) => {
  const node = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, value);
  return node;
};
// 0 degrees hangs down, 180 points up; the arm rises on the outer side.
const point = (degrees) => {
  const angle = ((degrees - 90) * Math.PI) / 180;
  return [CX + R * Math.cos(angle) - 30, CY - R * Math.sin(angle)];
};
const path = (from, to) => {
  const [x1, y1] = point(from), [x2, y2] = point(to);
  return `M${x1} ${y1}A${R} ${R} 0 0 0 ${x2} ${y2}`;
};

const build = (box) => {
  if (box.querySelector("svg")) return;
  const low = Number(box.dataset.low), high = Number(box.dataset.high);
  const [from, to] = box.querySelectorAll("input");
  const svg = make("svg", { viewBox: "0 0 92 124", class: "arc-picture" });
  const track = make("path", { d: path(low, high), class: "scale" });
  const part = make("path", { class: "painful" });
  svg.append(track, part);
  const handles = [from, to].map((field, number) => {
    const handle = make("circle", { r: 9, class: "handle", tabindex: 0, role: "slider",
      "aria-label": field.getAttribute("aria-label"), "aria-valuemin": low, "aria-valuemax": high });
    svg.append(handle);
    const start = () => Number.parseFloat(field.value) || (number ? Math.min(high, 120) : Math.max(low, 60));
    const set = (degrees) => {
      const other = Number.parseFloat((number ? from : to).value);
      let next = Math.round(Math.min(high, Math.max(low, degrees)) / 5) * 5;
      if (!Number.isNaN(other)) next = number ? Math.max(next, other) : Math.min(next, other);
      field.value = String(next);
      draw();
    };
    handle.addEventListener("keydown", (event) => {
      const move = { ArrowUp: 5, ArrowRight: 5, ArrowDown: -5, ArrowLeft: -5, PageUp: 20, PageDown: -20 }[event.key];
      if (!move) return;
      event.preventDefault();
      set(start() + move);
    });
    handle.addEventListener("pointerdown", (event) => { handle.setPointerCapture(event.pointerId); event.preventDefault(); handle.focus(); });
    handle.addEventListener("pointermove", (event) => {
      if (!handle.hasPointerCapture(event.pointerId)) return;
      const box = svg.getBoundingClientRect();
      // On the left of the page the drawing is mirrored, as the patient's arm is.
      const flip = new DOMMatrix(getComputedStyle(svg).transform).a < 0 ? -1 : 1;
      const across = flip > 0 ? event.clientX - box.left : box.right - event.clientX;
      const x = (across / box.width) * 92 - (CX - 30), y = ((event.clientY - box.top) / box.height) * 124 - CY;
      const degrees = (Math.atan2(-y, x) * 180) / Math.PI + 90;
      set(degrees > 270 ? low : degrees);
    });
    field.addEventListener("input", () => draw());
    return { handle, start };
  });
  const draw = () => {
    const [a, b] = handles.map(({ start }) => start());
    part.setAttribute("d", path(Math.min(a, b), Math.max(a, b)));
    part.classList.toggle("unset", !from.value && !to.value);
    handles.forEach(({ handle }, number) => {
      const [x, y] = point(number ? b : a);
      handle.setAttribute("cx", x);
      handle.setAttribute("cy", y);
      handle.setAttribute("aria-valuenow", number ? b : a);
      handle.setAttribute("aria-valuetext", `${number ? b : a} degrees`);
    });
  };
  draw();
  box.prepend(svg);
};

const all = (root) => { for (const box of root.querySelectorAll("[data-arc]")) build(box); };
all(document);
document.addEventListener("htmx:load", (event) => all(event.target.parentElement ?? document));
