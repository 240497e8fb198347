// The bench: what is asked of the program, what it answers, and what is shown of it. Every rule lives in the program.

import { afterSlip, beginButton, beginDialog } from "./begin.js";
import { CuttingSlip } from "./cutting.js";
import { Hand } from "./hand.js";
import { Overlay } from "./overlay.js";
import { Shapes, unpack } from "./packed.js";
import { Picture, print as printInk } from "./picture.js";
import { FilesSlip, FindingsSlip, TriesSlip, WeatherSlip, byId, drawing, filesMade, h, keysSlip, rulerDialog, seeSlip } from "./slips.js";
import { OTHERS, Tools } from "./tools.js";
import { AGAIN_MS, Gestures, Refusal, ask, askPacked, listen, pause, tell } from "./transport.js";
import { View } from "./view.js";

/** @typedef {import("./transport.js").Print} Print */
/** @typedef {import("./transport.js").Gesture} Gesture */

const DRAWINGS = /** @type {Record<string, string>} */ ({
  fingers: "M3 20c4-1 7-3 8-8M21 20c-1-5-4-7-8-8M12 3l3 2-1 3.5h-4L9 5z",
  "flakes off": "M9 4l4-1 3 3-1 4-5 1-3-3zM3 20c3-3 5 1 8-2s5 1 10-3",
  rubber: "M4 15l8-9 8 5-8 9H7zM8 10.500l7.500 5",
  "own snow": "M4 14c-1-5 3-9 8-8s8 4 6 8-13 5-14 0zM14 13l7 8",
  shake: "M3 7c6 3 12 0 18-2M7 12l-.5 2M12 12v3M17 11l.5 2M10 18v1M15 18v1",
  slide: "M6 7l11-2 2 11-11 2zM2 12h3M20 11h2",
});

const MOVED = "Snow moved: the slip Weather says which, why, and how it comes back.";
const GAP = 6; // pixels between the tools of what is held and the print

const shapes = new Shapes(),
  view = new View(),
  stage = byId("stage");
const overlay = new Overlay(
  /** @type {HTMLCanvasElement} */ (byId("overlay")),
  /** @type {HTMLCanvasElement} */ (byId("rule")),
  view,
);
const picture = new Picture(byId("picture"), view, shapes);
const tools = new Tools(view, shapes, overlay, send, say, changed);
tools.draws = () => void tell("drawing", { window_id: gestures.window_id }).catch(() => undefined);
tools.foresee = (mark) => tell("foreseen", mark);
const hand = new Hand(stage, view, tools, overlay, changed);
const gestures = new Gestures(answered, silent, () => {
  if (byId("saved").dataset.silent !== "yes") silent(false);
});
/** @type {Print} */
let print;
let wanted = false,
  laidOut = 0, // so often it is being laid out anew
  asking = 0, // so often its shapes were asked for
  behind = "", // what is at work behind
  onceSeen = /** @type {(() => void) | null} */ (null),
  lastTry = /** @type {Gesture | null} */ (null);
let seen = /** @type {import("./slips.js").Seen | null} */ (null),
  shifting = /** @type {number | null} */ (null);
const beside = {
  findings: /** @type {FindingsSlip | null} */ (null),
  tries: /** @type {TriesSlip | null} */ (null),
  weather: /** @type {WeatherSlip | null} */ (null),
  files: /** @type {FilesSlip | null} */ (null),
  cutting: /** @type {CuttingSlip | null} */ (null),
};

// ── drawing ──────────────────────────────────────────────────────────────────────────────────────────────────────

function changed() {
  overlay.touch();
  again();
}

function again() {
  if (!wanted) requestAnimationFrame(frame);
  wanted = true;
}

/** What can be done with the thing that is held lies at the bench's upper edge, or at the lower where it would cover it. */
function besideHeld() {
  const bar = byId("in-hand"),
    ring = overlay.ring;
  bar.hidden = !ring || tools.tool !== "fingers";
  if (bar.hidden || !ring) return;
  const r = ring.r * view.scale,
    above = view.toScreen(ring.x, ring.y)[1] - r,
    below = view.height - above - 2 * r;
  bar.classList.toggle("low", above < bar.offsetHeight + 22 && below > above);
}

