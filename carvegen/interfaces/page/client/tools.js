// What lies in the tray, and what each does with the line that a hand draws: it becomes a gesture, and the program decides the rest.

import { around, holds } from "./packed.js";
import { PENCILS } from "./overlay.js";
import { pause } from "./transport.js";

/** @typedef {import("./overlay.js").Spot} Spot */
/** @typedef {import("./packed.js").Shape} Shape */
/** @typedef {import("./transport.js").Gesture} Gesture */
/** @typedef {import("./transport.js").Meaning} Meaning */
/** @typedef {{key: string, label: string, help: string}} Tool */

/** Tools that are no pencil. @type {Tool[]} */
export const OTHERS = [
  {
    key: "fingers",
    label: "fingers",
    help: "Touch a flake or a heap, or loop several: then move, turn, enlarge or take away.",
  },
  { key: "flakes off", label: "flakes off", help: "Rub over flakes: they go, and the block prints there again." },
  { key: "rubber", label: "rubber", help: "Rubs out pencil marks." },
  { key: "own snow", label: "own snow", help: "Draw an outline: what is in it becomes snow. Meant for all snow, it joins the kind that most lies about it." },
  {
    key: "shake",
    label: "shake",
    help: "Tap a branch or a rail: the heap on it falls. Tap again, and it lies there again.",
  },
  { key: "slide", label: "move print", help: "Move the print about on the bench." },
];

const TAKES = "stays"; // the pencil that takes snow, and beside it what does not end as snow does
const APART_MM = 2; // between a flake and one more of it
const DRAWN_MS = 1000; // a line that takes longer to draw is told of, and again as often
const LONG_MS = 500; // an answer that takes longer is in the hand's way
const GRIP = 22; // pixels round the bead in which it is taken hold of
const STILL = 4; // pixels within which a hand that touched has not moved

export class Tools {
  tool = "fingers";
  breadth = 4;
  heaviness = 0.7;
  looped = false;
  /** @type {string} motif that the next mark is for; "" all */
  motif = "";
  /** @type {Meaning[]} */
  meanings = [];
  /** @type {string[]} */
  motifs = [];
  /** What each of them is called where it is told, by name. @type {Map<string, string>} */
  called = new Map();
  /** What a change of shapes of these locks that is not locked yet, as it is told. @type {(names: Set<string>) => string} */
  locks = () => "";
  redrawing = false;
  /** @type {import("./overlay.js").Trail | null} */
  trail = null;
  /** @type {((mark: Gesture) => Promise<{rings: [number, number][][], area_mm2: number}>) | null} asks what would go by a mark */
  foresee = null;
  /** @type {(() => void) | null} tells that a line is still being drawn */
  draws = null;
  #asking = false;
  /** Whether an answer took so long that no more is asked until a pencil is taken up: whoever lifts would wait for it. */
  #slow = false;
  /** @type {null | "move" | "bead" | "loop" | "slide"} */
  #grip = null;
  /** @type {{x: number, y: number, adds: boolean} | null} */
  #from = null;

  /**
   * @param {import("./view.js").View} view @param {import("./packed.js").Shapes} shapes @param {import("./overlay.js").Overlay} overlay
   * @param {(gesture: Gesture) => Promise<unknown>} send @param {(words: string) => void} say @param {() => void} changed
   */
  constructor(view, shapes, overlay, send, say, changed) {
    this.view = view;
    this.shapes = shapes;
    this.overlay = overlay;
    this.send = send;
    this.say = say;
    this.changed = changed;
  }

  /** @param {string} key */
  take(key) {
    this.cancel();
    this.tool = key;
    this.redrawing = this.#slow = false;
    if (key !== "fingers") this.choose([]);
    this.changed();
  }

  get pencil() {
    return this.meanings.find((meaning) => meaning.key === this.tool) ?? null;
  }

  /** How broad the tool is that the hand holds, mm; 0 if it has a point. */
  get width() {
    return (this.pencil && !this.#loops()) || this.tool === "rubber" || this.tool === "flakes off" ? this.breadth : 0;
  }

  #loops() {
    return this.looped || this.tool === "grow again";
  }

