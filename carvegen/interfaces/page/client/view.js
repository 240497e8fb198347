// Where on the screen a place of the print is. Lengths of the print are mm with y down; the screen's are CSS pixels.

const LEAST = 0.3,
  MOST = 120; // pixels a mm
const ROOM = 28, // pixels round the whole print
  BELOW = 34; // under it: the tools of what is held reach so high where they lie low
const USUAL = 96 / 25.4; // what a CSS pixel stands for where nobody has measured the screen
const KEY = "carvegen: pixels of 100 mm on this screen";

/** @typedef {{scale: number, x: number, y: number}} Where the place at the window's upper left corner, mm, and pixels a mm */

export class View {
  scale = 4;
  x = 0;
  y = 0;
  width = 1;
  height = 1;
  mirrored = false;
  /** Pixels that are kept clear above the whole print, where the tools of what is held lie. */
  above = ROOM;
  /** @type {[number, number]} */
  size = [1, 1];
  moved = () => {};

  /** Pixels a mm at true size. */
  get true_() {
    try {
      return Number(localStorage.getItem(KEY)) / 100 || USUAL;
    } catch {
      return USUAL;
    }
  }

  get measured() {
    try {
      return localStorage.getItem(KEY) !== null;
    } catch {
      return false;
    }
  }

  /** Remembers how many pixels lay beside 100 mm of a ruler. @param {number} pixels */
  measure(pixels) {
    try {
      localStorage.setItem(KEY, String(pixels));
    } catch {
      /* a browser that keeps nothing */
    }
  }

  /** @param {number} x @param {number} y @returns {[number, number]} */
  toScreen(x, y) {
    return [((this.mirrored ? this.size[0] - x : x) - this.x) * this.scale, (y - this.y) * this.scale];
  }

  /** @param {number} px @param {number} py @returns {[number, number]} */
  toPrint(px, py) {
    const x = this.x + px / this.scale;
    return [this.mirrored ? this.size[0] - x : x, this.y + py / this.scale];
  }

  /** Lets a context draw in mm of the print. @param {CanvasRenderingContext2D | OffscreenCanvasRenderingContext2D} pen @param {number} ratio */
  apply(pen, ratio) {
    transform(pen, this, this.mirrored, this.size[0], ratio);
  }

  /** @param {number} px @param {number} py in pixels */
  pan(px, py) {
    this.x -= px / this.scale;
    this.y -= py / this.scale;
    this.#hold();
    this.moved();
  }

  /** Another size, one place of the screen staying where it is. @param {number} scale @param {number} px @param {number} py */
  zoom(scale, px = this.width / 2, py = this.height / 2) {
    const wanted = Math.min(MOST, Math.max(LEAST, scale));
    this.x += px / this.scale - px / wanted;
    this.y += py / this.scale - py / wanted;
    this.scale = wanted;
    this.#hold();
    this.moved();
  }

  #whole = "";

  /** Whether the whole print is shown as `whole` has laid it. */
  get isWhole() {
    return this.#whole === `${this.scale} ${this.x} ${this.y}`;
  }

  whole() {
    const high = this.height - this.above - BELOW;
    this.scale = Math.max(LEAST, Math.min((this.width - 2 * ROOM) / this.size[0], high / this.size[1]));
    this.x = (this.size[0] - this.width / this.scale) / 2;
    this.y = (this.size[1] - high / this.scale) / 2 - this.above / this.scale;
    this.#whole = `${this.scale} ${this.x} ${this.y}`;
    this.moved();
  }

  /** Brings a place to the middle. @param {number} x @param {number} y @param {number} [scale] */
  goTo(x, y, scale) {
    if (scale) this.scale = Math.min(MOST, Math.max(LEAST, scale));
    this.x = (this.mirrored ? this.size[0] - x : x) - this.width / this.scale / 2;
    this.y = y - this.height / this.scale / 2;
    this.#hold();
    this.moved();
  }

  /** Keeps at least a corner of the print on the bench. */
  #hold() {
    const across = this.width / this.scale,
      down = this.height / this.scale,
      rest = 0.2;
    this.x = Math.min(
      this.size[0] - rest * Math.min(across, this.size[0]),
      Math.max(rest * Math.min(across, this.size[0]) - across, this.x),
    );
    this.y = Math.min(
      this.size[1] - rest * Math.min(down, this.size[1]),
      Math.max(rest * Math.min(down, this.size[1]) - down, this.y),
    );
  }
}

/**
 * @param {CanvasRenderingContext2D | OffscreenCanvasRenderingContext2D} pen @param {Where} at @param {boolean} mirrored
 * @param {number} width of the print, mm @param {number} ratio device pixels a CSS pixel
 */
export function transform(pen, at, mirrored, width, ratio) {
  const k = at.scale * ratio;
  if (mirrored) pen.setTransform(-k, 0, 0, k, (width - at.x) * k, -at.y * k);
  else pen.setTransform(k, 0, 0, k, -at.x * k, -at.y * k);
}