/** How far down from the bench's upper edge the tools of what is held reach, with a gap. */
function highInHand() {
  const bar = byId("in-hand"),
    was = bar.hidden;
  bar.classList.remove("low");
  bar.hidden = false;
  const reach = bar.offsetTop + bar.offsetHeight + GAP;
  bar.hidden = was;
  return reach;
}

function frame() {
  wanted = false;
  if (!print) return;
  if (picture.frame()) again();
  if (overlay.frame()) again();
  byId("scale").textContent = `${Math.round((100 * view.scale) / view.true_)} %`;
  besideHeld();
  if (picture.sharp && onceSeen) onceSeen();
  if (picture.sharp && document.body.dataset.ready !== "yes") {
    document.body.dataset.ready = "yes";
    byId("waiting").hidden = true;
    requestAnimationFrame(() => performance.mark("shown"));
  }
}

view.moved = () => {
  stopShifting();
  again();
};

/** @param {import("./slips.js").Seen} now */
function show(now) {
  seen = now;
  stopShifting();
  picture.show({ blocks: new Set(now.blocks), rubbing: now.rubbing, mirrored: now.mirrored, before: now.before });
  overlay.hidden = new Set(print.blocks.map((block) => block.name).filter((name) => !now.blocks.includes(name)));
  overlay.showMarks = now.marks;
  overlay.showRings = now.rings;
  byId("between").hidden = !now.before;
  veil();
  changed();
}

const veil = () =>
  picture.veilTo(seen?.before ? Number(/** @type {HTMLInputElement} */ (byId("veil")).value) / 100 : null);

/** Shows the blocks as they would print if each were off by so much, one way after another. @param {number} mm */
function shift(mm) {
  if (shifting !== null) return stopShifting();
  const ratio = Math.min(2, devicePixelRatio || 1),
    layers = picture.apart(ratio),
    canvas = /** @type {HTMLCanvasElement} */ (byId("apart")),
    pen = canvas.getContext("2d");
  if (!pen) return;
  [canvas.width, canvas.height] = [Math.ceil(view.width * ratio), Math.ceil(view.height * ratio)];
  canvas.hidden = false;
  byId("watch").textContent = "Stop";
  say(`Each block but the first wanders by up to ${mm} mm: look for white lines, and for ink on the snow.`);
  const still = matchMedia("(prefers-reduced-motion: reduce)").matches,
    k = view.scale * ratio;
  const step = (/** @type {number} */ time) => {
    pen.setTransform(1, 0, 0, 1, 0, 0);
    pen.clearRect(0, 0, canvas.width, canvas.height);
    view.apply(pen, ratio);
    pen.fillStyle = print.paper ?? "#fbfaf6";
    pen.fillRect(0, 0, ...view.size);
    pen.setTransform(1, 0, 0, 1, 0, 0);
    layers.forEach(({ block, picture: ink }, n) => {
      const angle = (still ? 0.8 : time / 900) + n * 2.1,
        off = n === 0 ? 0 : mm * k * (still ? 1 : Math.min(1, Math.abs(Math.sin(time / 2600)) * 1.3));
      printInk(pen, ink, block.opacity ?? 0, [
        0,
        0,
        ink.width,
        ink.height,
        off * Math.cos(angle),
        off * Math.sin(angle),
        ink.width,
        ink.height,
      ]);
    });
    if (!still) shifting = requestAnimationFrame(step);
  };
  shifting = requestAnimationFrame(step);
}

function stopShifting() {
  if (shifting === null) return;
  cancelAnimationFrame(shifting);
  shifting = null;
  byId("apart").hidden = true;
  byId("watch").textContent = "Watch";
}

// ── what is said ─────────────────────────────────────────────────────────────────────────────────────────────────

