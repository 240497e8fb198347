// Hands on the bench: mouse, pen and fingers, and the keyboard's pencil.

/** @typedef {import("./overlay.js").Spot} Spot */

const ARROWS = /** @type {Record<string, [number, number]>} */ ({
  ArrowLeft: [-1, 0],
  ArrowRight: [1, 0],
  ArrowUp: [0, -1],
  ArrowDown: [0, 1],
});

export class Hand {
  /** @type {Map<number, {x: number, y: number, kind: string}>} */
  #down = new Map();
  /** @type {number | null} */
  #draws = null;
  /** @type {number | null} */
  #slides = null;
  #penSeen = false;
  #penDown = false;
  #spaced = false;
  /** Whether the keyboard's pencil is pressed on the paper. */
  pressed = false;

  /**
   * @param {HTMLElement} bench @param {import("./view.js").View} view @param {import("./tools.js").Tools} tools
   * @param {import("./overlay.js").Overlay} overlay @param {() => void} changed
   */
  constructor(bench, view, tools, overlay, changed) {
    this.bench = bench;
    this.view = view;
    this.tools = tools;
    this.overlay = overlay;
    this.changed = changed;
    const on = /** @type {(kind: string, act: (event: any) => void, options?: AddEventListenerOptions) => void} */ (
      (kind, act, options) => bench.addEventListener(kind, act, options)
    );
    on("pointerdown", (event) => this.#press(event));
    on("pointermove", (event) => this.#move(event));
    on("pointerup", (event) => this.#lift(event, true));
    on("pointercancel", (event) => this.#lift(event, false));
    on("pointerleave", () => this.#away());
    on("wheel", (event) => this.#wheel(event), { passive: false });
    on("keydown", (event) => this.#key(event));
    on("keyup", (event) => {
      if (event.key === " ") this.#spaced = false;
    });
    on("blur", () => this.#blur());
    on("contextmenu", (event) => event.preventDefault());
  }

  /** @param {PointerEvent} event @returns {[number, number]} */
  #at(event) {
    const box = this.bench.getBoundingClientRect();
    return [event.clientX - box.x, event.clientY - box.y];
  }

  /** @param {PointerEvent} event @returns {Spot} */
  #spot(event) {
    return [...this.view.toPrint(...this.#at(event)), event.pointerType === "pen" ? Math.max(0.02, event.pressure) : 1];
  }

  /** @param {PointerEvent} event */
  #press(event) {
    const touch = event.pointerType === "touch";
    if (event.pointerType === "pen") {
      this.#penSeen = this.#penDown = true;
      for (const [id, pointer] of this.#down) if (pointer.kind === "touch") this.#down.delete(id); // the palm that lay there already
    } else if (touch && this.#penDown) return;
    this.bench.setPointerCapture(event.pointerId);
    const [x, y] = this.#at(event);
    this.#down.set(event.pointerId, { x, y, kind: event.pointerType });
    this.overlay.cross = null;
    if (this.pressed) this.#letGo();
    const slides =
      event.button === 1 ||
      event.button === 2 ||
      this.#spaced ||
      this.tools.tool === "slide" ||
      (touch && this.#penSeen);
    if (touch && this.#down.size === 2) {
      if (this.#draws !== null) this.tools.cancel();
      this.#draws = null;
      this.#slides = null;
    } else if (this.#down.size > 1 || event.button > 2) return;
    else if (slides) this.#slides = event.pointerId;
    else {
      this.#draws = event.pointerId;
      this.tools.begin(this.#spot(event), event.shiftKey);
    }
    this.changed();
  }

  /** @param {PointerEvent} event */
  #move(event) {
    const pointer = this.#down.get(event.pointerId),
      [x, y] = this.#at(event),
      wide = this.tools.width;
    const [px, py] = this.view.toPrint(x, y);
    this.overlay.tip = wide > 0 && event.pointerType !== "touch" ? [px, py, wide] : null;
    if (pointer && this.#draws === event.pointerId) {
      const all = event.getCoalescedEvents?.() ?? [];
      this.tools.more((all.length ? all : [event]).map((one) => this.#spot(one)));
    } else if (pointer && this.#slides === event.pointerId) this.view.pan(x - pointer.x, y - pointer.y);
    else if (pointer && this.#down.size === 2 && this.#draws === null) this.#pinch(event.pointerId, x, y);
    if (pointer) [pointer.x, pointer.y] = [x, y];
    this.changed();
  }

  /** Two fingers: the places under them stay under them. @param {number} id @param {number} x @param {number} y */
  #pinch(id, x, y) {
    const pointer = this.#down.get(id),
      other = [...this.#down].find(([key]) => key !== id)?.[1];
    if (!pointer || !other) return;
    const before = Math.hypot(pointer.x - other.x, pointer.y - other.y),
      now = Math.hypot(x - other.x, y - other.y);
    this.view.pan((x - pointer.x) / 2, (y - pointer.y) / 2);
    if (before > 8 && now > 8) this.view.zoom((this.view.scale * now) / before, (x + other.x) / 2, (y + other.y) / 2);
  }

  /** @param {PointerEvent} event @param {boolean} done */
  #lift(event, done) {
    if (event.pointerType === "pen") this.#penDown = false;
    this.#down.delete(event.pointerId);
    if (this.#slides === event.pointerId) this.#slides = null;
    if (this.#draws === event.pointerId) {
      this.#draws = null;
      if (done) this.tools.end();
      else this.tools.cancel();
    }
    this.changed();
  }

  #away() {
    this.overlay.tip = null;
    this.changed();
  }

  /** A wheel's notch makes larger or smaller; two fingers on a pad slide. @param {WheelEvent} event */
  #wheel(event) {
    event.preventDefault();
    const box = this.bench.getBoundingClientRect(),
      notch = event.deltaX === 0 && Math.abs(event.deltaY) >= 50;
    if (event.ctrlKey || (notch && !event.shiftKey))
      this.view.zoom(
        this.view.scale * Math.exp(-event.deltaY / (event.ctrlKey && !notch ? 100 : 400)),
        event.clientX - box.x,
        event.clientY - box.y,
      );
    else if (event.shiftKey) this.view.pan(-event.deltaY, -event.deltaX);
    else this.view.pan(-event.deltaX, -event.deltaY);
  }

  /** @param {KeyboardEvent} event */
  #key(event) {
    if (event.ctrlKey || event.metaKey || event.target !== this.bench) return;
    const arrow = ARROWS[event.key],
      held = this.tools.tool === "fingers" && this.overlay.chosen.size > 0 && !this.tools.redrawing;
    const step = event.shiftKey ? 5 : event.altKey ? 0.1 : 1,
      { tools, view } = this;
    const middle = /** @type {[number, number]} */ (
      this.overlay.cross ? view.toScreen(...this.overlay.cross) : [view.width / 2, view.height / 2]
    );
    /** @type {Record<string, () => void>} */
    const does = {
      "+": () => view.zoom(view.scale * 1.4, ...middle),
      "=": () => view.zoom(view.scale * 1.4, ...middle),
      "-": () => view.zoom(view.scale / 1.4, ...middle),
      0: () => view.whole(),
      Enter: () => (held && this.#shifted() ? void tools.place() : this.#enter(event.shiftKey)),
      Escape: () => this.#escape(),
      Delete: () => held && tools.takeAway(),
      Backspace: () => held && tools.takeAway(),
      t: () => held && tools.nudge(0, 0, 5),
      T: () => held && tools.nudge(0, 0, -5),
      l: () => held && tools.nudge(0, 0, 0, 1.1),
      s: () => held && tools.nudge(0, 0, 0, 1 / 1.1),
    };
    if (event.key === " ") this.#spaced = true;
    else if (arrow && held) tools.nudge((view.mirrored ? -1 : 1) * arrow[0] * step, arrow[1] * step);
    else if (arrow) this.#step(arrow[0] * step, arrow[1] * step);
    else if (does[event.key]) does[event.key]();
    else return;
    event.preventDefault();
    this.changed();
  }

  #shifted() {
    const { dx, dy, turn, scale } = this.overlay.moved;
    return dx !== 0 || dy !== 0 || turn !== 0 || scale !== 1;
  }

  /** Moves the crosshair, and the print if it leaves the window. @param {number} dx @param {number} dy */
  #step(dx, dy) {
    const { view } = this,
      [w, h] = view.size,
      from = this.#crossing();
    const to = /** @type {[number, number]} */ ([
      Math.min(w, Math.max(0, from[0] + (view.mirrored ? -dx : dx))),
      Math.min(h, Math.max(0, from[1] + dy)),
    ]);
    this.overlay.cross = to;
    const [px, py] = view.toScreen(...to),
      edge = 40;
    view.pan(
      Math.max(0, edge - px) - Math.max(0, px - view.width + edge),
      Math.max(0, edge - py) - Math.max(0, py - view.height + edge),
    );
    if (this.pressed) this.tools.more([[...to, 1]]);
  }

  /** Where the crosshair is; at first in the middle of what is seen of the print. @returns {[number, number]} */
  #crossing() {
    const { view } = this,
      corners = [view.toPrint(0, 0), view.toPrint(view.width, view.height)];
    const middle = (/** @type {0 | 1} */ k) =>
      corners.reduce((sum, at) => sum + Math.min(view.size[k], Math.max(0, at[k])), 0) / 2;
    return this.overlay.cross ?? (this.overlay.cross = [middle(0), middle(1)]);
  }

  /** Presses the pencil on the paper, or lifts it. @param {boolean} adds */
  #enter(adds) {
    const { tools } = this,
      at = this.#crossing();
    if (this.pressed) {
      this.pressed = false;
      tools.end();
      return;
    }
    tools.begin([...at, 1], adds);
    if (tools.tool === "shake" || (tools.tool === "fingers" && this.overlay.chosen.size > 0 && !tools.redrawing))
      tools.end();
    else {
      this.pressed = true;
      tools.say("Pressed. Arrows draw, Enter lifts, Escape takes it back.");
    }
  }

  #letGo() {
    this.pressed = false;
    this.tools.cancel();
  }

  #escape() {
    if (this.#draws !== null) {
      this.#draws = null;
      this.tools.cancel();
    } else if (this.pressed || this.#shifted()) this.#letGo();
    else this.tools.choose([]);
  }

  #blur() {
    if (this.pressed) this.#letGo();
    this.overlay.cross = null;
    this.changed();
  }
}
