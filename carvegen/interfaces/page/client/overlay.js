// What lies over the print and is not printed: pencil marks, what the hand is doing, rings round findings, the rule.

import { around, orient, trace } from "./packed.js";

/** @typedef {import("./packed.js").Shape} Shape */
/** @typedef {import("./transport.js").Mark} Mark */
/** @typedef {import("./transport.js").Finding} Finding */
/** @typedef {[number, number, number]} Spot x, y in mm and the pressure, 0 to 1 */
/** @typedef {{kind: "stroke" | "loop" | "outline" | "rub", spots: Spot[], breadth: number, colour: string, bare?: boolean}} Trail what the hand draws; once it has lifted, whether it is bare paper until the program has answered */
/** @typedef {{dx: number, dy: number, turn: number, scale: number}} Moved */

export const PENCILS = ["#a63d2d", "#3d6b45", "#8a6414", "#2f5f9e", "#75498a", "#20706c"];
const LEANS = [
  [1, 1],
  [1, -1],
  [0, 1],
  [1, 0],
  [1, 2],
  [1, -2],
]; // of the hatching, so that no pencil is known by its colour alone
const RECUT = /** @type {Record<string, [string, number[]]>} */ ({ mended: ["#8d5a00", []], gone: ["#a63d2d", [6, 4]], new: ["#2f5f9e", [1, 4]] });
const RINGS = { breaks: "#b0563a", risk: "#8d5a00", advice: "#5d574a" };

export class Overlay {
  /** @type {Map<string, Mark>} */
  marks = new Map();
  /** @type {Map<string, Path2D>} */
  #paths = new Map();
  /** @type {Map<string, CanvasPattern | null>} */
  #hatching = new Map();
  /** @type {string[]} */
  meanings = [];
  /** @type {Set<Trail>} */
  trails = new Set();
  /** @type {Set<Shape>} */
  chosen = new Set();
  /** @type {Moved} */
  moved = { dx: 0, dy: 0, turn: 0, scale: 1 };
  /** @type {Finding[]} */
  findings = [];
  /** @type {string | null} */
  lookedAt = null;
  /** @type {import("./transport.js").Recut["shapes"]} what became of locked snow, while it is shown */
  recut = [];
  /** @type {[number, number][][]} rings of the snow that would go by what the hand draws */
  foreseen = [];
  /** @type {[number, number] | null} */
  cross = null;
  /** @type {[number, number, number] | null} the pencil's tip: where, and how broad */
  tip = null;
  /** @type {Set<string>} blocks that are not shown: what would break on them is not ringed */
  hidden = new Set();
  showMarks = true;
  showRings = true;
  ringRisks = false;
  paper = "#fbfaf6";

  /** @param {HTMLCanvasElement} canvas @param {HTMLCanvasElement} rule @param {import("./view.js").View} view */
  constructor(canvas, rule, view) {
    this.canvas = canvas;
    this.rule = rule;
    this.view = view;
    this.pen = pen2d(canvas);
    this.rulePen = pen2d(rule);
  }

  /** @param {Mark[]} come @param {string[]} gone */
  remark(come, gone) {
    for (const id of gone) {
      this.marks.delete(id);
      this.#paths.delete(id);
    }
    for (const mark of come) {
      if (mark.quiet) continue;
      this.marks.set(mark.id, mark);
      this.#paths.delete(mark.id);
    }
  }

  #shown = "";
  #drawnAt = -Infinity;
  #drawn = { x: 0, y: 0, scale: 1, shown: "", size: "" };
  #empty = true;
  #colour = "";
  #font = "";

  /** Something other than the view has changed. */
  touch() {
    this.#drawnAt = -Infinity;
  }

  /** The scheme of colours has changed. */
  relit() {
    this.#colour = this.#shown = "";
  }