/** @param {string} words @param {boolean} [refused] */
function say(words, refused = false) {
  const said = byId("said");
  onceSeen = null; // what was to be said once it is seen is old by then
  said.classList.toggle("refused", refused);
  if (said.textContent !== words) said.textContent = words;
}

/** @param {boolean} is */
function silent(is) {
  const saved = byId("saved");
  saved.dataset.silent = is ? "yes" : "no";
  if (is) saved.textContent = `${stoppedWords(print?.start)} What you do here is kept, and sent once it answers.`;
  else if (print?.only_looks) saved.textContent = heldWords();
  else if (print) saved.textContent = gestures.waiting ? "Saving…" : behind || restWords();
}

/** What a window says while nothing is at work. */
function restWords() {
  if (laidOut) return "Saved; the print is being laid out anew…";
  return beside.findings?.due ? "All saved; next the whole print is looked at" : "All saved";
}

/** What a window says whose program is not there. @param {string} [command] */
const stoppedWords = (command = "carvegen mark") =>
  `The program does not answer. If it has ended, type in its terminal: ${command} . This window then goes on by itself.`;

/** What a window says that only looks, with what helps. */
const heldWords = () =>
  print.held_by === "program"
    ? "Another carvegen holds this print: end it in its terminal with Ctrl-C, and this window takes the print over by itself."
    : "Another window holds this print: close that one, and this window takes the print over by itself.";

/** What a window says when it asks for the print, so that it takes it from no other one. */
const looks = () => (print?.only_looks ? "&looks=1" : "");

/** A window that only looks asks every few seconds whether the print is free. */
async function waitsForPrint() {
  for (;;) {
    await pause(AGAIN_MS);
    if (!print.only_looks) continue;
    try {
      if (!(await tell("turn", {})).free) continue;
      await load();
      await lookAgain();
      say("This window holds the print now.");
    } catch {
      /* it does not answer: it is asked again */
    }
  }
}

// ── gestures and their answers ───────────────────────────────────────────────────────────────────────────────────

/** @param {Gesture} gesture @returns {Promise<boolean>} whether the print is laid out anew by it */
async function send(gesture) {
  if (print.only_looks) say(`Here you can only look. ${heldWords()}`, true);
  else
    try {
      if (gesture.do === "try" || gesture.meaning === "more") say("Snow grows in your mark…"); // that takes a while
      return await gestures.send(gesture);
    } catch (error) {
      say(error instanceof Refusal ? error.message : String(error), true);
    }
  return false;
}

/** @param {ArrayBuffer} buffer @param {Gesture} gesture @returns {boolean} whether the print is laid out anew by it */
function answered(buffer, gesture) {
  const { told, shapes: come } = unpack(buffer, print.size[1], print.step),
    held = [...overlay.chosen].map((shape) => shape.id);
  const gone = (told.gone ?? []).map((id) => shapes.remove(id)).filter((shape) => shape !== undefined);
  for (const shape of come) {
    const old = shapes.remove(shape.id);
    if (old) gone.push(old);
    shapes.add(shape);
  }
  picture.changed(gone, come);
  overlay.remark(told.marks ?? [], told.gone_marks ?? []);
  const lost = gone.some((shape) => held.includes(shape.id));
  if (gesture.copied) tools.choose(come.filter((shape) => shape.kind === "snow"));
  else if (lost)
    tools.choose(gesture.do === "move" || gesture.do === "redraw" ? come.filter((shape) => shape.kind === "snow") : []);
  if (!told.reload && told.kept) locked(told.kept);
  Object.assign(print, { version: told.version, undo: told.undo, redo: told.redo });
  counts();
  beforeMending(told.before_mending);
  beside.files?.aged();
  if (told.reload) {
    say(`Written: ${told.message}. The print is being laid out anew…`);
    void load().then(() => seenThen(() => say(done(gesture, told, [print.recut?.say, print.moved.length > 0 && MOVED]))));
  } else seenThen(() => say(done(gesture, told)));
  const tried = (told.marks ?? []).find((mark) => mark.meaning === "grow again");
  if (tried) void showTries(tried.id, gesture); // by a step back or forth, too
  else if (beside.tries?.mark && (told.gone_marks ?? []).includes(beside.tries.mark)) beside.tries.empty();
  performance.mark("answered");
  changed();
  return Boolean(told.reload);
}

