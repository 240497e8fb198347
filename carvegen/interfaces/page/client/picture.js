// The print as it is printed, drawn from shapes. What stands on the bench is the last sharp picture, larger than the
// window: moving the print only moves it. The next one is drawn behind it, a few milliseconds a frame, and then swapped.

import { around, meet, trace } from "./packed.js";
import { transform } from "./view.js";

/** @typedef {import("./packed.js").Shape} Shape */
/** @typedef {import("./packed.js").Box} Box */
/** @typedef {import("./transport.js").Block} Block */
/** @typedef {OffscreenCanvasRenderingContext2D} Pen */
/** @typedef {{blocks: Set<string>, rubbing: boolean, mirrored: boolean, before: boolean}} Look which blocks, whether rubbed in graphite, whether as the block lies, whether the first version lies beside it */
/** @typedef {string} Layer shapes that are rubbed out of the same blocks: how far, whether in the first version too, and of which, in lines */
/** @typedef {{winter: HTMLCanvasElement, first: HTMLCanvasElement, pens: CanvasRenderingContext2D[], at: import("./view.js").Where, across: number, down: number, ratio: number}} Sheet */
/** @typedef {(layer: Layer, pen: Pen, x: number, y: number, w: number, h: number) => void} White draws what a layer rubs out in a rectangle, its corner at 0, 0 */
/** @typedef {{layer: Layer, shapes: Set<Shape>, box: Box, paths: Map<number, Path2D>}} Tile */

const IN_TILE = 300; // shapes that are filled as one path: more take longer than their share
const MOVING_MS = 6,
  RESTING_MS = 13, // of a frame, to draw on in while the print moves and while it rests
  RESTS_MS = 150; // after it moved last: a hand that pans does not move it in every frame
const MARGIN = 0.22; // of the window, on each side
const FRINGE = 0.6; // so far towards the paper what the carver decides is drawn, as in the proof
const GRAPHITE = "#3b3d42";
const PRESSED = "#ece6d9"; // paper that a block without ink has pressed
const MANY = 6000; // shapes that can be drawn anew at once without a pause that is felt

/** @param {number} across @param {number} down */
function sketch(across, down) {
  const pen = new OffscreenCanvas(across, down).getContext("2d", { willReadFrequently: true }); // thousands of small paths are slow through a graphics card
  if (!pen) throw new Error("this browser draws no pictures");
  return pen;
}

export class Picture {
  /** @type {Map<string, Tile>} */
  #tiles = new Map();
  /** @type {Map<string, Path2D>} */
  #lands = new Map();
  /** @type {Block[]} */
  #blocks = [];
  /** @type {Generator<undefined, void> | null} */
  #job = null;
  /** @type {Sheet | null} */
  #front = null;
  /** @type {Sheet[]} */
  #spare = [];
  /** @type {Look} */
  #look = { blocks: new Set(), rubbing: false, mirrored: false, before: false };
  /** @type {{layers: Map<Layer, Pen>, ink: Pen, edge: Pen} | null} */
  #desk = null;
  #fresh = false;
  #urgent = true; // nothing that is shown is of any use
  #stood = "";
  #movedAt = -Infinity;
  #tileMm = 20;
  #grain = /** @type {OffscreenCanvas | null} */ (null);
  paper = "#fbfaf6";

  /**
   * @param {HTMLElement} host where the picture lies @param {import("./view.js").View} view
   * @param {import("./packed.js").Shapes} shapes
   */
  constructor(host, view, shapes) {
    this.host = host;
    this.view = view;
    this.shapes = shapes;
    this.veil = document.createElement("div");
    this.veil.className = "veil";
    this.veil.hidden = true;
    this.sheets = document.createElement("div");
    this.shade = document.createElement("div");
    this.shade.className = "shade";
    host.append(this.shade, this.sheets, this.veil);
  }

  /** @param {Block[]} blocks */
  inks(blocks) {
    this.#blocks = blocks;
    this.refresh();
  }

  /** All shapes anew. */
  build() {
    this.#tiles.clear();
    this.#lands.clear();
    const [w, h] = this.view.size;
    this.#tileMm = Math.min(20, Math.max(3, Math.sqrt((IN_TILE * w * h) / (this.shapes.byId.size + 1))));
    for (const shape of this.shapes.byId.values()) this.#put(shape);
    this.#urgent = true;
    this.refresh();
  }