  /** @param {Iterable<Shape>} shapes */
  choose(shapes) {
    const had = this.overlay.chosen.size;
    this.overlay.chosen = new Set(shapes);
    this.overlay.moved = { dx: 0, dy: 0, turn: 0, scale: 1 };
    this.redrawing = false;
    const [first] = this.overlay.chosen,
      n = this.overlay.chosen.size;
    if (n) {
      const locks = this.locks(new Set([...this.overlay.chosen].map((shape) => shape.name)));
      const held = n === 1 ? `One shape of ${this.called.get(first.name) ?? first.name} is` : `${n} shapes are`;
      this.say(`${held} in your fingers.${locks && ` Changing ${n === 1 ? "it" : "them"} locks all of ${locks}.`}`);
    }
    else if (had) this.say("Put down.");
    this.changed();
  }

  /** The hand touches. @param {Spot} spot @param {boolean} adds */
  begin(spot, adds = false) {
    this.#from = { x: spot[0], y: spot[1], adds };
    if (this.tool === "slide") this.#grip = "slide";
    else if (this.tool === "fingers" && !this.redrawing) this.#touch(spot);
    else if (this.tool !== "shake") {
      const k = this.meanings.findIndex((meaning) => meaning.key === this.tool),
        rubs = this.tool === "rubber" || this.tool === "flakes off";
      const kind = rubs
        ? "rub"
        : this.redrawing || this.tool === "own snow"
          ? "outline"
          : this.#loops()
            ? "loop"
            : "stroke";
      this.#draw({ kind, spots: [spot], breadth: this.breadth, colour: PENCILS[k] ?? "#2b2a28" });
    }
    this.changed();
  }

