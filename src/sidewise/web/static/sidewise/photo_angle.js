// The angle of a limb in a photograph, from points the examiner sets on it.
//
// <div data-photo-angle data-reference="trunk" data-point-sd="3" data-vertical-sd="1"></div>
//
// data-reference: "trunk" (proximal, joint, distal) or "vertical" (joint and distal, camera level).
// data-zero, data-sense, data-low, data-high: the movement's own terms (picture_turn of the domain);
// without them the angle is folded to 0 to 180.
// Emits "change" with detail {degrees, sd, instrument: "photograph"} on the element.
// The photograph is decoded into a canvas of this page: it is never sent, stored or given a URL.

const RADIANS = Math.PI / 180;
const TOO_CLOSE = 5; // SDs of a point: nearer, the direction of a limb is not known.
const START = { proximal: [0.45, 0.75], joint: [0.45, 0.3], distal: [0.75, 0.3] };
const NAMES = { proximal: "trunk", joint: "joint", distal: "limb" };
const seen = new WeakSet();

function slope(tail, head) {
  const dx = head.x - tail.x;
  const dy = head.y - tail.y;
  const square = dx * dx + dy * dy;
  return { angle: Math.atan2(dy, dx), length: Math.sqrt(square), gx: -dy / square, gy: dx / square };
}

const fold = (angle) => Math.acos(Math.max(-1, Math.min(1, Math.cos(angle)))) / RADIANS;

/** Folded to 0 to 180, or in the movement's own terms: nearest the middle of its limits. */
function inTerms(angle, turn) {
  if (!turn) return fold(angle);
  const middle = (turn.low + turn.high) / 2;
  const rest = (180 - (turn.sense * (angle / RADIANS - turn.zero) - middle)) % 360;
  return middle + 180 - (rest < 0 ? rest + 360 : rest);
}

/** Angle and standard error in degrees, first order; null where points are too close. */
export function photoAngle(points, reference, pointSd, verticalSd, turn = null) {
  const limb = slope(points.joint, points.distal);
  if (!(limb.length >= TOO_CLOSE * pointSd)) return null;
  const limbSd = (pointSd * Math.hypot(limb.gx, limb.gy)) / RADIANS;
  if (reference === "vertical") {
    const sd = Math.hypot(Math.SQRT2 * limbSd, verticalSd);
    return { degrees: inTerms(limb.angle - Math.PI / 2, turn), sd };
  }
  const trunk = slope(points.joint, points.proximal);
  if (!(trunk.length >= TOO_CLOSE * pointSd)) return null;
  const trunkSd = (pointSd * Math.hypot(trunk.gx, trunk.gy)) / RADIANS;
  const jointSd = (pointSd * Math.hypot(limb.gx - trunk.gx, limb.gy - trunk.gy)) / RADIANS;
  return { degrees: inTerms(limb.angle - trunk.angle, turn), sd: Math.hypot(limbSd, trunkSd, jointSd) };
}

function make(tag, properties, ...children) {
  const element = Object.assign(document.createElement(tag), properties);
  element.append(...children);
  return element;
}

function styled(element, rules) {
  Object.assign(element.style, rules);
  return element;
}

class PhotoAngle {
  constructor(root) {
    this.root = root;
    this.reference = root.dataset.reference === "vertical" ? "vertical" : "trunk";
    this.pointSd = Number(root.dataset.pointSd) || 3;
    this.verticalSd = Number(root.dataset.verticalSd) || 1;
    this.names = this.reference === "vertical" ? ["joint", "distal"] : ["proximal", "joint", "distal"];
    const { zero, sense, low, high } = root.dataset;
    this.turn = zero === undefined ? null
      : { zero: Number(zero), sense: Number(sense), low: Number(low), high: Number(high) };
    this.points = {};
    this.build();
  }

  build() {
    this.file = make("input", { type: "file", accept: "image/*" });
    this.file.addEventListener("change", (event) => {
      event.stopPropagation(); // The native event has no angle in it.
      this.open(this.file.files[0]);
    });
    this.stage = styled(make("div", { className: "photo-stage", hidden: true }), {
      position: "relative", touchAction: "none", maxWidth: "100%", width: "fit-content",
    });
    this.canvas = styled(make("canvas", {}), { display: "block", maxWidth: "100%" });
    this.canvas.setAttribute("role", "img");
    this.canvas.setAttribute("aria-label", "The photograph, with the lines of trunk and limb");
    this.stage.append(this.canvas);
    this.handles = this.names.map((name) => this.handle(name));
    this.stage.append(...this.handles);
    this.result = make("output", { className: "photo-result" });
    const help = "Put each point on its landmark: drag it, or focus it and use the arrow keys " +
      "(Shift: ten pixels). Camera square to the movement" +
      (this.reference === "vertical" ? " and held level." : ".");
    this.root.append(
      make("label", {}, "Photograph (stays on this device) ", this.file),
      make("p", { className: "photo-help" }, help), this.stage, this.result,
    );
  }

