// The rest of the job on slips: weather, the lock, files with their cautions, and how a print is begun.

import { button, byId, h, opened, slip } from "./slips.js";
import { ask, tell, upload } from "./transport.js";

/** @typedef {import("./transport.js").Print} Print */
/** @typedef {import("./transport.js").Motif} Motif */
/** @typedef {import("./transport.js").Setting} Setting */
/** @typedef {{say: (words: string, refused?: boolean) => void, send: (gesture: import("./transport.js").Gesture) => Promise<unknown>}} Does */
/** @typedef {{n: number, name: string, folder: string, what: string, safety: string[], picture: number | null, kind: string, bytes: number}} Made */

/** Does something that may be refused, and says so. @param {Does} does @param {() => Promise<unknown>} act */
async function tried(does, act) {
  try {
    return await act();
  } catch (error) {
    does.say(error instanceof Error ? error.message : String(error), true);
    return undefined;
  }
}

// ── weather ──────────────────────────────────────────────────────────────────────────────────────────────────────

export class WeatherSlip {
  /** @param {Does} does */
  constructor(does) {
    this.does = does;
    this.body = slip("weather", "Weather").body;
    this.shown = "";
  }

  /** @param {Print} print */
  show(print) {
    const now = JSON.stringify(print.motifs);
    if (now === this.shown) return;
    this.shown = now;
    this.body.replaceChildren(...print.motifs.map((its) => this.#motif(its)));
  }

  /** @param {Motif} its */
  #motif(its) {
    const lock = its.kept
      ? [h("p", { class: "faint" }, "Locked: nothing of it moves unless you move it."), button("Let it grow again", () => void this.does.send({ do: "let go", motif: its.name }))]
      : [h("p", { class: "faint" }, "It grows anew whenever the weather or the drawing changes."), button("Lock it as it is", () => void this.does.send({ do: "keep", motif: its.name }))];
    const presets = its.presets.map((preset) => {
      const picture = h("img", { src: `weather/${encodeURIComponent(its.name)}/${encodeURIComponent(preset.key)}.png`, alt: "", loading: "lazy" });
      return h("button", { type: "button", "aria-pressed": its.preset === preset.key, disabled: its.kept, onclick: () => this.#ask({ motif: its.name, preset: preset.key }) }, picture, h("span", {}, preset.key), preset.about && h("span", { class: "faint" }, preset.about));
    });
    const sliders = its.settings.filter((one) => typeof one.value === "number" && one.least !== null && one.most !== null);
    return h("section", { class: "card advice", "data-motif": its.name }, h("h3", {}, its.name), ...lock, presets.length > 0 && h("div", { class: "weathers" }, ...presets),
      sliders.length > 0 && !its.kept && h("details", {}, h("summary", {}, "By hand"), ...sliders.map((one) => this.#slider(its, one))));
  }

  /** @param {Motif} its @param {Setting} one */
  #slider(its, one) {
    const id = `${its.name} ${one.key}`.replace(/\W+/g, "-"), said = h("output", { for: id }, `${one.value} ${one.unit}`);
    const input = h("input", { type: "range", id, min: one.least, max: one.most, step: one.kind === "int" ? "1" : String(Math.max(0.001, (one.most - one.least) / 200)), oninput: () => { said.textContent = `${Number(input.value).toFixed(2)} ${one.unit}`; }, onchange: () => this.#ask({ motif: its.name, settings: { [one.key]: Number(input.value) } }) });
    input.value = String(one.value);
    return h("div", { class: "field" }, h("label", { class: "slide", for: id, title: one.help }, h("span", {}, one.label), said), input);
  }

  /** @param {object} weather */
  #ask(weather) {
    this.does.say("It grows anew…");
    void tried(this.does, () => tell("weather", weather));
  }
}

// ── files ────────────────────────────────────────────────────────────────────────────────────────────────────────

export class FilesSlip {
  #read = false;
  /** @type {Made[]} */
  #made = [];

  /** @param {Does} does */
  constructor(does) {
    this.does = does;
    const its = slip("files", "Your files");
    this.fold = its.fold;
    this.build = button("Make the files", () => void this.#start(), { class: "first", id: "build" });
    this.bar = h("progress", { max: 1, hidden: true, "aria-label": "How far the files are" });
    this.note = h("p", { class: "faint" }, "All blocks in register, proofs, the guide for the knife and the files for the machines, into the folder of the print.");
    this.stop = button("Stop", () => void tried(this.does, () => tell("stop", {})), { hidden: true });
    this.cautions = h("div", {});
    this.list = h("ul", { class: "cards" });
    its.body.append(this.note, this.build, this.bar, this.stop, this.cautions, this.list);
  }

  async #start() {
    await tried(this.does, async () => {
      await tell("build", {});
      this.build.disabled = true;
      this.bar.hidden = this.stop.hidden = false;
      this.bar.removeAttribute("value");
    });
  }

  /** @param {import("./transport.js").News} news */
  progress(news) {
    if (this.bar.hidden) return;
    if (typeof news.part === "number") this.bar.value = news.part;
    if (news.text) this.note.textContent = news.text + (news.left_s ? `, about ${news.left_s < 90 ? `${Math.ceil(news.left_s)} seconds` : `${Math.round(news.left_s / 60)} minutes`} more` : "");
  }

  async show() {
    this.bar.hidden = this.stop.hidden = true;
    this.build.disabled = false;
    const [made, care] = await Promise.all([ask("files"), ask("cautions")]);
    this.#made = made;
    if (made.length === 0) return;
    this.note.textContent = `${made.length} files in the folder of the print.`;
    this.build.textContent = "Make them again";
    const lines = care.cautions.flatMap((/** @type {{machine: string, lines: string[]}} */ its) => [h("h3", {}, its.machine), h("ul", {}, ...its.lines.map((line) => h("li", {}, line)))]);
    const asked = care.questions.length ? [h("h3", {}, "To be answered first"), h("ul", {}, ...care.questions.map((/** @type {string} */ line) => h("li", {}, line)))] : [];
    this.cautions.replaceChildren(h("section", { class: "card", id: "cautions" }, h("h2", {}, "Before anything is cut"), ...asked, ...lines,
      !this.#read && button("I have read this", () => { this.#read = true; this.#lay(); }, { class: "first", id: "read" })));
    this.#lay();
  }

  /** Files for machines come after their cautions. */
  #lay() {
    this.cautions.querySelector("#read")?.toggleAttribute("hidden", this.#read);
    const order = ["print", "picture", "page", "note", "machine", "other"], seen = this.#made.filter((its) => this.#read || its.kind !== "machine");
    const sorted = [...seen].sort((a, b) => order.indexOf(a.kind) - order.indexOf(b.kind));
    this.list.replaceChildren(...sorted.map((its) => h("li", { class: "card advice", "data-kind": its.kind }, its.picture !== null && h("img", { src: `file/${its.picture}`, alt: "", loading: "lazy" }),
      h("h3", {}, its.name), h("p", {}, its.what), ...its.safety.map((line) => h("p", { class: "faint" }, line)),
      h("a", { href: `file/${its.n}`, target: "_blank", rel: "noopener" }, its.kind === "machine" ? `Save ${its.name}` : `Open ${its.name}`))));
    const held = this.#made.length - seen.length;
    if (held > 0) this.list.append(h("li", { class: "faint" }, `${held} files for machines: read first what is above.`));
  }
}

// ── beginning ────────────────────────────────────────────────────────────────────────────────────────────────────

/** @typedef {{key: string, name: string, words: string}} Thing */

/** Asks how a print is to be begun. @param {Does} does @param {boolean} may whether there is a print to go back to */
export async function beginDialog(does, may) {
  const told = await ask("begin");
  const body = h("div", { class: "body" });
  const dialog = h("dialog", { "aria-labelledby": "begin-title" }, h("h2", { id: "begin-title" }, "Begin a print"), body, may && h("div", { class: "row" }, button("Back to the bench", () => dialog.close())));
  const choose = () => body.replaceChildren(h("div", { class: "options" },
    large("With the sample", "A ferry landing in winter, to try everything on.", () => void go({ with: "sample" })),
    large("With your drawing", "An SVG or DXF; each layer or colour can be a block.", () => pickFile(".svg,.dxf", "drawing")),
    large("With a photograph", "Of your block or of a proof: you lay its corners on the picture.", () => pickFile("image/png,image/jpeg,image/tiff", "scan")),
    large("With a print you have", "Its print.toml.", () => pickFile(".toml", "print"))));
  /** @param {object} wish */
  const go = (wish) => tried(does, async () => {
    does.say("The print is being laid on the bench…");
    await tell("begin", wish);
    location.reload();
  });
  /** @param {string} kinds @param {string} with_ */
  const pickFile = (kinds, with_) => {
    const input = h("input", { type: "file", accept: kinds, onchange: () => void tried(does, async () => {
      const file = input.files?.[0];
      if (file) form(with_, file, await upload(file));
    }) });
    input.click();
  };
  /** @param {string} with_ @param {File} file @param {{upload: string, understood: {layers?: string[], size?: number[], notes?: string[]}}} given */
  const form = (with_, file, given) => {
    if (with_ === "print") return void go({ with: "print", upload: given.upload });
    const layers = given.understood.layers ?? [], inks = ["#a9bfcb", "#6a8799", "#1f2b3d", "#b5714a"];
    const width = number("Width of the print, mm", given.understood.size?.[0] ?? 200), height = number("Height, mm", given.understood.size?.[1] ?? 150);
    const material = choice("Material", told.materials), cutter = choice("Tool", told.cutters);
    const blocks = h("ol", { class: "cards blocks" }, ...(with_ === "scan" ? ["key"] : ["sky", ...layers.slice(0, 5)]).map((name, k) => blockRow(name, inks[k % inks.length])));
    const corners = with_ === "scan" ? cornered(file) : null;
    body.replaceChildren(h("form", { onsubmit: (/** @type {Event} */ event) => {
      event.preventDefault();
      void go({
        with: with_, upload: given.upload, size: [Number(width.input.value), Number(height.input.value)], material: material.input.value, cutter: cutter.input.value, corners: corners?.read(),
        blocks: [...blocks.children].map((row) => Object.fromEntries([...row.querySelectorAll("input")].map((its) => [its.dataset.is, its.value]))),
      });
    } }, ...(given.understood.notes ?? []).map((line) => h("p", { class: "faint" }, line)), corners?.laid, h("div", { class: "options" }, width.label, height.label, material.label, cutter.label),
    h("h3", {}, "Blocks, in the order in which they print"), blocks, h("div", { class: "row" }, h("button", { type: "submit", class: "first" }, "Lay it on the bench"), button("Something else", choose))));
  };
  choose();
  opened(dialog);
}

/** @param {string} title @param {string} words @param {() => void} act */
const large = (title, words, act) => h("button", { type: "button", onclick: act }, h("strong", {}, title), h("span", { class: "faint" }, words));

/** @param {string} label @param {number} value */
function number(label, value) {
  const input = h("input", { type: "number", min: "5", max: "2000", step: "any", required: true });
  input.value = String(value);
  return { input, label: h("label", { class: "field" }, label, input) };
}

/** @param {string} label @param {Thing[]} things */
function choice(label, things) {
  const words = h("span", { class: "faint" }, things[0]?.words ?? ""), input = h("select", { onchange: () => { words.textContent = things.find((its) => its.key === input.value)?.words ?? ""; } }, ...things.map((its) => h("option", { value: its.key }, its.name)));
  return { input, label: h("label", { class: "field" }, label, input, words) };
}

/** @param {string} name @param {string} ink */
function blockRow(name, ink) {
  return h("li", { class: "card advice" }, h("label", { class: "field" }, "Block", h("input", { type: "text", value: name, "data-is": "name" })),
    h("label", { class: "field" }, "Your name of the ink", h("input", { type: "text", value: "", "data-is": "ink_name" })), h("label", { class: "field" }, "Ink", h("input", { type: "color", value: ink, "data-is": "ink" })));
}

/** A picture with four corners to be laid on the block's: by hand or by the arrow keys. @param {File} file */
function cornered(file) {
  const image = h("img", { src: URL.createObjectURL(file), alt: "Your photograph" }), names = ["Upper left", "Upper right", "Lower right", "Lower left"];
  const places = [[0.04, 0.04], [0.96, 0.04], [0.96, 0.96], [0.04, 0.96]];
  const laid = h("div", { class: "laid" }, image, ...names.map((name, k) => {
    const knob = h("button", { type: "button", class: "corner", "aria-label": `${name} corner; arrow keys move it` });
    const put = (/** @type {number} */ x, /** @type {number} */ y) => {
      places[k] = [Math.min(1, Math.max(0, x)), Math.min(1, Math.max(0, y))];
      [knob.style.left, knob.style.top] = places[k].map((part) => `${100 * part}%`);
    };
    knob.addEventListener("pointerdown", (event) => knob.setPointerCapture(event.pointerId));
    knob.addEventListener("pointermove", (event) => {
      const box = laid.getBoundingClientRect();
      if (knob.hasPointerCapture(event.pointerId)) put((event.clientX - box.x) / box.width, (event.clientY - box.y) / box.height);
    });
    knob.addEventListener("keydown", (event) => {
      const step = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key], far = event.shiftKey ? 0.02 : 0.002;
      if (!step) return;
      event.preventDefault();
      put(places[k][0] + step[0] * far, places[k][1] + step[1] * far);
    });
    put(places[k][0], places[k][1]);
    return knob;
  }));
  return { laid, read: () => places.map(([x, y]) => [x * image.naturalWidth, y * image.naturalHeight]) };
}

/** @param {Does} does */
export function beginButton(does) {
  const another = byId("another");
  another.hidden = false;
  another.addEventListener("click", () => void tried(does, () => beginDialog(does, true)));
}
