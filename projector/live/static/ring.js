// A ring as on a lens: its engraving moves under a fixed index. Endless; drag, wheel and arrow keys turn it.

const PIXELS_A_CLICK = 9;
let gestures = Date.now() % 1e9;

/** A scale: from a value to clicks and back, and what is engraved.
 * @typedef {{to: (value: number) => number, from: (clicks: number) => number, step: (value: number, clicks: number) => number,
 *   engraved: (from: number, to: number) => [number, string][], places: (from: number, to: number) => [number, string][]}} Scale */

/** Figures as a person would type them. @param {number} value @param {number} figures */
export const figures = (value, figures) => Number(value.toPrecision(figures));

/** @param {{step: number, clicks_a_doubling: number, marks: number[], lowest: number | null, highest: number | null}} field
 * @returns {Scale} */
export function scaleOf(field) {
  const within = (value) => Math.min(Math.max(value, field.lowest ?? -Infinity), field.highest ?? Infinity);
  if (field.clicks_a_doubling) {
    // Figures that people know: 100, 200, 400; and 1, 2, 4 of anything else.
    const a = field.clicks_a_doubling, base = field.lowest !== null && field.highest >= 1e6 ? 100 : 1;
    const to = (value) => Math.log2(value / base) * a, from = (clicks) => within(figures(base * 2 ** (clicks / a), 4));
    return {
      to, from, places: () => [],
      step: (value, clicks) => {
        const marks = field.marks, whole = Number.isInteger(clicks);
        if (marks.length && whole) {
          // From mark to mark, as a lens clicks.
          const beyond = clicks > 0 ? marks.filter((mark) => mark > value * 1.005) : marks.filter((mark) => mark < value / 1.005).reverse();
          if (beyond.length) return within(beyond[Math.min(Math.abs(clicks), beyond.length) - 1]);
        }
        return from(to(value) + clicks);
      },
      engraved: (low, high) => {
        if (field.marks.length) {
          return field.marks.filter((mark) => to(mark) > low - 2 && to(mark) < high + 2)
            .map((mark) => [to(mark), Math.abs(Math.log2(mark) * 2 - Math.round(Math.log2(mark) * 2)) < 0.12 ? String(mark) : ""]);
        }
        const found = [];
        for (let k = Math.floor(low / a); k <= Math.ceil(high / a); k++) {
          for (let i = 0; i < a; i++) found.push([k * a + i, i ? "" : short(base * 2 ** k)]);
        }
        return found;
      },
    };
  }
  const step = field.step || 1, digits = Math.max(0, Math.ceil(-Math.log10(step / 10)));
  const from = (clicks) => within(Number((clicks * step).toFixed(digits)));
  return {
    to: (value) => value / step, from, places: () => [],
    step: (value, clicks) => from(Math.round((value / step + clicks) * 100) / 100),
    engraved: (low, high) => {
      const found = [];
      for (let k = Math.ceil(low); k <= high; k++) found.push([k, k % 10 ? "" : short(k * step)]);
      return found;
    },
  };
}

/** The scale of a focus ring: evenly in 1/distance, as a helicoid turns, with places that lie before the lens.
 * @param {[string, number][]} marks @returns {Scale} */
export function focusScale(marks) {
  const A = 90;
  const distances = [0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1, 1.2, 1.4, 1.6, 1.8, 2, 2.2, 2.5, 3, 3.5, 4, 5, 7, 10, 20];
  const to = (value) => -A / value, from = (clicks) => (clicks < -0.09 ? figures(-A / clicks, 5) : 1000);
  return {
    to, from,
    step: (value, clicks) => from(to(value) + clicks * 0.1),
    engraved: (low, high) => [...distances.map((d) => /** @type {[number, string]} */ ([to(d), String(d)])), /** @type {[number, string]} */ ([0, "∞"])]
      .filter(([at]) => at > low - 3 && at < high + 3),
    places: (low, high) => marks.map(([name, d]) => /** @type {[number, string]} */ ([to(d), name])).filter(([at]) => at > low && at < high),
  };
}

const short = (value) => String(figures(value, 3));

