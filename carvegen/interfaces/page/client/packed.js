// Shapes as they come over: packed arrays in print view, y up; here y runs down, as on the screen.

/**
 * A shape of the print: one ring after the other in `xy`, mm, y down. Outer rings run one way round and holes the other.
 * @typedef {{id: number, kind: string, name: string, blocks: string, xy: Float32Array, starts: number[] | null, x0: number, y0: number, x1: number, y1: number}} Shape
 * @typedef {{x0: number, y0: number, x1: number, y1: number}} Box
 * @typedef {import("./transport.js").Told} Told
 */

const CELL_MM = 5;
const MOST_CELLS = 4096;

/**
 * @param {ArrayBuffer} buffer @param {number} height of the print, mm @param {number} step mm
 * @returns {{told: Told, shapes: Shape[]}}
 */
export function unpack(buffer, height, step) {
  const length = new Uint32Array(buffer, 0, 1)[0];
  /** @type {Told} */
  const told = JSON.parse(new TextDecoder().decode(new Uint8Array(buffer, 4, length)));
  if (buffer.byteLength <= 4 + length) return { told, shapes: [] };
  const [rings, points] = new Uint32Array(buffer, 4 + length, 2);
  const ids = new Uint32Array(buffer, 12 + length, rings),
    starts = new Uint32Array(buffer, 12 + length + 4 * rings, rings + 1);
  const raw = new Uint16Array(buffer, 16 + length + 8 * rings, 2 * points),
    xy = new Float32Array(2 * points);
  for (let k = 0; k < raw.length; k += 2) {
    xy[k] = raw[k] * step;
    xy[k + 1] = height - raw[k + 1] * step;
  }
  /** @type {Map<number, {kind: string, name: string, blocks: string}>} */
  const group = new Map();
  for (const lot of told.groups) {
    const head = { kind: lot.kind, name: lot.name, blocks: lot.blocks.join("\n") };
    for (const id of lot.ids) group.set(id, head);
  }
  /** @type {Shape[]} */
  const shapes = [];
  for (let k = 0; k < rings;) {
    let end = k + 1;
    while (end < rings && ids[end] === ids[k]) end++;
    const head = group.get(ids[k]) ?? { kind: "snow", name: "", blocks: "" };
    const begins = end - k === 1 ? null : Array.from(starts.subarray(k, end + 1), (at) => 2 * (at - starts[k]));
    shapes.push(shape(ids[k], head, xy.subarray(2 * starts[k], 2 * starts[end]), begins));
    k = end;
  }
  return { told, shapes };
}

/**
 * @param {number} id @param {{kind: string, name: string, blocks: string}} head @param {Float32Array} xy @param {number[] | null} starts
 * @returns {Shape}
 */
function shape(id, head, xy, starts) {
  let x0 = Infinity,
    y0 = Infinity,
    x1 = -Infinity,
    y1 = -Infinity;
  for (let k = 0; k < xy.length; k += 2) {
    const x = xy[k],
      y = xy[k + 1];
    if (x < x0) x0 = x;
    if (x > x1) x1 = x;
    if (y < y0) y0 = y;
    if (y > y1) y1 = y;
  }
  if (head.kind !== "block") orient(xy, starts ?? [0, xy.length]);
  return { id, ...head, xy, starts, x0, y0, x1, y1 };
}

/** Turns rings so that shapes that lie over one another stay full and their holes stay holes. @param {Float32Array} xy @param {number[]} starts */
export function orient(xy, starts) {
  for (let r = 0; r + 1 < starts.length; r++) {
    let depth = 0;
    for (let o = 0; starts.length > 2 && o + 1 < starts.length; o++) {
      if (o !== r && inRing(xy, starts[o], starts[o + 1], xy[starts[r]], xy[starts[r] + 1])) depth++;
    }
    if (twiceArea(xy, starts[r], starts[r + 1]) > 0 === (depth % 2 === 1)) turnRound(xy, starts[r], starts[r + 1]);
  }
}

/** @param {Float32Array} xy @param {number} from @param {number} to */
function twiceArea(xy, from, to) {
  let sum = 0;
  for (let i = from, j = to - 2; i < to; j = i, i += 2) sum += xy[j] * xy[i + 1] - xy[i] * xy[j + 1];
  return sum;
}

/** @param {Float32Array} xy @param {number} from @param {number} to */
function turnRound(xy, from, to) {
  for (let i = from, j = to - 2; i < j; i += 2, j -= 2) {
    const x = xy[i],
      y = xy[i + 1];
    xy[i] = xy[j];
    xy[i + 1] = xy[j + 1];
    xy[j] = x;
    xy[j + 1] = y;
  }
}

/** @param {Float32Array} xy @param {number} from @param {number} to @param {number} x @param {number} y */
function inRing(xy, from, to, x, y) {
  let inside = false;
  for (let i = from, j = to - 2; i < to; j = i, i += 2) {
    if (xy[i + 1] > y !== xy[j + 1] > y && x < ((xy[j] - xy[i]) * (y - xy[i + 1])) / (xy[j + 1] - xy[i + 1]) + xy[i])
      inside = !inside;
  }
  return inside;
}