/** What is said of a gesture that is done, once it is seen. @param {Gesture} gesture @param {import("./transport.js").Told} told @param {(string | false | undefined)[]} [more] */
function done(gesture, told, more = []) {
  const word = { undo: "Taken back", redo: "Done again" }[/** @type {string} */ (gesture.do)] ?? "Done";
  return [
    told.message ? `${word}: ${told.message}.` : `${word}.`,
    ...(told.said ?? []).map((note) => `${note.charAt(0).toUpperCase()}${note.slice(1)}.`),
    ...more,
  ]
    .filter(Boolean)
    .join(" ");
}

/** Says something once the picture shows what is said. @param {() => void} act */
function seenThen(act) {
  onceSeen = act;
  again();
}

/** Lays the last tries of a mark side by side. @param {string | undefined} mark @param {Gesture} gesture */
async function showTries(mark, gesture) {
  if (!mark || !beside.tries) return;
  const packed = await askPacked(`tries/${encodeURIComponent(mark)}`),
    { told, shapes: tried } = unpack(packed, print.size[1], print.step);
  if (gesture.do === "try") lastTry = gesture;
  beside.tries.show(told, tried, (canvas, box, snow) => picture.part(canvas, box, snow), print.size[1]);
}

/** Which motifs are locked now. @param {string[]} kept */
function locked(kept) {
  for (const motif of print.motifs) motif.kept = kept.includes(motif.name);
  beside.weather?.show(print);
}

function counts() {
  /** @type {HTMLButtonElement} */ (byId("undo")).disabled = !print.undo || print.only_looks;
  /** @type {HTMLButtonElement} */ (byId("redo")).disabled = !print.redo || print.only_looks;
}

async function lookAgain() {
  const { list, looked_at, looks, before_mending } = await ask("findings");
  overlay.findings = list;
  beside.findings?.show(list, looked_at, looks);
  beforeMending(before_mending);
  if (byId("saved").dataset.silent !== "yes") silent(false);
  changed();
}

/** Has the whole print looked at now, or no more. @param {"look" | "stop-looking"} what */
function looking(what) {
  void tell(what, { window_id: gestures.window_id }).catch((why) => say(why instanceof Error ? why.message : String(why), true));
}

/** @param {boolean} on */
function ringRisks(on) {
  overlay.ringRisks = on;
  changed();
}

/** @param {import("./transport.js").Recut["shapes"]} recut */
function outline(recut) {
  overlay.recut = recut;
  changed();
}

/** @param {import("./transport.js").Finding | null} finding */
function lookAt(finding) {
  overlay.lookedAt = finding?.id ?? null;
  if (finding?.at) view.goTo(finding.at[0], view.size[1] - finding.at[1], Math.max(view.scale, 14));
  if (finding) say(`${finding.title}. ${finding.sentence}`);
  changed();
}

// ── the tray ─────────────────────────────────────────────────────────────────────────────────────────────────────

/** What each motif is called where a mark is meant for one: two of a kind by their weather and what they lie on. */
function motifsNamed() {
  for (const option of byId("for").querySelectorAll("option")) {
    const motif = print.motifs.find((one) => one.name === option.value);
    if (motif) option.textContent = motif.about ? `${motif.about} (${motif.called})` : motif.called; // a narrow list shows what comes first
  }
}