export class Ring {
  /**
   * @param {HTMLCanvasElement} canvas
   * @param {{label: string, unit: string, scale: Scale, turned: (value: number, gesture: number, isTurning: boolean) => void,
   *   back: () => void, limits?: [number | null, number | null], says?: (value: number) => string}} about
   */
  constructor(canvas, about) {
    this.canvas = canvas; this.about = about;
    this.value = 0; this.ofFile = /** @type {number | null} */ (null); this.isHeld = false;
    canvas.tabIndex = 0;
    canvas.setAttribute("role", "slider");
    canvas.setAttribute("aria-label", about.label);
    canvas.title = about.label;
    canvas.addEventListener("pointerdown", (event) => this.#grasp(event));
    canvas.addEventListener("pointermove", (event) => this.#drag(event));
    for (const end of ["pointerup", "pointercancel"]) canvas.addEventListener(end, () => this.#release());
    canvas.addEventListener("dblclick", () => about.back());
    canvas.addEventListener("wheel", (event) => this.#wheel(event), { passive: false });
    canvas.addEventListener("keydown", (event) => this.#key(event));
    canvas.addEventListener("keyup", () => this.#settleSoon(0));
    new ResizeObserver(() => this.draw()).observe(canvas);
  }

  /** Show a value; while a hand holds the ring, the hand's own. @param {number} value @param {number | null} ofFile */
  set(value, ofFile) {
    this.ofFile = ofFile;
    if (!this.isHeld && !this.timer) this.value = value;
    this.#say(); this.draw();
  }

  #say() {
    const { unit, limits = [null, null], says } = this.about;
    this.canvas.setAttribute("aria-valuenow", String(this.value));
    this.canvas.setAttribute("aria-valuemin", String(limits[0] ?? -1000000));
    this.canvas.setAttribute("aria-valuemax", String(limits[1] ?? 1000000));
    this.canvas.setAttribute("aria-valuetext", says ? says(this.value) : `${short(this.value)} ${unit}`);
  }

  #turn(value, isTurning) {
    if (!Number.isFinite(value)) return;
    this.value = value;
    this.#say(); this.draw();
    this.about.turned(value, this.gesture, isTurning);
  }

  #grasp(event) {
    if (event.button !== 0) return;
    this.canvas.focus();
    this.canvas.setPointerCapture(event.pointerId);
    this.isHeld = true; this.hasMoved = false; this.gesture = ++gestures;
    this.at = event.clientX; this.clicks = this.about.scale.to(this.value);
  }

  #drag(event) {
    if (!this.isHeld) return;
    const moved = event.clientX - this.at;
    if (!moved) return;
    this.at = event.clientX; this.hasMoved = true;
    this.clicks -= (moved / PIXELS_A_CLICK) * (event.shiftKey ? 0.1 : 1);
    this.#turn(this.about.scale.from(this.clicks), true);
    this.clicks = clamped(this.clicks, this.about.scale.to(this.value));
  }

  #release() {
    if (!this.isHeld) return;
    this.isHeld = false;
    if (this.hasMoved) this.#turn(this.value, false);
  }

  #step(clicks) {
    if (!this.timer) this.gesture = ++gestures;
    this.#turn(this.about.scale.step(this.value, clicks), true);
    this.#settleSoon(350);
  }

  /** Wheel and keys have no end of their own: what comes after a pause is another gesture. */
  #settleSoon(ms) {
    if (ms === 0 && !this.timer) return;
    clearTimeout(this.timer);
    this.timer = setTimeout(() => { this.timer = 0; this.#turn(this.value, false); }, ms || 250);
  }

  #wheel(event) {
    event.preventDefault();
    const way = Math.sign(event.deltaY || event.deltaX);
    if (way) this.#step(-way * (event.shiftKey ? 0.1 : 1));
  }

