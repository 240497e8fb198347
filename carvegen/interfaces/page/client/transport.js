// What goes to the program on this computer and comes from it. Gestures wait in a line, each with an id of its own: one
// that got no answer is sent again until there is one, and the program does the same id only once.

/** @typedef {[number, number]} Point */
/** @typedef {{name: string, ink: string | null, opacity?: number | null, ink_name: string, role: string, prints: boolean, turned: boolean, material: string, machines: string[], cut_with: string[], cut_by: import("./cutting.js").CutBy}} Block */
/** @typedef {{key: string, label: string, help: string, unit: string, least: number, most: number, value: number, kind: string}} Setting */
/** @typedef {{name: string, called: string, about: string, preset: string | null, kept: boolean, locks: string[], blocks: string[], presets: string[], settings: Setting[]}} Motif */
/** @typedef {{id: string, meaning: string, strength: number, attempt: number, motifs: string[], blocks: string[], quiet?: boolean, rings: Point[][]}} Mark `quiet`: nobody drew it, and it is not shown */
/** @typedef {{say: string, shapes: {how: "mended" | "gone" | "new", rings: Point[][]}[]}} Recut what became of locked snow when others came to cut it */
/** @typedef {{key: string, short: string, help: string, graded: boolean, bare: boolean}} Meaning */
/** @typedef {{version: number, opening: string, window_id?: number, name: string, folder: string, file: string, size: Point, step: number, paper?: string, register_error_mm?: number, start: string, only_looks: boolean, held_by: "" | "window" | "program", undo: number, redo: number, blocks: Block[], motifs: Motif[], marks: Mark[], meanings: Meaning[], recut: Recut | null, moved: string[], land_mm: number, flake_mm: number, before_mending: string, stage: string | null}} Print */
/** @typedef {{version: number, gone?: number[], groups: {kind: string, name: string, blocks: string[], ids: number[]}[], reload?: boolean, marks?: Mark[], gone_marks?: string[], undo: number, redo: number, said?: string[], message?: string, kept?: string[], mark?: string, chosen?: number, box?: number[], tries?: {attempt: number, ids: number[]}[], before_mending: string}} Told */
/** @typedef {{id: string, kind: string, severity: "breaks" | "risk" | "advice", block: string, at: Point | null, title: string, sentence: string, remedy: string, for: string, why?: string, measured: number | null, limit: number | null, unit: string, can_mend: boolean, clears?: {meaning: string, button: string, help: string}[], strip?: {button: string, help: string} | null, left: boolean}} Finding */
/** @typedef {{kind: string, version?: number, text?: string, part?: number | null, so_far?: string, to_go?: string, say?: string, pages?: number, paper?: string, breaks?: number}} News */
/** @typedef {{do: string, [key: string]: unknown}} Gesture */

/** A refusal in her words. */
export class Refusal extends Error {
  /** @param {{what?: string, why?: string, remedy?: string}} told */
  constructor(told) {
    super(
      [...new Set([told.what, told.why, told.remedy])] // why may be what
        .filter(Boolean)
        .map((part) => sentence(String(part)))
        .join(" ") || "That could not be done.",
    );
  }
}

/** @param {string} text */
const sentence = (text) => text.charAt(0).toUpperCase() + text.slice(1) + (/[.!?]$/.test(text) ? "" : ".");

/** @param {Response} answer */
async function checked(answer) {
  if (answer.ok) return answer;
  const text = await answer.text();
  let told = { what: text.slice(0, 300) };
  try {
    told = JSON.parse(text);
  } catch {
    /* plain words */
  }
  throw new Refusal(told);
}

/** @param {string} path @returns {Promise<any>} */
export const ask = async (path) => (await checked(await fetch(path))).json();

/** @param {string} path */
export const askPacked = async (path) => (await checked(await fetch(path))).arrayBuffer();

/** @param {string} path @param {unknown} body @returns {Promise<any>} */
export async function tell(path, body) {
  const answer = await checked(await post(path, JSON.stringify({ window_id: holds.window_id, ...Object(body) })));
  return (answer.headers.get("content-type") ?? "").includes("json") ? answer.json() : null;
}