function tray() {
  tools.meanings = print.meanings;
  tools.motifs = print.motifs.map((motif) => motif.name);
  tools.called = new Map(print.motifs.map((motif) => [motif.name, motif.called]));
  tools.locks = (names) => {
    const held = new Set(print.motifs.flatMap((motif) => (names.has(motif.name) ? motif.locks : [])));
    const free = print.motifs.filter((motif) => !motif.kept && held.has(motif.name));
    return free.map((motif) => motif.called).join(" and ");
  };
  overlay.meanings = print.meanings.map((meaning) => meaning.key);
  const pick = (/** @type {string} */ key) =>
    h("input", { type: "radio", name: "tool", value: key, checked: key === tools.tool, onchange: () => took(key) });
  byId("pencils").append(
    ...print.meanings.map((meaning, k) =>
      h(
        "label",
        { class: `pencil lead-${k}`, title: meaning.help, "data-tool": meaning.key },
        pick(meaning.key),
        h("span", {}, meaning.key, h("small", {}, meaning.short)),
      ),
    ),
  );
  byId("others").append(
    ...OTHERS.map((tool) =>
      h(
        "label",
        { class: "tool", title: tool.help, "data-tool": tool.key },
        pick(tool.key),
        drawing(DRAWINGS[tool.key]),
        h("span", {}, tool.label),
      ),
    ),
  );
  byId("for").append(...print.motifs.map(({ name }) => h("option", { value: name })));
  motifsNamed();
  ranged("breadth", (value) => {
    tools.breadth = value;
    return `${value} mm`;
  });
  ranged("heaviness", (value) => {
    tools.heaviness = value / 100;
    return value < 40 ? "light" : value < 75 ? "middling" : "heavy";
  });
  byId("for").addEventListener("change", (event) => {
    tools.motif = /** @type {HTMLSelectElement} */ (event.target).value;
  });
  byId("drawn").addEventListener("change", (event) => {
    tools.looped = /** @type {HTMLInputElement} */ (event.target).value === "loop";
  });
  took(tools.tool);
}

/** @param {string} key */
function took(key) {
  tools.take(key);
  const pencil = tools.pencil,
    other = OTHERS.find((tool) => tool.key === key),
    broad = Boolean(pencil) || key === "rubber" || key === "flakes off";
  byId("heavy").hidden = !pencil?.graded;
  byId("drawn").hidden = !pencil || key === "grow again";
  byId("meant").hidden = !pencil && key !== "own snow";
  byId("how").hidden = !pencil && key !== "own snow" && !broad;
  byId("how-legend").hidden = key === "grow again" || key === "own snow"; // what it is meant for is no manner of drawing
  for (const id of ["breadth", "breadth-said"])
    /** @type {HTMLElement} */ (byId(id).closest("label") ?? byId(id)).hidden = !broad || key === "grow again";
  stage.classList.toggle("slides", key === "slide");
  stage.classList.toggle("touches", key === "fingers");
  say(pencil?.help || other?.help || `The pencil ${pencil?.key} is in your hand.`);
}

/** @param {string} id @param {(value: number) => string} set */
function ranged(id, set) {
  const input = /** @type {HTMLInputElement} */ (byId(id)),
    now = () => {
      byId(`${id}-said`).textContent = set(Number(input.value));
    };
  input.addEventListener("input", now);
  now();
}

const IN_HAND = /** @type {Record<string, () => void>} */ ({
  away: () => tools.takeAway(),
  larger: () => nudged(1.15, 0),
  smaller: () => nudged(1 / 1.15, 0),
  left: () => nudged(1, -15),
  right: () => nudged(1, 15),
  redraw: () => tools.redraw(),
  copy: () => void tools.copy(),
  place: () => void tools.place().then(() => tools.choose([])),
});

/** @param {number} scale @param {number} turn */
function nudged(scale, turn) {
  tools.nudge(0, 0, turn, scale);
  void tools.place();
}