  /** @param {Shape} shape */
  #key(shape) {
    const i = Math.floor((shape.x0 + shape.x1) / 2 / this.#tileMm),
      j = Math.floor((shape.y0 + shape.y1) / 2 / this.#tileMm);
    return `${i}\n${j}\n${layerOf(shape)}`;
  }

  /** @param {Shape} shape */
  #put(shape) {
    if (shape.kind === "block") {
      const path = new Path2D();
      trace(path, shape);
      this.#lands.set(shape.name, path);
      return;
    }
    const key = this.#key(shape),
      tile = this.#tiles.get(key);
    if (!tile)
      this.#tiles.set(key, { layer: layerOf(shape), shapes: new Set([shape]), box: around([shape]), paths: new Map() });
    else {
      tile.shapes.add(shape);
      tile.box = around([tile.box, shape]);
      tile.paths.clear();
    }
  }

  /**
   * Some shapes have gone and others have come: shown before this ends, if they are not too many.
   * @param {Shape[]} gone @param {Shape[]} come
   */
  changed(gone, come) {
    for (const shape of gone) {
      const tile = this.#tiles.get(this.#key(shape));
      if (tile) {
        tile.shapes.delete(shape);
        tile.paths.clear();
      }
      if (shape.kind === "block") this.#lands.delete(shape.name);
    }
    for (const shape of come) this.#put(shape);
    if (!this.#front || gone.length + come.length === 0) return;
    this.#patch(around([...gone, ...come]), this.#front);
    if (this.#job) this.refresh();
  }

  refresh() {
    this.#job = null;
    this.#fresh = false;
  }

  /** @param {Look} look */
  show(look) {
    this.#look = look;
    this.view.mirrored = look.mirrored;
    this.refresh();
  }

  /** Shows the first version left of a line. @param {number | null} part of the window */
  veilTo(part) {
    this.veil.hidden = part === null;
    if (part !== null) this.veil.style.width = `${100 * part}%`;
  }

  /** A frame: moves what is there, draws on at what is to come. Answers whether another frame is wanted. */
  frame() {
    if (!this.#fresh || (!this.#job && !this.#covers())) this.#begin();
    const { x, y, scale } = this.view,
      place = `${x} ${y} ${scale}`,
      now = performance.now();
    if (place !== this.#stood) this.#movedAt = now;
    this.#stood = place;
    const end = now + (this.#urgent ? 1e4 : now - this.#movedAt > RESTS_MS ? RESTING_MS : MOVING_MS);
    while (this.#job && performance.now() < end) if (this.#job.next().done) this.#job = null;
    this.#lay();
    return this.#job !== null || !this.#fresh;
  }

  get sharp() {
    return this.#job === null && this.#fresh && this.#front !== null;
  }

  /** Whether the sharp picture reaches all over the window, at this size. */
  #covers() {
    const front = this.#front,
      view = this.view;
    if (!front || front.at.scale !== view.scale) return false;
    const s = view.scale,
      [w, h] = view.size;
    return (
      (front.at.x <= view.x || front.at.x <= 0) &&
      (front.at.y <= view.y || front.at.y <= 0) &&
      (front.at.x + front.across / s >= view.x + view.width / s || front.at.x + front.across / s >= w) &&
      (front.at.y + front.down / s >= view.y + view.height / s || front.at.y + front.down / s >= h)
    );
  }

  /** Puts the front sheet where the view wants it. */
  #lay() {
    const front = this.#front;
    if (!front) return;
    const k = this.view.scale / front.at.scale;
    const move = `translate(${(front.at.x - this.view.x) * this.view.scale}px, ${(front.at.y - this.view.y) * this.view.scale}px) scale(${k})`;
    const { view, shade } = this,
      x = (0 - view.x) * view.scale,
      y = (0 - view.y) * view.scale;
    shade.style.transform = `translate(${x}px, ${y}px)`;
    [shade.style.width, shade.style.height] = view.size.map((mm) => `${mm * view.scale}px`);
    for (const canvas of [front.winter, front.first]) if (canvas.style.transform !== move) canvas.style.transform = move;
  }

  /** @returns {Sheet} */
  #sheet() {
    const spare = this.#spare.pop();
    if (spare) return spare;
    const [winter, first] = [0, 1].map(() => document.createElement("canvas"));
    const pens = [winter, first].map((canvas) => {
      const pen = canvas.getContext("2d", { willReadFrequently: true });
      if (!pen) throw new Error("this browser draws no pictures");
      return pen;
    });
    return { winter, first, pens, at: { scale: 1, x: 0, y: 0 }, across: 1, down: 1, ratio: 1 };
  }

  /** Only what of the print can come into the window is drawn. */
  #begin() {
    const { view } = this,
      s = view.scale,
      sheet = this.#sheet();
    const left = Math.max(view.x - (MARGIN * view.width) / s, -2 / s),
      top = Math.max(view.y - (MARGIN * view.height) / s, -2 / s);
    const right = Math.min(view.x + ((1 + MARGIN) * view.width) / s, view.size[0] + 2 / s),
      bottom = Math.min(view.y + ((1 + MARGIN) * view.height) / s, view.size[1] + 2 / s);
    sheet.ratio = Math.min(2, globalThis.devicePixelRatio || 1);
    sheet.across = Math.max(1, Math.ceil((right - left) * s));
    sheet.down = Math.max(1, Math.ceil((bottom - top) * s));
    sheet.at = { scale: s, x: left, y: top };
    this.#fresh = true;
    this.#job = this.#drawing(sheet);
  }

  /** @param {Sheet} sheet @returns {Generator<undefined, void>} */
  *#drawing(sheet) {
    const across = Math.ceil(sheet.across * sheet.ratio),
      down = Math.ceil(sheet.down * sheet.ratio);
    for (const canvas of [sheet.winter, this.#look.before ? sheet.first : null]) {
      if (canvas && (canvas.width !== across || canvas.height !== down)) [canvas.width, canvas.height] = [across, down];
    }
    for (const canvas of [sheet.winter, sheet.first])
      [canvas.style.width, canvas.style.height] = [`${across / sheet.ratio}px`, `${down / sheet.ratio}px`];
    yield; // large canvases take their time
    /** @type {Map<Layer, Pen>} */
    const masks = new Map(),
      seen = this.#shown(sheet);
    for (const layer of this.#used()) {
      const pen = this.#mask(layer, across, down);
      masks.set(layer, pen);
      yield;
      for (const tile of this.#tiles.values()) {
        if (tile.layer !== layer || !meet(tile.box, seen)) continue;
        this.#place(pen, sheet, 0, 0);
        pen.fill(this.#pathOf(tile, sheet.at.scale * sheet.ratio));
        pen.getImageData(0, 0, 1, 1); // until a pixel is read, nothing has been drawn and no time has passed
        yield;
      }
    }
    for (const [x, y, w, h] of rectangles(0, 0, across, down)) {
      this.#region(sheet, x, y, w, h, (layer, pen, left, top, width, height) => {
        pen.drawImage(/** @type {Pen} */ (masks.get(layer)).canvas, left, top, width, height, 0, 0, width, height);
      });
      sheet.pens[0].getImageData(x, y, 1, 1);
      yield;
    }
    if (this.#front) this.#spare.push(this.#front);
    this.#front = sheet;
    this.#urgent = false;
    this.sheets.replaceChildren(sheet.winter);
    this.veil.replaceChildren(...(this.#look.before ? [sheet.first] : []));
    this.#lay();
  }

  /** @param {Layer} layer @param {number} across @param {number} down */
  #mask(layer, across, down) {
    const desk = this.#table(512, 256);
    let pen = desk.layers.get(layer);
    if (!pen || pen.canvas.width !== across || pen.canvas.height !== down) {
      pen = sketch(across, down);
      desk.layers.set(layer, pen);
      for (const old of desk.layers.keys()) if (!this.#used().includes(old)) desk.layers.delete(old);
    }
    pen.setTransform(1, 0, 0, 1, 0, 0);
    pen.clearRect(0, 0, across, down);
    return pen;
  }

  /** The layers that have something in them and take something from a block that is shown. @returns {Layer[]} */
  #used() {
    const there = new Set([...this.#tiles.values()].filter((tile) => tile.shapes.size > 0).map((tile) => tile.layer));
    return [...there].filter((layer) => blocksOf(layer).some((name) => this.#look.blocks.has(name))).sort();
  }

  /** The part of the print that a sheet shows. @param {Sheet} sheet @returns {Box} */
  #shown({ at, across, down }) {
    const x = this.#look.mirrored ? this.view.size[0] - at.x - across / at.scale : at.x;
    return { x0: x, y0: at.y, x1: x + across / at.scale, y1: at.y + down / at.scale };
  }

  /** Lets a pen draw mm of the print on a sheet from one of its pixels on. @param {Pen | CanvasRenderingContext2D} pen @param {Sheet} sheet @param {number} x @param {number} y */
  #place(pen, sheet, x, y) {
    const k = sheet.at.scale * sheet.ratio;
    transform(
      pen,
      { scale: sheet.at.scale, x: sheet.at.x + x / k, y: sheet.at.y + y / k },
      this.#look.mirrored,
      this.view.size[0],
      sheet.ratio,
    );
  }

  /** @param {Tile} tile @param {number} scale */
  #pathOf(tile, scale) {
    const least = leastCorner(scale);
    let path = tile.paths.get(least);
    if (!path) {
      path = new Path2D();
      for (const shape of tile.shapes) trace(path, shape, least);
      if (tile.paths.size > 1) tile.paths.clear();
      tile.paths.set(least, path);
    }
    return path;
  }

  /**
   * One rectangle of a sheet: each block in its ink, what is white rubbed out, laid over one another.
   * @param {Sheet} sheet @param {number} x @param {number} y @param {number} w @param {number} h
   * @param {White} white @param {Layer[]} [layers]
   */
  #region(sheet, x, y, w, h, white, layers = this.#used()) {
    for (const [k, pen] of sheet.pens.entries()) {
      if (k === 1 && !this.#look.before) break;
      pen.setTransform(1, 0, 0, 1, 0, 0);
      pen.clearRect(x, y, w, h);
      pen.save();
      pen.beginPath();
      pen.rect(x, y, w, h);
      pen.clip();
      this.#place(pen, sheet, 0, 0);
      pen.fillStyle = this.#look.rubbing ? "#f6f3ea" : this.paper;
      pen.fillRect(0, 0, ...this.view.size);
      pen.setTransform(1, 0, 0, 1, 0, 0);
      for (const block of this.#blocks) {
        if (!this.#look.blocks.has(block.name)) continue;
        const rim = this.#look.rubbing ? reachOf(sheet) : 0; // so that no edge is seen where two rectangles meet
        const ink = this.#block(
          this.#table(w + 2 * rim, h + 2 * rim).ink,
          block,
          sheet,
          x - rim,
          y - rim,
          w + 2 * rim,
          h + 2 * rim,
          k === 1 ? layers.filter(isDrawn) : layers,
          white,
        );
        if (this.#look.rubbing) this.#rub(ink, sheet, x - rim, y - rim);
        print(pen, ink.canvas, this.#look.rubbing ? 0 : (block.opacity ?? 0), [rim, rim, w, h, x, y, w, h]);
      }
      pen.restore();
    }
  }

  /**
   * @param {Pen} pen @param {Block} block @param {Sheet} sheet @param {number} x @param {number} y @param {number} w @param {number} h
   * @param {Layer[]} layers @param {White} white @returns {Pen}
   */
  #block(pen, block, sheet, x, y, w, h, layers, white) {
    const land = this.#lands.get(block.name);
    pen.setTransform(1, 0, 0, 1, 0, 0);
    pen.globalCompositeOperation = "source-over";
    pen.globalAlpha = 1;
    pen.clearRect(0, 0, w, h);
    if (land) {
      this.#place(pen, sheet, x, y);
      pen.fillStyle = this.#look.rubbing ? GRAPHITE : (block.ink ?? PRESSED);
      pen.fill(land, "evenodd");
    }
    pen.globalCompositeOperation = "destination-out";
    for (const layer of layers) {
      if (!blocksOf(layer).includes(block.name)) continue;
      pen.setTransform(1, 0, 0, 1, 0, 0);
      pen.globalAlpha = shareOf(layer);
      white(layer, pen, x, y, w, h);
    }
    pen.globalAlpha = 1;
    pen.globalCompositeOperation = "source-over";
    return pen;
  }

  /** Makes land look rubbed with a graphite stick through thin paper: grain and strokes, darker along the edges. @param {Pen} ink @param {Sheet} sheet @param {number} x @param {number} y */
  #rub(ink, sheet, x, y) {
    const { edge } = this.#table(ink.canvas.width, ink.canvas.height),
      grain = this.#grain ?? (this.#grain = graphiteGrain());
    const reach = reachOf(sheet),
      k = sheet.at.scale * sheet.ratio;
    edge.globalCompositeOperation = "copy";
    edge.drawImage(ink.canvas, 0, 0);
    edge.globalCompositeOperation = "destination-in"; // what stays lies farther from every edge than `reach`
    for (const [dx, dy] of [
      [reach, 0],
      [-reach, 0],
      [0, reach],
      [0, -reach],
    ])
      edge.drawImage(ink.canvas, dx, dy);
    ink.setTransform(1, 0, 0, 1, 0, 0);
    ink.globalCompositeOperation = "destination-out";
    ink.globalAlpha = 0.36;
    ink.drawImage(edge.canvas, 0, 0);
    ink.globalAlpha = 1;
    const pattern = ink.createPattern(grain, "repeat");
    if (pattern) {
      pattern.setTransform(
        new DOMMatrix([1, 0, 0, 1, -(Math.round(sheet.at.x * k) + x), -(Math.round(sheet.at.y * k) + y)]),
      );
      ink.fillStyle = pattern;
      ink.fillRect(0, 0, ink.canvas.width, ink.canvas.height);
    }
    ink.globalCompositeOperation = "source-over";
  }

  /** Canvases to work on, at least so large. @param {number} across @param {number} down */
  #table(across, down) {
    const had = this.#desk?.ink.canvas ?? { width: 0, height: 0 };
    if (!this.#desk || had.width < across || had.height < down) {
      const size = /** @type {const} */ ([Math.max(across, had.width), Math.max(down, had.height)]);
      this.#desk = { layers: this.#desk?.layers ?? new Map(), ink: sketch(...size), edge: sketch(...size) };
    }
    return this.#desk;
  }

  /** Draws one box of a sheet anew, now. @param {Box} box @param {Sheet} sheet */
  #patch(box, sheet) {
    const { at } = sheet,
      k = at.scale * sheet.ratio,
      left = this.#look.mirrored ? this.view.size[0] - box.x1 : box.x0;
    const x = Math.max(0, Math.floor((left - at.x) * k) - 2),
      y = Math.max(0, Math.floor((box.y0 - at.y) * k) - 2);
    const w = Math.min(sheet.winter.width, Math.ceil((left + box.x1 - box.x0 - at.x) * k) + 2) - x,
      h = Math.min(sheet.winter.height, Math.ceil((box.y1 - at.y) * k) + 2) - y;
    if (w <= 0 || h <= 0) return;
    const whole = this.#look.mirrored ? this.view.size[0] - at.x - (x + w) / k : at.x + x / k;
    const near = this.shapes.within({ x0: whole, y0: at.y + y / k, x1: whole + w / k, y1: at.y + (y + h) / k });
    if (near.size > MANY) return void this.refresh();
    this.#without([...near], sheet, x, y, w, h);
  }

  /** Draws a rectangle of a sheet with these shapes rubbed out, now. @param {Shape[]} shapes @param {Sheet} sheet @param {number} x @param {number} y @param {number} w @param {number} h */
  #without(shapes, sheet, x, y, w, h) {
    const least = leastCorner(sheet.at.scale * sheet.ratio);
    /** @type {Map<Layer, Path2D>} */
    const paths = new Map();
    for (const one of shapes) {
      const layer = layerOf(one);
      if (!paths.has(layer)) paths.set(layer, new Path2D());
      trace(/** @type {Path2D} */ (paths.get(layer)), one, least);
    }
    /** @type {White} */
    const white = (layer, pen, px, py) => {
      this.#place(pen, sheet, px, py);
      pen.fill(/** @type {Path2D} */ (paths.get(layer)));
    };
    for (const [left, top, across, down] of rectangles(x, y, w, h))
      this.#region(sheet, left, top, across, down, white, [...paths.keys()].sort());
  }

  /** A part of the print, as it is shown, with this snow on it and no other. @param {HTMLCanvasElement} canvas as wide and high as the part @param {Box} box @param {Shape[]} snow */
  part(canvas, box, snow) {
    const pen = canvas.getContext("2d"),
      x = this.#look.mirrored ? this.view.size[0] - box.x1 : box.x0,
      at = { scale: canvas.width / Math.max(box.x1 - box.x0, 1e-6), x, y: box.y0 };
    if (!pen) return;
    const sheet = { winter: canvas, first: canvas, pens: [pen], at, across: canvas.width, down: canvas.height, ratio: 1 },
      drawn = [...this.shapes.within(box)].filter((shape) => shape.kind === "white");
    this.#without([...drawn, ...snow], sheet, 0, 0, canvas.width, canvas.height);
  }

  /** Each block that is shown, alone, as large as the window: to be laid over one another elsewhere. @param {number} ratio */
  apart(ratio) {
    const { view } = this,
      frame = { at: { scale: view.scale, x: view.x, y: view.y }, across: view.width, down: view.height, ratio };
    const sheet = /** @type {Sheet} */ ({
      ...frame,
      winter: document.createElement("canvas"),
      first: document.createElement("canvas"),
      pens: [],
    });
    const w = Math.ceil(view.width * ratio),
      h = Math.ceil(view.height * ratio),
      seen = this.#shown(sheet);
    return this.#blocks
      .filter((block) => this.#look.blocks.has(block.name))
      .map((block) => {
        const pen = this.#block(sketch(w, h), block, sheet, 0, 0, w, h, this.#used(), (layer, mask) => {
          this.#place(mask, sheet, 0, 0);
          for (const tile of this.#tiles.values()) {
            if (tile.layer === layer && meet(tile.box, seen)) mask.fill(this.#pathOf(tile, sheet.at.scale * ratio));
          }
        });
        return { block, picture: pen.canvas };
      });
  }
}

/** A rectangle in pieces of which each is drawn within a few milliseconds. @param {number} x @param {number} y @param {number} w @param {number} h @returns {Generator<[number, number, number, number]>} */
function* rectangles(x, y, w, h) {
  for (let top = y; top < y + h; top += 256) {
    for (let left = x; left < x + w; left += 512)
      yield [left, top, Math.min(512, x + w - left), Math.min(256, y + h - top)];
  }
}

/**
 * Lays an ink over what is printed: it takes light from it, and hides as much of it as it is opaque.
 * @param {CanvasRenderingContext2D | OffscreenCanvasRenderingContext2D} pen @param {CanvasImageSource} ink @param {number} opacity
 * @param {[number, number, number, number, number, number, number, number]} place
 */
export function print(pen, ink, opacity, place) {
  pen.globalCompositeOperation = "multiply";
  pen.drawImage(ink, ...place);
  pen.globalCompositeOperation = "source-over";
  if (opacity === 0) return;
  pen.globalAlpha = opacity;
  pen.drawImage(ink, ...place);
  pen.globalAlpha = 1;
}

/** @param {Shape} shape @returns {Layer} */
const layerOf = (shape) =>
  `${shape.kind === "fringe" ? FRINGE : 1}\n${shape.kind === "white" && shape.name === "paper" ? "drawn" : "marked"}\n${shape.blocks}`;

/** @param {Layer} layer */
const shareOf = (layer) => Number(layer.split("\n")[0]);

/** Whether it is white in the first version too. @param {Layer} layer */
const isDrawn = (layer) => layer.split("\n")[1] === "drawn";

/** @param {Layer} layer */
const blocksOf = (layer) => layer.split("\n").slice(2);

/** How broad the dark edge of a rubbing is, device pixels. @param {Sheet} sheet */
const reachOf = (sheet) => Math.max(1, Math.round(0.22 * sheet.at.scale * sheet.ratio));

/** How near corners may lie before one is left out: a third of a pixel while the picture is small. @param {number} scale pixels a mm */
const leastCorner = (scale) => (scale < 3 ? 0.2 : scale < 7 ? 0.1 : 0);

/** What paper and stick leave white: fine grain, and strokes that lean to the right. */
function graphiteGrain() {
  const size = 256,
    pen = sketch(size, size),
    picture = pen.createImageData(size, size);
  let seed = 7;
  const next = () => (seed = (seed * 1103515245 + 12345) % 2147483648) / 2147483648;
  const tooth = Float32Array.from({ length: size * size }, next),
    stroke = Float32Array.from({ length: size }, next);
  for (let y = 0; y < size; y++) {
    for (let x = 0; x < size; x++) {
      const at = y * size + x,
        right = y * size + ((x + 1) % size),
        below = ((y + 1) % size) * size + x;
      const soft = (2 * tooth[at] + tooth[right] + tooth[below]) / 4,
        line = (x + y) % size;
      const lean = (stroke[line] + stroke[(line + 1) % size] + stroke[(line + 2) % size]) / 3;
      picture.data[4 * at + 3] = 255 * Math.min(0.85, Math.max(0, 0.9 * (soft - 0.38) + 0.75 * (lean - 0.35) + 0.22));
    }
  }
  pen.putImageData(picture, 0, 0);
  return pen.canvas;
}