/** @param {string} path @param {unknown} body */
export const tellPacked = async (path, body) => (await checked(await post(path, JSON.stringify(body)))).arrayBuffer();

/** @param {File} file @returns {Promise<any>} */
export async function upload(file) {
  return (
    await checked(await post(`upload/${encodeURIComponent(file.name)}`, file, "application/octet-stream"))
  ).json();
}

/** This window, by which the program knows whether it holds the print. @type {{window_id: number | undefined}} */
const holds = { window_id: undefined };

/** @param {string} path @param {BodyInit} body @param {string} kind */
const post = (path, body, kind = "application/json") =>
  fetch(path, { method: "POST", headers: { "content-type": kind }, body });

/** So often a window asks again for what it did not get. */
export const AGAIN_MS = 3000;

/** @param {number} ms */
export const pause = (ms) => new Promise((done) => setTimeout(done, ms));

export class Gestures {
  /** @type {Promise<unknown>} */
  #line = Promise.resolve();
  waiting = 0;
  get window_id() {
    return holds.window_id;
  }
  set window_id(window_id) {
    holds.window_id = window_id;
  }
  /** By which opening of the print shapes have the numbers that they have here. */
  opening = "";

  /**
   * @param {(answer: ArrayBuffer, gesture: Gesture) => boolean} answered what it tells, `send` does
   * @param {(silent: boolean) => void} silent whether the program is silent
   * @param {() => void} waits another many gestures wait for their answers
   */
  constructor(answered, silent, waits) {
    this.answered = answered;
    this.silent = silent;
    this.waits = waits;
  }

  /**
   * Sends a gesture after those before it; ends when it is done, with a `Refusal` when it is not.
   * @param {Gesture} gesture
   * @returns {Promise<boolean>}
   */
  send(gesture) {
    const body = JSON.stringify({ id: crypto.randomUUID(), window_id: this.window_id, opening: this.opening, ...gesture });
    this.#waitFor(1);
    const sent = this.#line.then(() => this.#insist(body, gesture)).finally(() => this.#waitFor(-1));
    this.#line = sent.catch(() => undefined);
    return sent;
  }

  /** @param {number} more */
  #waitFor(more) {
    this.waiting += more;
    this.waits();
  }

  /** @param {string} body @param {Gesture} gesture */
  async #insist(body, gesture) {
    for (let wait = 100; ; wait = Math.min(2 * wait, 3000)) {
      try {
        const answer = await post("do", body);
        const buffer = await (await checked(answer)).arrayBuffer();
        this.silent(false);
        return this.answered(buffer, gesture);
      } catch (error) {
        if (error instanceof Refusal || !(error instanceof TypeError)) throw error;
        this.silent(true);
        await pause(wait);
      }
    }
  }
}

/**
 * What the program tells by itself, until the page is closed or this is ended.
 * @param {number | undefined} window_id @param {(news: News) => void} heard @param {(silent: boolean) => void} silent
 * @param {() => void} back it is heard again, or for the first time
 * @returns {() => void} ends it
 */
export function listen(window_id, heard, silent, back) {
  let over = false,
    source = /** @type {EventSource | null} */ (null);
  const open = () => {
    if (over) return;
    const mine = (source = new EventSource(window_id === undefined ? "events" : `events?window_id=${window_id}`));
    mine.onmessage = (message) => heard(JSON.parse(message.data));
    mine.onopen = () => {
      silent(false);
      back();
    };
    mine.onerror = () => {
      silent(true);
      if (mine.readyState === EventSource.CLOSED) setTimeout(open, AGAIN_MS); // refused, it would not ask again by itself
    };
  };
  const end = () => {
    over = true;
    source?.close();
  };
  open();
  addEventListener("pagehide", () => {
    end();
    if (window_id !== undefined)
      navigator.sendBeacon("close", new Blob([JSON.stringify({ window_id })], { type: "application/json" }));
  });
  return end;
}