function wire() {
  byId("undo").addEventListener("click", () => void send({ do: "undo" }));
  byId("redo").addEventListener("click", () => void send({ do: "redo" }));
  byId("in-hand").addEventListener("click", (event) =>
    IN_HAND[/** @type {HTMLElement} */ (event.target).dataset.does ?? ""]?.(),
  );
  byId("larger").addEventListener("click", () => view.zoom(view.scale * 1.5));
  byId("smaller").addEventListener("click", () => view.zoom(view.scale / 1.5));
  byId("whole").addEventListener("click", () => view.whole());
  byId("true-size").addEventListener("click", () =>
    view.measured ? view.zoom(view.true_) : rulerDialog(view, () => view.zoom(view.true_)),
  );
  byId("veil").addEventListener("input", veil);
  byId("slips-toggle").addEventListener("click", () =>
    byId("slips-toggle").setAttribute("aria-expanded", String(!byId("slips").classList.toggle("away"))),
  );
  byId("lamp").addEventListener("click", () => lamp(!document.documentElement.classList.contains("lamplit")));
  document.addEventListener("keydown", (event) => {
    if (!(event.ctrlKey || event.metaKey) || event.altKey || !/^[zy]$/i.test(event.key)) return;
    event.preventDefault();
    void send({ do: event.key.toLowerCase() === "z" && !event.shiftKey ? "undo" : "redo" });
  });
  new ResizeObserver(() => {
    const first = view.width === 1;
    [view.width, view.height] = [stage.clientWidth, stage.clientHeight];
    view.above = highInHand();
    if (first || view.isWhole) view.whole();
    else view.moved();
  }).observe(stage);
}

/** @param {boolean} lit */
function lamp(lit) {
  document.documentElement.classList.toggle("lamplit", lit);
  byId("lamp").setAttribute("aria-pressed", String(lit));
  overlay.relit();
  changed();
}

// ── the print ────────────────────────────────────────────────────────────────────────────────────────────────────

/** Asks for the print and all of its shapes, and says so meanwhile. @param {Print} [asked] @returns {Promise<void>} */
async function load(asked) {
  laidOut += 1;
  if (byId("saved").dataset.silent !== "yes") silent(false);
  try {
    await laid(asked);
  } finally {
    laidOut -= 1;
  }
  silent(false);
}

/** @param {Print} [asked] @returns {Promise<void>} */
async function laid(asked) {
  const mine = gestures.window_id,
    turn = ++asking;
  const [told, packed] = await Promise.all([asked ?? ask(`print?window_id=${mine}${looks()}`), askPacked("shapes")]);
  if (turn !== asking) return; // it was asked for again since: what comes to that is newer
  const all = unpack(packed, told.size[1], told.step);
  const between = told.version !== all.told.version, // of two answers
    meanwhile = mine !== undefined && told.opening === print.opening && told.version < print.version;
  if (between || meanwhile) return laid(); // a gesture was done
  print = mine === undefined ? told : { ...told, window_id: mine };
  [gestures.window_id, gestures.opening] = [print.window_id, print.opening];
  view.size = print.size;
  picture.paper = overlay.paper = print.paper ?? "#fbfaf6";
  shapes.clear();
  for (const shape of all.shapes) shapes.add(shape);
  overlay.remark(
    print.marks,
    [...overlay.marks.keys()].filter((id) => !print.marks.some((mark) => mark.id === id)),
  );
  tools.choose([]);
  picture.build();
  picture.inks(print.blocks);
  byId("title").textContent = document.title = print.name;
  byId("place").textContent = print.folder;
  beforeMending(print.before_mending);
  beside.weather?.show(print);
  beside.cutting?.show(print);
  motifsNamed();
  counts();
  changed();
}

/** The inks are taken apart now: each block is shown as it would print, no longer as its layers. */
async function takenApart() {
  const { told, shapes: come } = unpack(await askPacked("blocks"), print.size[1], print.step),
    old = [...shapes.byId.values()].filter((shape) => shape.kind === "block" || (shape.kind === "white" && shape.name === "over"));
  for (const shape of old) shapes.remove(shape.id);
  for (const shape of come) shapes.add(shape);
  picture.changed(old, come);
  beforeMending(told.before_mending);
  changed();
}

