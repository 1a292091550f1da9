// The angle of a limb from the tilt sensor of the phone laid along it.
//
// <div data-tilt-angle data-way="hanging" data-sd="1"></div>
//
// data-way: "turn" (one reading in the movement's own terms: data-zero, data-sense, data-low and
// data-high, as gravity_turn of the domain has them), "hanging" (one reading against gravity) or
// "between" (first and second reading).
// Emits "change" with detail {degrees, sd, instrument: "phone"}; typed by hand: sd is null and the
// instrument is the examiner's to choose.

const RADIANS = Math.PI / 180;
const WAIT = 1500; // ms without a reading until the hand entry is offered as the way to go.
const seen = new WeakSet();

/** The upward vertical in the device's axes: third row of Rz(alpha) Rx(beta) Ry(gamma). */
export function up({ beta, gamma }) {
  const b = beta * RADIANS;
  const g = gamma * RADIANS;
  return [-Math.cos(b) * Math.sin(g), Math.sin(b), Math.cos(b) * Math.cos(g)];
}

const arc = (cosine) => Math.acos(Math.max(-1, Math.min(1, cosine))) / RADIANS;

/** Degrees the long axis is raised from hanging, the top of the phone towards the joint. */
export const angleFromHanging = (reading) => arc(up(reading)[1]);

/** Degrees turned against gravity between two readings. */
export function angleBetween(first, second) {
  const other = up(second);
  return arc(up(first).reduce((sum, part, place) => sum + part * other[place], 0));
}

const SQUARE = 25; // Degrees that the screen may look away from the axis before it is said.

/** The angle nearest the middle of the movement's limits, from a direction in degrees. */
export function turnedFrom({ zero, sense, low, high }, direction) {
  const middle = (low + high) / 2;
  const raw = sense * (direction - zero) - middle;
  const rest = (180 - raw) % 360;
  return middle + 180 - (rest < 0 ? rest + 360 : rest);
}

/** The movement's angle, and how far the screen looks away from its axis; both in degrees. */
export function angleOfTurn(reading, turn) {
  const [x, y, z] = up(reading);
  const away = Math.atan2(Math.abs(z), Math.hypot(x, y)) / RADIANS;
  return { degrees: turnedFrom(turn, Math.atan2(x, y) / RADIANS), away };
}

/** Zero, sense and limits of a movement from the element's attributes, or null without them. */
export function turnOf({ zero, sense, low, high }) {
  return zero === undefined ? null
    : { zero: Number(zero), sense: Number(sense), low: Number(low), high: Number(high) };
}

function make(tag, properties, ...children) {
  const element = Object.assign(document.createElement(tag), properties);
  element.append(...children);
  return element;
}

class TiltAngle {
  constructor(root) {
    this.root = root;
    this.between = root.dataset.way === "between";
    this.turn = root.dataset.way === "turn" ? turnOf(root.dataset) : null;
    this.sd = Number(root.dataset.sd) || 1;
    this.build();
  }

  build() {
    this.start = this.button("Use the tilt sensor", () => this.begin());
    this.take = this.button(this.between ? "Take first reading" : "Take reading", () => this.read());
    this.take.hidden = true;
    this.live = make("output", { className: "tilt-live" });
    this.result = make("p", { className: "tilt-result" });
    this.result.setAttribute("role", "status");
    this.hand = make("input", { type: "number", min: -90, max: 190, step: 1, inputMode: "numeric" });
    this.hand.addEventListener("change", (event) => {
      event.stopPropagation();
      this.byHand();
    });
    // Where the movement has terms of its own they stand above the tool.
    const help = this.turn ? "Lay the phone as said above, and hold still." :
      "Lay the phone along the limb, its top towards the joint. Gravity cannot see a turn " +
      "about the vertical: measure rotation lying down.";
    this.root.append(make("p", { className: "tilt-help" }, help), this.start, this.take, this.live,
      this.result, make("label", {}, "Degrees by hand ", this.hand));
  }

  button(words, action) {
    const button = make("button", { type: "button" }, words);
    button.addEventListener("click", action);
    return button;
  }

  async begin() {
    const sensor = window.DeviceOrientationEvent;
    if (!sensor) return this.without("This device has no tilt sensor.");
    if (typeof sensor.requestPermission === "function") {
      const answer = await sensor.requestPermission().catch(() => "denied");
      if (answer !== "granted") return this.without("The sensor was not allowed.");
    }
    const listen = (event) => {
      // The element may have been replaced: leave no listener behind.
      if (!this.root.isConnected) return window.removeEventListener("deviceorientation", listen);
      this.show(event);
    };
    window.addEventListener("deviceorientation", listen);
    this.result.textContent = "Waiting for the sensor.";
    window.setTimeout(() => {
      if (!this.now) this.without("No reading came from the sensor.");
    }, WAIT);
  }

  without(why) {
    this.result.textContent = `${why} Type the degrees instead.`;
    this.hand.focus();
  }

  show(event) {
    if (event.beta === null || event.gamma === null) return;
    if (!this.now) this.result.textContent = "";
    this.now = { beta: event.beta, gamma: event.gamma };
    this.start.hidden = true;
    this.take.hidden = false;
    const degrees = this.degrees();
    const from = this.first;
    this.live.textContent = this.between && !from ? "ready" : `${Math.round(degrees)} degrees`;
  }

  degrees() {
    if (this.turn) return angleOfTurn(this.now, this.turn).degrees;
    return this.first ? angleBetween(this.first, this.now) : angleFromHanging(this.now);
  }

  read() {
    if (this.between && !this.first) {
      this.first = this.now;
      this.take.textContent = "Take second reading";
      this.result.textContent = "First reading taken. Move the limb, then take the second.";
      return;
    }
    const degrees = this.degrees();
    const away = this.turn ? angleOfTurn(this.now, this.turn).away : 0;
    if (away > SQUARE) {
      this.result.textContent = `The screen looks ${Math.round(away)} degrees away from the axis: ` +
        "turn the phone as said above, then take the reading again.";
      return;
    }
    const sd = (this.between ? Math.SQRT2 * this.sd : this.sd) / Math.cos(away * RADIANS);
    this.result.textContent = `${Math.round(degrees)} degrees taken.`;
    this.first = undefined;
    if (this.between) this.take.textContent = "Take first reading";
    this.tell({ degrees, sd, instrument: "phone" });
  }

  byHand() {
    const degrees = this.hand.valueAsNumber;
    if (Number.isNaN(degrees) || !this.hand.checkValidity()) {
      this.result.textContent = "Degrees from -90 to 190, please.";
      return;
    }
    this.result.textContent = `${degrees} degrees, typed by hand.`;
    this.tell({ degrees, sd: null, instrument: null });
  }

  tell(detail) {
    this.root.dispatchEvent(new CustomEvent("change", { detail, bubbles: true }));
  }
}

/** Starts every tilt tool under `root` that has not been started. */
export function attach(root = document) {
  for (const element of root.querySelectorAll("[data-tilt-angle]")) {
    if (!seen.has(element)) {
      seen.add(element);
      new TiltAngle(element);
    }
  }
}

attach();
document.addEventListener("htmx:load", (event) => attach(event.target.parentElement ?? document));