  /** A frame; answers whether another is wanted. While the print only moves, what lies over it is moved along and drawn anew now and then. */
  frame() {
    const { view, canvas } = this,
      now = performance.now(),
      shown = [view.x, view.y, view.scale, view.width, view.height, view.mirrored].join();
    const moved = shown !== this.#shown,
      rests = !moved && this.#drawnAt > -Infinity;
    if (moved) this.#rule(globalThis.devicePixelRatio || 1);
    this.#shown = shown;
    if (rests && this.#drawn.shown === shown) return false;
    if (moved && this.#drawn.size === `${view.width} ${view.height} ${view.mirrored}` && now - this.#drawnAt < 90) {
      const k = view.scale / this.#drawn.scale;
      canvas.style.transform = `translate(${(this.#drawn.x - view.x) * view.scale}px, ${(this.#drawn.y - view.y) * view.scale}px) scale(${k})`;
      return true;
    }
    this.#drawnAt = now;
    this.#drawn = {
      x: view.x,
      y: view.y,
      scale: view.scale,
      shown,
      size: `${view.width} ${view.height} ${view.mirrored}`,
    };
    canvas.style.transform = "none";
    if (!this.#empty || !this.#nothing()) this.#draw();
    return false;
  }

  #nothing() {
    return (
      !(this.showMarks && this.marks.size) &&
      !this.trails.size &&
      !this.foreseen.length &&
      !this.chosen.size &&
      !(this.showRings && this.findings.length) &&
      !this.recut.length &&
      !this.tip &&
      !this.cross
    );
  }