  #key(event) {
    const ways = { ArrowRight: 1, ArrowUp: 1, ArrowLeft: -1, ArrowDown: -1, PageUp: 10, PageDown: -10 };
    if (event.key in ways && !event.ctrlKey && !event.altKey && !event.metaKey) {
      event.preventDefault();
      this.#step(ways[event.key] * (event.shiftKey ? 0.1 : 1));
    } else if (event.key === "Delete" || event.key === "Backspace") {
      event.preventDefault();
      clearTimeout(this.timer); this.timer = 0;
      this.about.back();
    }
  }

  draw() {
    const { canvas } = this, dense = window.devicePixelRatio || 1;
    const width = canvas.clientWidth, height = canvas.clientHeight;
    if (!width) return;
    if (canvas.width !== Math.round(width * dense)) canvas.width = Math.round(width * dense);
    if (canvas.height !== Math.round(height * dense)) canvas.height = Math.round(height * dense);
    const pen = canvas.getContext("2d"), { scale } = this.about;
    pen.setTransform(dense, 0, 0, dense, 0, 0);
    // A turned cylinder: darker to its sides.
    const metal = pen.createLinearGradient(0, 0, width, 0);
    for (const [at, grey] of [[0, "#0c0c0c"], [0.5, "#333"], [1, "#0c0c0c"]]) metal.addColorStop(at, grey);
    pen.fillStyle = metal;
    pen.fillRect(0, 0, width, height);
    const middle = scale.to(this.value), half = width / 2 / PIXELS_A_CLICK;
    const x = (clicks) => width / 2 + (clicks - middle) * PIXELS_A_CLICK;
    this.#engrave(pen, scale.engraved(middle - half, middle + half), x, width, height);
    this.#places(pen, scale.places(middle - half, middle + half), x, width);
    if (this.ofFile !== null && Number.isFinite(scale.to(this.ofFile)) && this.ofFile !== this.value) {
      const at = Math.min(Math.max(x(scale.to(this.ofFile)), 3), width - 3);
      pen.fillStyle = "#e0b060";
      pen.beginPath(); pen.moveTo(at, height - 6); pen.lineTo(at - 4, height); pen.lineTo(at + 4, height); pen.fill();
    }
    // The index: through the ticks, and short above, so that the figure under it can be read.
    pen.fillStyle = "#fff";
    pen.fillRect(width / 2 - 1, height - 10, 2, 10);
    pen.fillRect(width / 2 - 1, 0, 2, 3);
  }

  #engrave(pen, marks, x, width, height) {
    const base = height;
    pen.font = "10.5px system-ui, sans-serif"; pen.textAlign = "center"; pen.textBaseline = "alphabetic";
    let free = -Infinity;
    for (const [clicks, text] of marks) {
      const at = x(clicks);
      if (at < -20 || at > width + 20) continue;
      pen.globalAlpha = 1 - 0.72 * Math.min(1, Math.abs(at / width - 0.5) * 2) ** 2;
      pen.fillStyle = text ? "#cfcfcf" : "#7a7a7a";
      pen.fillRect(at - 0.5, base - (text ? 9 : 6), 1, text ? 9 : 6);
      const room = pen.measureText(text).width / 2 + 4;
      if (text && at - room > free) { pen.fillStyle = "#e2e2e2"; pen.fillText(text, at, base - 12); free = at + room; }
    }
    pen.globalAlpha = 1;
  }

  /** Places before the lens, named where there is room. */
  #places(pen, places, x, width) {
    pen.font = "10.5px system-ui, sans-serif"; pen.textAlign = "left"; pen.textBaseline = "top";
    const nearest = [...places].sort((a, b) => Math.abs(x(a[0]) - width / 2) - Math.abs(x(b[0]) - width / 2));
    const taken = [];
    for (const [clicks, name] of nearest) {
      const at = x(clicks), text = name.split(".").pop().replaceAll("_", " ");
      pen.fillStyle = "#bdbdbd";
      pen.fillRect(at - 0.5, 0, 1, 5);
      const end = at + 3 + pen.measureText(text).width;
      if (end > width || taken.some(([a, b]) => at < b + 6 && end > a - 6)) continue;
      taken.push([at, end]);
      pen.fillStyle = "#d8d8d8"; pen.fillText(text, at + 3, 3);
    }
  }
}

/** Beyond a limit the hand has nothing to wind back. */
const clamped = (wanted, reached) => (Math.abs(wanted - reached) > 1 ? reached : wanted);