  /** @param {import("./overlay.js").Trail} trail */
  #draw(trail) {
    this.trail = trail;
    this.overlay.trails.add(trail);
    this.overlay.foreseen = []; // of the line before
    if (this.tool === TAKES) void this.#foreseen(trail);
    void this.#drawn(trail);
  }

  /** Tells, as long as a line is drawn, that the hand does not rest. @param {import("./overlay.js").Trail} trail */
  async #drawn(trail) {
    while ((await pause(DRAWN_MS), this.trail === trail)) this.draws?.();
  }

  /** Outlines what of the snow would go, while the hand still draws; one question at a time, the last one of how it lies then. @param {import("./overlay.js").Trail} trail */
  async #foreseen(trail) {
    if (this.#asking || this.#slow || !this.foresee) return;
    this.#asking = true;
    try {
      for (let asked = 0; this.trail === trail && asked !== trail.spots.length; ) {
        asked = trail.spots.length;
        const mark = this.#gesture(trail);
        if (mark.do === "area" && asked < 3) return;
        const since = performance.now();
        const { rings, area_mm2: area } = await this.foresee(mark);
        this.#slow = performance.now() - since > LONG_MS;
        if (!this.overlay.trails.has(trail)) return;
        const grown = asked !== trail.spots.length;
        this.overlay.foreseen = this.#slow && grown ? [] : rings; // else they would be of less than is drawn
        if (this.#slow && grown) {
          if (this.trail === trail) this.say("What goes takes long to work out here: it is told once you lift.");
          return this.changed();
        }
        if (this.trail === trail)
          this.say(area ? `Dashed: what would go so far, ${area} mm² of snow. Esc takes the line back.` : "No snow would go here.");
        this.changed();
      }
    } catch {
      /* a mark that can't be drawn so is refused once the hand lifts */
    } finally {
      this.#asking = false;
      if (this.trail && this.trail !== trail && this.tool === TAKES) void this.#foreseen(this.trail); // begun meanwhile
    }
  }

  /** @param {Spot} spot */
  #touch([x, y]) {
    const { overlay, view } = this,
      bead = overlay.bead,
      ring = overlay.ring,
      px = 1 / view.scale;
    const toBead = bead ? Math.hypot(bead[0] - x, bead[1] - y) : Infinity,
      toMiddle = ring ? Math.hypot(ring.x - x, ring.y - y) : Infinity;
    if (toBead < Math.min(GRIP * px, toMiddle)) this.#grip = "bead";
    else if (ring && toMiddle < ring.r) this.#grip = "move";
    else {
      const hit = this.shapes.at(x, y, 8 * px);
      this.#grip = hit ? "move" : "loop";
      if (hit) this.choose(this.#from?.adds ? [...overlay.chosen, hit] : [hit]);
      else this.#draw({ kind: "loop", spots: [[x, y, 1]], breadth: 0, colour: "#2f6f8f" });
    }
  }

  /** The hand moves. @param {Spot[]} spots */
  more(spots) {
    const last = spots[spots.length - 1],
      from = this.#from;
    if (!from) return;
    if (this.trail) {
      const { spots: line } = this.trail,
        least = 0.4 / this.view.scale;
      for (const spot of spots) {
        const end = line[line.length - 1];
        if (Math.hypot(spot[0] - end[0], spot[1] - end[1]) >= least) line.push(spot);
      }
      if (this.tool === TAKES) void this.#foreseen(this.trail);
    } else if (this.#grip === "move") Object.assign(this.overlay.moved, { dx: last[0] - from.x, dy: last[1] - from.y });
    else if (this.#grip === "bead") this.#pull(last[0], last[1], from);
    this.changed();
  }

  /** The bead is pulled: round the ring it turns, twice as far from the middle it makes twice as large. @param {number} x @param {number} y @param {{x: number, y: number}} from */
  #pull(x, y, from) {
    const box = around(this.overlay.chosen),
      mx = (box.x0 + box.x1) / 2,
      my = (box.y0 + box.y1) / 2;
    this.overlay.moved.turn = Math.atan2(y - my, x - mx) - Math.atan2(from.y - my, from.x - mx);
    this.overlay.moved.scale = Math.min(5, Math.max(0.2, Math.hypot(x - mx, y - my) / Math.hypot(from.x - mx, from.y - my)));
  }

  /** The hand lifts. */
  end() {
    const { trail, overlay } = this,
      grip = this.#grip,
      from = this.#from;
    this.trail = this.#grip = this.#from = null;
    if (trail) trail.bare = this.pencil?.bare ?? false;
    if (trail && this.tool === "fingers" && !this.redrawing) {
      overlay.trails.delete(trail);
      this.#ringed(trail.spots);
    } else if (trail) void this.#pass(this.#gesture(trail), trail);
    else if (grip === "move" || grip === "bead") void this.place();
    else if (this.tool === "shake" && from) void this.#pass({ do: "bare", at: this.#up(from.x, from.y) });
    this.changed();
  }

  cancel() {
    if (this.trail) this.overlay.trails.delete(this.trail);
    this.overlay.foreseen = [];
    this.trail = this.#grip = this.#from = null;
    this.overlay.moved = { dx: 0, dy: 0, turn: 0, scale: 1 };
    this.changed();
  }

  /** @param {Spot[]} spots of a loop: what lies in it is chosen */
  #ringed(spots) {
    const xy = Float32Array.from(spots.flatMap(([x, y]) => [x, y])),
      loop = { xy, starts: null, ...boxOf(spots) };
    if (Math.hypot(loop.x1 - loop.x0, loop.y1 - loop.y0) < STILL / this.view.scale) return this.choose([]);
    const area = /** @type {Shape} */ ({ id: 0, kind: "", name: "", blocks: "", ...loop });
    this.choose(
      [...this.shapes.within(loop)].filter(
        (shape) => shape.kind === "snow" && holds(area, (shape.x0 + shape.x1) / 2, (shape.y0 + shape.y1) / 2),
      ),
    );
    if (this.overlay.chosen.size === 0) this.say("There is no snow in that loop.");
  }

  /** @param {import("./overlay.js").Trail} trail @returns {Gesture} */
  #gesture({ kind, spots, breadth }) {
    const points = spots.map(([x, y, p]) => [...this.#up(x, y), round(p)]),
      flat = points.map(([x, y]) => [x, y]);
    if (this.redrawing) return { do: "redraw", shape: [...this.overlay.chosen][0]?.id, points: flat };
    if (this.tool === "own snow") return { do: "draw", motif: this.motif || this.#usual(spots), points: flat };
    if (this.tool === "rubber") return { do: "erase", breadth, points: flat };
    if (this.tool === "flakes off") return { do: "take away", breadth, points: flat };
    if (this.tool === "grow again") return { do: "try", points: flat, motif: this.motif || this.#usual(spots) };
    const meant = {
      meaning: this.tool,
      strength: this.pencil?.graded ? this.heaviness : 1,
      ...(this.motif ? { motif: this.motif } : {}),
    };
    return kind === "loop" ? { do: "area", ...meant, points: flat } : { do: "stroke", ...meant, breadth, points };
  }

  /** The snow of which most lies within a loop. @param {Spot[]} spots */
  #usual(spots) {
    /** @type {Map<string, number>} */
    const counts = new Map(this.motifs.map((name) => [name, 0]));
    for (const shape of this.shapes.within(boxOf(spots)))
      if (shape.kind === "snow") counts.set(shape.name, (counts.get(shape.name) ?? 0) + 1);
    return [...counts].sort((a, b) => b[1] - a[1])[0]?.[0] ?? "";
  }

  /** Sends a gesture; what the hand drew stays until it is done. @param {Gesture} gesture @param {import("./overlay.js").Trail} [trail] */
  async #pass(gesture, trail) {
    try {
      await this.send(gesture);
    } finally {
      if (trail) {
        this.overlay.trails.delete(trail);
        if (!this.trail) this.overlay.foreseen = [];
      }
      if (gesture.do === "redraw") this.redrawing = false;
      this.changed();
    }
  }

  /** Lets go of what was moved, where it is now. */
  async place() {
    const { overlay } = this,
      { dx, dy, turn, scale } = overlay.moved,
      box = around(overlay.chosen);
    const still =
      Math.hypot(dx, dy) < STILL / 2 / this.view.scale && Math.abs(turn) < 1e-3 && Math.abs(scale - 1) < 1e-3;
    if (overlay.chosen.size === 0 || still) return void (overlay.moved = { dx: 0, dy: 0, turn: 0, scale: 1 });
    await this.#pass({
      do: "move",
      ids: [...overlay.chosen].map((shape) => shape.id),
      dx: round(dx),
      dy: round(-dy),
      turn_deg: round((-turn * 180) / Math.PI),
      scale: round(scale),
      about: this.#up((box.x0 + box.x1) / 2, (box.y0 + box.y1) / 2),
    });
    overlay.moved = { dx: 0, dy: 0, turn: 0, scale: 1 };
    this.changed();
  }

  takeAway() {
    const ids = [...this.overlay.chosen].map((shape) => shape.id);
    if (ids.length) void this.#pass({ do: "take away", ids });
    this.choose([]);
  }

  /** Moves what is chosen by the keyboard; it lies there once it is put down. @param {number} dx @param {number} dy @param {number} turn degrees @param {number} scale */
  nudge(dx, dy, turn = 0, scale = 1) {
    const { moved } = this.overlay;
    this.overlay.moved = {
      dx: moved.dx + dx,
      dy: moved.dy + dy,
      turn: moved.turn + (turn * Math.PI) / 180,
      scale: Math.min(5, Math.max(0.2, moved.scale * scale)),
    };
    this.changed();
  }

  /** Lays one more of what is chosen beside it, and takes that into the fingers. */
  async copy() {
    const chosen = [...this.overlay.chosen],
      box = around(chosen);
    const right = box.x1 + (box.x1 - box.x0) + APART_MM < this.view.size[0];
    await this.#pass({
      do: "move",
      copied: true,
      ids: chosen.map((shape) => shape.id),
      dx: round((right ? 1 : -1) * (box.x1 - box.x0 + APART_MM)),
      dy: 0,
    });
  }

  redraw() {
    this.redrawing = this.overlay.chosen.size === 1;
    this.say(
      this.redrawing
        ? "Draw its new outline, or only an edge: from where it leaves the old one to where it meets it again."
        : "Choose one flake or heap first.",
    );
    this.changed();
  }

  /** @param {number} x @param {number} y @returns {[number, number]} with y up */
  #up(x, y) {
    return [round(x), round(this.view.size[1] - y)];
  }
}

/** @param {number} value */
const round = (value) => Math.round(value * 1000) / 1000;

/** @param {Spot[]} spots */
const boxOf = (spots) => around(spots.map(([x, y]) => ({ x0: x, y0: y, x1: x, y1: y })));