  #draw() {
    const { canvas, pen, view } = this,
      ratio = globalThis.devicePixelRatio || 1;
    this.#empty = this.#nothing();
    const w = Math.round(view.width * ratio),
      h = Math.round(view.height * ratio);
    if (canvas.width !== w || canvas.height !== h) [canvas.width, canvas.height] = [w, h];
    pen.setTransform(1, 0, 0, 1, 0, 0);
    pen.clearRect(0, 0, w, h);
    view.apply(pen, ratio);
    pen.lineCap = pen.lineJoin = "round";
    if (this.showMarks) this.#pencilled();
    for (const trail of this.trails) this.#trail(trail);
    this.#goes();
    this.#choice();
    if (this.showRings) this.#rings();
    for (const [how, [colour, dash]] of Object.entries(RECUT)) this.#recut(how, colour, dash);
    this.#hand();
  }

  /** Marks of one pencil lie under one hatching, however they overlap: pale, so that what they did is seen through it. */
  #pencilled() {
    /** @type {Map<string, {k: number, strength: number, path: Path2D}>} */
    const lots = new Map();
    for (const mark of this.marks.values()) {
      let path = this.#paths.get(mark.id);
      if (!path) this.#paths.set(mark.id, (path = pathOf(mark.rings, this.view.size[1])));
      const key = `${mark.meaning} ${mark.strength}`;
      let lot = lots.get(key);
      if (!lot)
        lots.set(key, (lot = { k: this.meanings.indexOf(mark.meaning), strength: mark.strength, path: new Path2D() }));
      lot.path.addPath(path);
    }
    for (const { k, strength, path } of lots.values()) this.#lot(k, strength, path);
  }

  /** @param {number} k which pencil @param {number} strength @param {Path2D} path */
  #lot(k, strength, path) {
    const { pen, view } = this,
      colour = PENCILS[k] ?? "#000";
    pen.save();
    pen.clip(path);
    pen.globalAlpha = 0.3 + 0.4 * strength;
    pen.fillStyle = this.#hatch(k) ?? colour;
    pen.fill(path);
    pen.globalAlpha = 0.22;
    pen.strokeStyle = colour;
    pen.lineWidth = 16 / view.scale;
    pen.stroke(path);
    pen.restore();
    for (const [line, width, alpha] of /** @type {[string, number, number][]} */ ([
      ["#fffdf6", 3.5, 0.6],
      [colour, 1.5, 1],
    ])) {
      pen.globalAlpha = alpha;
      pen.strokeStyle = line;
      pen.lineWidth = width / view.scale;
      pen.stroke(path);
    }
    pen.globalAlpha = 1;
  }

  /** Hatching by hand in a pencil's colour, as fine on the screen at any size. @param {number} k */
  #hatch(k) {
    const colour = PENCILS[k] ?? "#000000",
      [across, down] = LEANS[k] ?? [1, 1];
    let pattern = this.#hatching.get(colour);
    if (pattern === undefined)
      this.#hatching.set(colour, (pattern = this.pen.createPattern(hatched(colour, across, down), "repeat")));
    pattern?.setTransform(new DOMMatrix().scale(1 / this.view.scale));
    return pattern;
  }

  /** @param {Trail} trail */
  #trail(trail) {
    const { pen, view } = this;
    if (trail.bare) {
      pen.fillStyle = pen.strokeStyle = this.paper;
      pen.lineWidth = trail.breadth;
      if (trail.kind === "stroke") pen.stroke(lineOf(trail.spots));
      else pen.fill(lineOf(trail.spots));
    }
    if (trail.kind === "stroke" || trail.kind === "rub") {
      pen.globalAlpha =
        trail.kind === "rub" ? 0.55 : 0.3 + 0.4 * (trail.spots.reduce((sum, spot) => sum + spot[2], 0) / trail.spots.length);
      pen.strokeStyle = trail.kind === "rub" ? "#e9e3d4" : trail.colour;
      pen.lineWidth = trail.breadth;
      pen.stroke(lineOf(trail.spots));
      pen.globalAlpha = 1;
      return;
    }
    const path = lineOf(trail.spots);
    pen.globalAlpha = 0.18;
    pen.fillStyle = trail.colour;
    pen.fill(path);
    pen.globalAlpha = 1;
    for (const [colour, width, dash] of /** @type {[string, number, number[]][]} */ ([
      ["#fffdf6", 4, []],
      [trail.colour, 2, [7, 5]],
    ])) {
      pen.strokeStyle = colour;
      pen.lineWidth = width / view.scale;
      pen.setLineDash(dash.map((part) => part / view.scale));
      pen.stroke(path);
    }
    pen.setLineDash([]);
  }

  /** Dashed, what of the snow would go. */
  #goes() {
    if (!this.foreseen.length) return;
    const { pen, view } = this,
      path = pathOf(this.foreseen, view.size[1]);
    pen.globalAlpha = 0.2;
    pen.fillStyle = RECUT.gone[0];
    pen.fill(path);
    pen.globalAlpha = 1;
    for (const [line, width, dash] of /** @type {[string, number, number[]][]} */ ([
      ["#fffdf6", 5, []],
      [RECUT.gone[0], 2.4, RECUT.gone[1]],
    ])) {
      pen.setLineDash(dash.map((px) => px / view.scale));
      pen.strokeStyle = line;
      pen.lineWidth = width / view.scale;
      pen.stroke(path);
    }
    pen.setLineDash([]);
  }

  /** The ring round what is in the fingers: middle and radius, mm; nothing if there is nothing. */
  get ring() {
    if (this.chosen.size === 0) return null;
    const box = around(this.chosen),
      { dx, dy, scale, turn } = this.moved;
    const r = (Math.hypot(box.x1 - box.x0, box.y1 - box.y0) / 2 + 14 / this.view.scale) * scale;
    return { x: (box.x0 + box.x1) / 2 + dx, y: (box.y0 + box.y1) / 2 + dy, r, turn };
  }

  /** Where the bead on that ring is: pulled round it turns, pulled outwards it makes larger. @returns {[number, number] | null} */
  get bead() {
    const ring = this.ring;
    if (!ring) return null;
    const angle = -Math.PI / 4 + ring.turn;
    return [ring.x + ring.r * Math.cos(angle), ring.y + ring.r * Math.sin(angle)];
  }

  #choice() {
    const ring = this.ring,
      bead = this.bead,
      { pen, view, moved } = this;
    if (!ring || !bead) return;
    const box = around(this.chosen),
      x = (box.x0 + box.x1) / 2,
      y = (box.y0 + box.y1) / 2,
      path = new Path2D();
    for (const shape of this.chosen) trace(path, shape);
    const placed = new Path2D();
    placed.addPath(
      path,
      new DOMMatrix()
        .translate(x + moved.dx, y + moved.dy)
        .rotate((moved.turn * 180) / Math.PI)
        .scale(moved.scale)
        .translate(-x, -y),
    );
    if (moved.dx || moved.dy || moved.turn || moved.scale !== 1) {
      pen.fillStyle = this.paper;
      pen.fill(placed, "evenodd");
    }
    const circle = new Path2D();
    circle.arc(ring.x, ring.y, ring.r, 0, 2 * Math.PI);
    for (const [colour, width] of /** @type {[string, number][]} */ ([
      ["#fffdf6", 4.5],
      ["#2f6f8f", 2],
    ])) {
      pen.strokeStyle = colour;
      pen.lineWidth = width / view.scale;
      pen.stroke(placed);
      pen.stroke(circle);
    }
    pen.beginPath();
    pen.arc(bead[0], bead[1], 9 / view.scale, 0, 2 * Math.PI);
    pen.fillStyle = "#2f6f8f";
    pen.strokeStyle = "#fffdf6";
    pen.lineWidth = 2.5 / view.scale;
    pen.fill();
    pen.stroke();
  }

  #rings() {
    const { pen, view } = this;
    for (const finding of this.findings) {
      const on = finding.id === this.lookedAt;
      if (!finding.at || (!on && (finding.left || !(finding.severity === "breaks" || (this.ringRisks && finding.severity === "risk"))))) continue;
      if (this.hidden.has(finding.block)) continue;
      const r = (on ? 26 : 13) / view.scale,
        y = view.size[1] - finding.at[1];
      pen.setLineDash(finding.severity === "breaks" ? [] : [5 / view.scale, 4 / view.scale]);
      for (const [colour, width] of /** @type {[string, number][]} */ ([
        ["#fffdf6", on ? 8 : 5],
        [RINGS[finding.severity], on ? 4 : 2.2],
      ])) {
        pen.strokeStyle = colour;
        pen.lineWidth = width / view.scale;
        pen.beginPath();
        pen.arc(finding.at[0], y, r, 0, 2 * Math.PI);
        pen.stroke();
      }
    }
    pen.setLineDash([]);
  }

  /** Outlines of locked snow that was mended, is gone, or is new. @param {string} how @param {string} colour @param {number[]} dash in pixels */
  #recut(how, colour, dash) {
    const { pen, view } = this,
      path = new Path2D();
    for (const shape of this.recut) if (shape.how === how) path.addPath(pathOf(shape.rings, view.size[1]));
    for (const [line, width] of /** @type {[string, number][]} */ ([
      ["#fffdf6", 5],
      [colour, 2.4],
    ])) {
      pen.setLineDash(line === colour ? dash.map((px) => px / view.scale) : []);
      pen.strokeStyle = line;
      pen.lineWidth = width / view.scale;
      pen.stroke(path);
    }
    pen.setLineDash([]);
  }

  /** Where the keyboard's pencil stands, and how broad the pencil in the hand is. */
  #hand() {
    const { pen, view } = this;
    if (this.tip) {
      const [x, y, breadth] = this.tip;
      pen.beginPath();
      pen.arc(x, y, Math.max(breadth / 2, 2 / view.scale), 0, 2 * Math.PI);
      for (const [colour, width] of /** @type {[string, number][]} */ ([
        ["#fffdf6", 3],
        ["#2b2a28", 1.2],
      ])) {
        pen.strokeStyle = colour;
        pen.lineWidth = width / view.scale;
        pen.stroke();
      }
    }
    if (!this.cross) return;
    const [x, y] = this.cross,
      arm = 22 / view.scale,
      gap = 5 / view.scale;
    pen.beginPath();
    for (const [dx, dy] of [
      [1, 0],
      [-1, 0],
      [0, 1],
      [0, -1],
    ]) {
      pen.moveTo(x + dx * gap, y + dy * gap);
      pen.lineTo(x + dx * arm, y + dy * arm);
    }
    for (const [colour, width] of /** @type {[string, number][]} */ ([
      ["#fffdf6", 6],
      ["#2b2a28", 2.4],
    ])) {
      pen.strokeStyle = colour;
      pen.lineWidth = width / view.scale;
      pen.stroke();
    }
  }

  /** A steel rule along the bench, in millimetres of the print. @param {number} ratio */
  #rule(ratio) {
    const { rule, view, rulePen: pen } = this,
      down = rule.clientHeight;
    const w = Math.round(view.width * ratio),
      h = Math.round(down * ratio);
    if (rule.width !== w || rule.height !== h) [rule.width, rule.height] = [w, h];
    pen.setTransform(ratio, 0, 0, ratio, 0, 0);
    pen.clearRect(0, 0, view.width, down);
    if (!this.#colour) {
      const style = getComputedStyle(rule);
      [this.#colour, this.#font] = [style.color, `11px ${style.fontFamily}`];
    }
    pen.fillStyle = pen.strokeStyle = this.#colour;
    pen.font = this.#font;
    const step = [1, 2, 5, 10, 20, 50, 100].find((mm) => mm * view.scale >= 5) ?? 200,
      named = [5, 10, 20, 50, 100, 200].find((mm) => mm * view.scale >= 42) ?? 500;
    const from = Math.max(0, Math.floor(view.x / step) * step),
      to = Math.min(view.size[0], view.x + view.width / view.scale);
    pen.beginPath();
    for (let mm = from; mm <= to + 1e-6; mm += step) {
      const x = Math.round((mm - view.x) * view.scale) + 0.5,
        long = mm % named === 0 ? 11 : mm % (5 * step) === 0 ? 8 : 5;
      pen.moveTo(x, 0);
      pen.lineTo(x, long);
      if (mm % named === 0) pen.fillText(String(view.mirrored ? view.size[0] - mm : mm), x + 3, 15);
    }
    pen.stroke();
  }
}