/** Whether a place is in a shape. @param {Shape} shape @param {number} x @param {number} y */
export function holds(shape, x, y) {
  const starts = shape.starts ?? [0, shape.xy.length];
  let inside = false;
  for (let r = 0; r + 1 < starts.length; r++) if (inRing(shape.xy, starts[r], starts[r + 1], x, y)) inside = !inside;
  return inside;
}

/** Adds a shape to a path; corners nearer to the last one than `least` mm are passed over. @param {Path2D} path @param {{xy: Float32Array, starts: number[] | null}} outline @param {number} least */
export function trace(path, outline, least = 0) {
  const { xy } = outline,
    starts = outline.starts ?? [0, xy.length],
    near = least * least;
  for (let r = 0; r + 1 < starts.length; r++) {
    let x = xy[starts[r]],
      y = xy[starts[r] + 1];
    path.moveTo(x, y);
    for (let k = starts[r] + 2; k < starts[r + 1]; k += 2) {
      const dx = xy[k] - x,
        dy = xy[k + 1] - y;
      if (dx * dx + dy * dy < near) continue;
      path.lineTo((x = xy[k]), (y = xy[k + 1]));
    }
    path.closePath();
  }
}

/** The shapes of the print by id, and by where they lie. */
export class Shapes {
  /** @type {Map<number, Shape>} */
  byId = new Map();
  /** @type {Map<number, Shape[]> | null} */
  #cells = null;

  clear() {
    this.byId.clear();
    this.#cells = null;
  }

  /** @param {Shape} shape */
  add(shape) {
    this.byId.set(shape.id, shape);
    if (this.#cells && shape.kind !== "block") this.#put(shape, this.#cells);
  }

  /** @param {number} id @returns {Shape | undefined} */
  remove(id) {
    const shape = this.byId.get(id);
    if (!shape) return undefined;
    this.byId.delete(id);
    if (this.#cells && shape.kind !== "block") {
      for (const key of keys(shape)) {
        const cell = this.#cells.get(key),
          at = cell?.indexOf(shape) ?? -1;
        if (cell && at >= 0) cell.splice(at, 1);
      }
    }
    return shape;
  }

  /** @param {Shape} shape @param {Map<number, Shape[]>} cells */
  #put(shape, cells) {
    for (const key of keys(shape)) {
      const cell = cells.get(key);
      if (cell) cell.push(shape);
      else cells.set(key, [shape]);
    }
  }

  /** What is no block's picture and may reach into a box. @param {Box} box @returns {Set<Shape>} */
  within(box) {
    if (!this.#cells) {
      this.#cells = new Map();
      for (const shape of this.byId.values()) if (shape.kind !== "block") this.#put(shape, this.#cells);
    }
    /** @type {Set<Shape>} */
    const shapes = new Set();
    for (const key of keys(box)) {
      for (const shape of this.#cells.get(key) ?? []) if (meet(shape, box)) shapes.add(shape);
    }
    return shapes;
  }

  /** The smallest shape at a place, or the nearest within reach. @param {number} x @param {number} y @param {number} reach mm @returns {Shape | null} */
  at(x, y, reach) {
    /** @type {Shape | null} */
    let best = null;
    let least = Infinity;
    for (const shape of this.within({ x0: x - reach, y0: y - reach, x1: x + reach, y1: y + reach })) {
      if (shape.kind !== "snow") continue;
      const size = (shape.x1 - shape.x0) * (shape.y1 - shape.y0);
      const score = holds(shape, x, y) ? size : 1e6 + far(shape, x, y);
      if (score < least && score < 1e6 + reach) [best, least] = [shape, score];
    }
    return best;
  }
}

/** @param {Shape} shape @param {number} x @param {number} y */
function far(shape, x, y) {
  let least = Infinity;
  for (let k = 0; k < shape.xy.length; k += 2) least = Math.min(least, Math.hypot(shape.xy[k] - x, shape.xy[k + 1] - y));
  return least;
}

/** @param {Box} a @param {Box} b */
export const meet = (a, b) => a.x1 >= b.x0 && a.x0 <= b.x1 && a.y1 >= b.y0 && a.y0 <= b.y1;

/** The smallest box round several. @param {Iterable<Box>} all @returns {Box} */
export function around(all) {
  const box = { x0: Infinity, y0: Infinity, x1: -Infinity, y1: -Infinity };
  for (const shape of all) {
    box.x0 = Math.min(box.x0, shape.x0);
    box.y0 = Math.min(box.y0, shape.y0);
    box.x1 = Math.max(box.x1, shape.x1);
    box.y1 = Math.max(box.y1, shape.y1);
  }
  return box;
}

/** @param {Box} box */
function* keys({ x0, y0, x1, y1 }) {
  const left = Math.floor(x0 / CELL_MM),
    right = Math.floor(x1 / CELL_MM);
  for (let j = Math.floor(y0 / CELL_MM); j <= Math.floor(y1 / CELL_MM); j++) {
    for (let i = left; i <= right; i++) yield j * MOST_CELLS + i;
  }
}