  handle(name) {
    const button = styled(make("button", { type: "button", className: "photo-point" }), {
      position: "absolute", width: "44px", height: "44px", margin: "-22px 0 0 -22px", padding: "0",
      borderRadius: "50%", border: "2px solid #22302f", background: "transparent",
      outlineOffset: "2px", boxShadow: "0 0 0 2px rgb(255 255 255 / 0.8)", touchAction: "none",
      cursor: "grab",
    });
    button.dataset.point = name;
    // The word hangs below the ring, so that the landmark inside it stays in view.
    button.append(styled(make("span", { textContent: NAMES[name] }), {
      position: "absolute", top: "46px", left: "50%", transform: "translateX(-50%)",
      padding: "1px 5px", borderRadius: "4px", background: "#fcfaf5", color: "#22302f",
      font: "600 12px system-ui, sans-serif",
    }));
    button.addEventListener("pointerdown", (event) => {
      button.setPointerCapture(event.pointerId);
      event.preventDefault();
      button.focus();
    });
    button.addEventListener("pointermove", (event) => {
      if (button.hasPointerCapture(event.pointerId)) this.drag(name, event);
    });
    button.addEventListener("keydown", (event) => this.key(name, event));
    return button;
  }

  async open(file) {
    if (!file) return;
    try {
      const bitmap = await createImageBitmap(file);
      const room = Math.min(1, 900 / bitmap.width);
      this.canvas.width = Math.round(bitmap.width * room);
      this.canvas.height = Math.round(bitmap.height * room);
      this.image = bitmap;
    } catch {
      this.result.textContent = "This file is not a picture that the browser can show.";
      return;
    }
    const { width, height } = this.canvas;
    for (const name of this.names) {
      this.points[name] = { x: START[name][0] * width, y: START[name][1] * height };
    }
    this.stage.hidden = false;
    this.draw(false);
  }

  drag(name, event) {
    const box = this.canvas.getBoundingClientRect();
    const scale = this.canvas.width / box.width;
    this.move(name, (event.clientX - box.left) * scale, (event.clientY - box.top) * scale);
  }

  key(name, event) {
    const step = event.shiftKey ? 10 : 1;
    const by = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
    if (!by) return;
    event.preventDefault();
    const at = this.points[name];
    this.move(name, at.x + by[0] * step, at.y + by[1] * step);
  }

  move(name, x, y) {
    const { width, height } = this.canvas;
    this.points[name] = { x: Math.max(0, Math.min(width, x)), y: Math.max(0, Math.min(height, y)) };
    this.draw(true);
  }

  draw(tell) {
    const { canvas, points } = this;
    const pen = canvas.getContext("2d");
    pen.drawImage(this.image, 0, 0, canvas.width, canvas.height);
    const from = this.reference === "vertical"
      ? { x: points.joint.x, y: canvas.height } : points.proximal;
    for (const [colour, width] of [["#fff", 6], ["#1d6a72", 2.5]]) {
      pen.strokeStyle = colour;
      pen.lineWidth = width;
      pen.beginPath();
      pen.moveTo(from.x, from.y);
      pen.lineTo(points.joint.x, points.joint.y);
      pen.lineTo(points.distal.x, points.distal.y);
      pen.stroke();
    }
    for (const name of this.names) this.mark(pen, points[name]);
    this.handles.forEach((handle, place) => this.put(handle, this.names[place]));
    this.say(tell);
  }

  mark(pen, at) {
    for (const [colour, radius] of [["#fff", 5], ["#1d6a72", 3]]) {
      pen.fillStyle = colour;
      pen.beginPath();
      pen.arc(at.x, at.y, radius, 0, 2 * Math.PI);
      pen.fill();
    }
  }

  put(handle, name) {
    const at = this.points[name];
    handle.style.left = `${(100 * at.x) / this.canvas.width}%`;
    handle.style.top = `${(100 * at.y) / this.canvas.height}%`;
    handle.setAttribute("aria-label",
      `${NAMES[name]} point, ${Math.round(at.x)} across, ${Math.round(at.y)} down`);
  }

  say(tell) {
    const found = photoAngle(this.points, this.reference, this.pointSd, this.verticalSd, this.turn);
    if (!found) {
      this.result.textContent = "The points are too close together: set them apart.";
      return;
    }
    this.result.textContent =
      `${Math.round(found.degrees)} degrees, give or take ${(1.96 * found.sd).toFixed(0)} from the points`;
    if (!tell) return; // Where the points were put by us nothing has been measured yet.
    const detail = { ...found, instrument: "photograph" };
    this.root.dispatchEvent(new CustomEvent("change", { detail, bubbles: true }));
  }
}

/** Starts every photograph tool under `root` that has not been started. */
export function attach(root = document) {
  for (const element of root.querySelectorAll("[data-photo-angle]")) {
    if (!seen.has(element)) {
      seen.add(element);
      new PhotoAngle(element);
    }
  }
}

attach();
document.addEventListener("htmx:load", (event) => attach(event.target.parentElement ?? document));