/** @param {HTMLCanvasElement} canvas */
function pen2d(canvas) {
  const pen = canvas.getContext("2d");
  if (!pen) throw new Error("this browser draws no pictures");
  return pen;
}

/** @param {[number, number][][]} rings with y up @param {number} height */
function pathOf(rings, height) {
  const xy = Float32Array.from(rings.flatMap((ring) => ring.flatMap(([x, y]) => [x, height - y])));
  const starts = [0];
  for (const ring of rings) starts.push(starts[starts.length - 1] + 2 * ring.length);
  orient(xy, starts);
  const path = new Path2D();
  trace(path, { xy, starts });
  return path;
}

/** @param {Spot[]} spots */
function lineOf(spots) {
  const path = new Path2D();
  spots.forEach(([x, y], k) => (k ? path.lineTo(x, y) : path.moveTo(x, y)));
  if (spots.length === 1) path.lineTo(spots[0][0], spots[0][1] + 0.001);
  return path;
}

/** A tile of hatching that fits to itself on all sides. @param {string} colour @param {number} across @param {number} down */
function hatched(colour, across, down) {
  const size = 24,
    canvas = new OffscreenCanvas(size, size),
    pen = canvas.getContext("2d");
  if (!pen) throw new Error("this browser draws no pictures");
  pen.strokeStyle = colour;
  pen.lineWidth = 1.1;
  const step = Math.abs(down) > 1 ? size : size / 2; // along the edge where a line comes in, so that tiles meet
  for (let k = -12; k <= 12; k++) {
    pen.beginPath();
    if (across === 0) (pen.moveTo(k * step + 4, -size), pen.lineTo(k * step + 4, 2 * size));
    else
      (pen.moveTo(-size, k * step + 4 + (size * down) / across),
        pen.lineTo(2 * size, k * step + 4 - (2 * size * down) / across));
    pen.stroke();
  }
  return canvas;
}