/** Says on the picture that it is not mended, as long as it is not. @param {string} words */
function beforeMending(words) {
  const note = byId("before-mending");
  note.hidden = !words;
  if (note.textContent !== words) note.textContent = words;
}

/** @param {import("./transport.js").News} news */
function heard(news) {
  if (news.kind === "findings") void lookAgain();
  else if (news.kind === "shapes" && print && news.version !== print.version) void load();
  else if (news.kind === "blocks" && print) void takenApart();
  else if (news.kind === "stage") staged(news);
  else if (news.kind === "saved") silent(false);
  else if (news.kind === "built")
    void beside.files?.show(true).then(() => say(filesMade(news.breaks ?? 0), Boolean(news.breaks)));
  else if (news.kind === "sheet") void beside.files?.show().then(() => beside.files?.drawn(news));
  else if (news.kind === "stopped") {
    say(news.say ?? "The program has stopped.", true);
    if (print) void lookAgain();
    if (print) beside.weather?.show(print);
    void beside.files?.show();
  }
}

/** How far work behind is; a window that only looks goes on saying that. @param {import("./transport.js").News} news */
function staged(news) {
  if (!print)
    return void (byId("waiting").textContent = news.text
      ? `The print is being laid on the bench: ${news.text}…`
      : "The print is being laid on the bench…");
  beside.files?.progress(news);
  behind = news.text ? `${news.text}${news.part ? `, ${Math.round(100 * news.part)} %` : "…"}` : "";
  beside.findings?.work(news);
  silent(false);
}

/** After a silence: the program may have been started again, and have laid the print out anew. */
async function back() {
  const told = await ask(`print?window_id=${gestures.window_id}${looks()}`);
  if (told.opening === print.opening && told.only_looks === print.only_looks) return;
  await load(told);
  await lookAgain();
  void beside.files?.show();
}

async function start() {
  lamp(matchMedia("(prefers-color-scheme: dark)").matches);
  wire();
  const waited = listen(
    undefined,
    heard,
    () => undefined,
    () => undefined,
  );
  const first = await ask("print");
  if (first.begin) {
    byId("waiting").hidden = true;
    return beginDialog({ say, send }, false);
  }
  await load(first);
  waited();
  tray();
  seeSlip(print, show, shift, () => rulerDialog(view, () => view.zoom(view.true_)));
  beside.findings = new FindingsSlip({ show: lookAt, act: (gesture) => void send(gesture), look: () => looking("look"), stop: () => looking("stop-looking"), ring: ringRisks });
  beside.tries = new TriesSlip(
    (mark, attempt) => void send({ do: "choose try", mark, attempt }),
    () => lastTry && void send(lastTry),
  );
  beside.weather = new WeatherSlip({ say, send });
  beside.weather.show(print);
  beside.files = new FilesSlip({ say, send });
  beside.cutting = new CuttingSlip({ say, send: (gesture) => gestures.send(gesture), outline }, beside.files);
  beside.cutting.show(print);
  afterSlip(print, { say, send });
  keysSlip();
  beginButton({ say, send });
  if (innerWidth <= 1120) byId("slips-toggle").click();
  view.whole();
  void lookAgain();
  void beside.files.show();
  listen(print.window_id, heard, silent, () => void back());
  void waitsForPrint();
}

/** Begins, again and again as long as nobody answers. */
async function begin() {
  try {
    await start();
  } catch (error) {
    const gone = error instanceof TypeError && !print; // a request that nobody answers
    byId("waiting").textContent = gone ? "The program does not answer. Type carvegen mark in a terminal: it opens a window of its own." : error instanceof Error ? error.message : String(error);
    if (!gone) return;
    for (;;) {
      await pause(AGAIN_MS);
      if (await ask("print").then(() => true, (why) => why instanceof Refusal)) return location.reload();
    }
  }
}

void begin();
Object.assign(globalThis, { bench: { view, shapes, picture, overlay, tools, hand, gestures, print: () => print, laid: () => laidOut === 0 } }); // for whoever looks at the page from outside: tests, and the curious
