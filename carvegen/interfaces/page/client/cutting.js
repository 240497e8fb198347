// Who cuts a print, with which tool and in what: asked when it is begun, and when another machine is to cut it later.

import { button, drawing, h, opened, slip, tried } from "./slips.js";
import { ask } from "./transport.js";

/** @typedef {{key: string, name: string, words: string, machines: string[], never?: Record<string, string>}} Thing `never`: why not, by machine */
/** @typedef {Thing & {each?: Thing[]}} Offer `each`: those of the blocks, which stay as they are */
/** @typedef {{materials: Offer[], other_materials?: Offer[], cutters: Offer[], machines: string[], usual_cutters?: Record<string, string>}} Shelf `usual_cutters`: by machine, what cuts there if the tool does not go into it; `other_materials`: of no block that prints */
/** @typedef {{material: string, cutter: string, for: string[]}} CutBy "", or no kind: as each block has it */
/** @typedef {import("./transport.js").Print} Print */
/** @typedef {import("./transport.js").Gesture} Gesture */

const EACH = "as each block has it";
const WHO = /** @type {Record<string, [string, string]>} */ ({
  hand: ["My own hand", "M4 20l9-9M13 11c1-4 4-6 7-7-1 3-3 6-7 7zM4 20l2 0"],
  laser: ["A laser cutter", "M12 2v11M12 13l-6 3h12zM4 20h16M9 20l3-4 3 4"],
  router: ["A router", "M8 2h8v6h-8zM10 8h4v5l-2 4-2-4zM4 20h16"],
});

/** The questions; `read` tells what is chosen. @param {Shelf} shelf @param {CutBy} usual @param {(CutBy & {name: string})[]} [blocks] that there are */
export function cuttingParts(shelf, usual, blocks = []) {
  const each = h("p", { class: "faint", id: "with-what", role: "status" });
  const cutter = cards("Tool", shelf.cutters, usual.cutter, false, () => withWhat()),
    material = cards("Material", shelf.materials, usual.material, true);
  let kinds_now = /** @type {string[]} */ ([]);
  const boxes = () => /** @type {HTMLInputElement[]} */ ([...who.querySelectorAll("input")]),
    ticked = () => boxes().filter((box) => box.checked),
    chosen = () => ticked().flatMap((box) => box.value || []);
  const suited = () => {
    const kinds = chosen(),
      lots = kinds.length > 0 ? [kinds] : blocks.map((block) => block.for);
    /** Whether a thing suits every block. @param {(one: Thing, kinds: string[]) => boolean} fits @returns {(offer: Offer) => boolean} */
    const suits = (fits) => (offer) =>
      (offer.each && kinds.length === 0) || lots.every((lot) => (offer.each ?? [offer]).every((one) => fits(one, lot)));
    const all = [...new Set(lots.flat())];
    kinds_now = all;
    material.only(suits((one, lot) => lot.every((kind) => one.machines.includes(kind))), all);
    cutter.only(suits((one, lot) => lot.some((kind) => one.machines.includes(kind))), all);
    withWhat();
  };
  /** Who cuts with what: one tool is chosen, every other machine cuts with its usual one. */
  const withWhat = () => {
    const tool = shelf.cutters.find((one) => one.key === cutter.value()),
      own = (/** @type {string} */ kind) => (tool?.machines.includes(kind) ? tool.name : shelf.usual_cutters?.[kind] && `${shelf.usual_cutters[kind]}, as usual`);
    const lines = kinds_now.filter(own).map((kind) => `${WHO[kind]?.[0] ?? kind}: ${own(kind)}.`);
    each.textContent = tool?.key ? lines.join(" ") : "";
  };
  /** One is ticked at least; "as each block has it" alone. @param {HTMLInputElement} box */
  const tick = (box) => {
    box.checked ||= ticked().length === 0;
    if (box.checked) for (const other of ticked()) other.checked = !other.value === !box.value;
    suited();
  };
  const who = h(
    "fieldset",
    { class: "options" },
    h("legend", {}, "Who cuts it, one or several"),
    ...Object.entries(WHO)
      .filter(([key]) => shelf.machines.includes(key))
      .map(([key, [words, path]]) => machine(key, words, path, usual.for.includes(key), tick)),
    blocks.length > 0 && usual.for.length === 0 && eachOwn(blocks, tick),
  );
  suited();
  return {
    parts: [who, cutter.set, each, material.set],
    /** @returns {CutBy} */
    read: () => ({ material: material.value(), cutter: cutter.value(), for: chosen() }),
  };
}

/** That each block stays with those who cut it. @param {(CutBy & {name: string})[]} blocks @param {(box: HTMLInputElement) => void} act */
function eachOwn(blocks, act) {
  const box = h("input", { type: "checkbox", name: "who", value: "", checked: true, onchange: () => act(box) }),
    words = blocks.map((block) => `${block.name}: ${block.for.join(", ")}`).join("; ");
  return h("label", { class: "thing" }, box, h("span", {}, h("strong", {}, EACH), h("span", { class: "faint" }, ` ${words}`)));
}

/** @param {string} key @param {string} words @param {string} path @param {boolean} on @param {(box: HTMLInputElement) => void} act */
function machine(key, words, path, on, act) {
  const box = h("input", { type: "checkbox", name: "who", value: key, checked: on, onchange: () => act(box) });
  return h("label", { class: "tool" }, box, drawing(path), words);
}

/**
 * Things to choose from, in words: only those that suit, the chosen one first. Where it suits no more it is the first
 * that does; of a material, which is what it is, none, and it is said why.
 * @param {string} title @param {Offer[]} things @param {string} usual @param {boolean} [real] @param {() => void} [then] another is chosen
 */
function cards(title, things, usual, real = false, then = () => undefined) {
  const set = h("fieldset", { class: "things" });
  let wanted = usual,
    chosen = /** @type {string | undefined} */ (usual);
  return {
    set,
    only: (/** @type {(thing: Offer) => boolean} */ suits, /** @type {string[]} */ kinds) => {
      const left = things.filter(suits),
        lost = things.find((thing) => thing.key === wanted && !suits(thing));
      chosen = (left.find((thing) => thing.key === wanted) ?? (real ? undefined : left[0]))?.key;
      left.sort((one, other) => Number(other.key === chosen) - Number(one.key === chosen));
      set.replaceChildren(
        h("legend", {}, title),
        ...(real && lost ? [refused(lost, kinds)] : []),
        ...left.map(card),
        ...(real ? kinds.flatMap((kind) => missing(things, kind)) : []),
      );
      set.scrollTop = 0;
    },
    value: () => chosen ?? "",
  };
  /** @param {Thing} thing */
  function card(thing) {
    return h(
      "label",
      { class: "thing" },
      h("input", {
        type: "radio",
        name: `thing-${title}`,
        value: thing.key,
        required: true,
        checked: thing.key === chosen,
        onchange: () => {
          wanted = chosen = thing.key;
          set.querySelector(".refused")?.remove(); // another was named: nothing is refused any more
          then();
        },
      }),
      h("span", {}, h("strong", {}, thing.name), h("span", { class: "faint" }, ` ${thing.words}`)),
    );
  }
}

/** Why a material can't be cut so, and what to do. @param {Thing} thing @param {string[]} kinds of machine */
function refused(thing, kinds) {
  const why = kinds.filter((kind) => thing.never?.[kind]).map((kind) => `Never by ${kind}: ${thing.never?.[kind]}`);
  return h(
    "p",
    { class: "refused", role: "alert" },
    [`Refused: ${thing.name}.`, ...why, "Leave that machine out; name another material only if it is what you cut."].join(" "),
  );
}

/** What the list lacks since it must never meet a machine. @param {Thing[]} things @param {string} kind of machine */
function missing(things, kind) {
  const names = things.filter((thing) => thing.never?.[kind]).map((thing) => thing.name);
  return names.length > 0 ? [h("p", { class: "faint" }, `Never by ${kind}, and so not in this list: ${names.join("; ")}.`)] : [];
}

// ── later ────────────────────────────────────────────────────────────────────────────────────────────────────────

export class CuttingSlip {
  /** @type {Print | null} */
  #print = null;
  /** How long it took the last time, s. */
  #took = 0;

  /** @param {{say: (words: string, refused?: boolean) => void, send: (gesture: Gesture) => Promise<unknown>, outline: (shapes: import("./transport.js").Recut["shapes"]) => void}} does `send` fails with a `Refusal` @param {import("./slips.js").FilesSlip} files */
  constructor(does, files) {
    this.does = does;
    this.files = files;
    this.lines = h("ul", { class: "told" });
    this.recut = h("div", { class: "told", id: "recut", hidden: true });
    slip("cutting", "Who cuts it").body.append(
      this.lines,
      this.recut,
      button("Another machine, or one less", () => void tried(does, () => this.#dialog()), { id: "cut-by" }),
    );
  }

  /** @param {Print} print */
  show(print) {
    this.#print = print;
    /** @type {Map<string, string[]>} */
    const alike = new Map();
    for (const block of print.blocks) {
      const how = `in ${block.material}, ${(block.cut_with ?? block.machines).join("; ")}`;
      alike.set(how, [...(alike.get(how) ?? []), block.name]);
    }
    this.lines.replaceChildren(...[...alike].map(([how, names]) => h("li", {}, `${names.join(", ")} ${how}`)));
    this.#tellRecut(print.recut);
  }

  /** What became of locked snow when others came to cut it, and where. @param {import("./transport.js").Recut | null} recut */
  #tellRecut(recut) {
    this.recut.hidden = !recut;
    this.does.outline(recut?.shapes ?? []);
    if (!recut) return void this.recut.replaceChildren();
    const box = h("input", { type: "checkbox", checked: true, onchange: () => this.does.outline(box.checked ? recut.shapes : []) });
    this.recut.replaceChildren(
      h("p", {}, recut.say),
      ...(recut.shapes.length > 0
        ? [h("label", {}, box, h("span", {}, " Show where: an outline is mended, a dashed one gone, a dotted one new."))]
        : []),
    );
  }

  /** Says why nothing can be pressed and how long it takes, until this is ended. @param {HTMLElement} words @param {string[]} locked */
  #waiting(words, locked) {
    const began = performance.now(),
      why = locked.length > 0 ? `Every locked shape of ${locked.join(" and ")} is tried by the new limits; then it is written.` : "It is being written.";
    const tell = () => {
      const passed = Math.round((performance.now() - began) / 1000);
      words.textContent = [why, passed > 1 && `${passed} s so far${this.#took > 1 ? `; last time it took ${this.#took} s` : ""}.`]
        .filter(Boolean)
        .join(" ");
    };
    tell();
    const clock = setInterval(tell, 1000);
    return () => {
      clearInterval(clock);
      this.#took = Math.round((performance.now() - began) / 1000);
      words.textContent = "";
    };
  }

  async #dialog() {
    const print = this.#print;
    if (!print) return;
    /** @type {Shelf} */
    const shelf = await ask("begin"),
      blocks = print.blocks.map((block) => ({ name: block.name, ...block.cut_by }));
    const cutter = asEach("cutter", shelf.cutters, blocks),
      others = (shelf.other_materials ?? []).filter((one) => blocks.some((block) => block.material === one.key)),
      material = asEach("material", [...shelf.materials, ...others], blocks),
      sorted = blocks.map((block) => shelf.machines.filter((kind) => block.for.includes(kind))),
      kinds = sorted.every((own) => String(own) === String(sorted[0])) ? sorted[0] : [];
    const usual = { cutter: cutter.usual, material: material.usual, for: kinds };
    const { parts, read } = cuttingParts({ ...shelf, cutters: cutter.things, materials: material.things }, usual, blocks),
      said = h("p", { role: "status", class: "refused" }),
      waits = h("p", { role: "status", id: "cutting-waits" }),
      made = this.files.made > 0;
    const drawn = h("div", { role: "status", id: "drawn-land", class: "told" });
    /** Told before she agrees: what is drawn is widened, too. */
    const tellDrawn = async () => {
      const wish = changes(read(), usual),
        asked = new URLSearchParams([...Object.entries(wish).flatMap(([key, value]) => [value].flat().map((one) => [key, one]))]);
      const lines = /** @type {string[]} */ (Object.keys(wish).length > 0 ? (await ask(`cut-by?${asked}`)).say : []);
      if (String(Object.entries(wish)) === String(Object.entries(changes(read(), usual)))) drawn.replaceChildren(...lines.map((line) => h("p", {}, line)));
    };
    const told = { ...this.does, say: (/** @type {string} */ words) => void (said.textContent = words) };
    const save = h("button", { type: "submit", class: "first" }, made ? "Save it, and make the files again" : "Save it");
    const dialog = h(
      "dialog",
      { "aria-labelledby": "cutting-title" },
      h("h2", { id: "cutting-title" }, "Who cuts it"),
      h("p", { class: "faint" }, "What you change holds for all blocks, and is written into the print file. Take back brings the former back."),
      h("p", { class: "faint" }, "With another material, what the file says of the former one goes: composition, thickness, depth of cut, grain."),
      h("p", { class: "faint" }, "Snow that is not locked grows anew. Locked snow, marks and all, stays; only what would break is mended where it lies, or goes."),
      h(
        "form",
        {
          onchange: () => void tried(told, tellDrawn),
          onsubmit: (/** @type {Event} */ event) => {
            event.preventDefault();
            save.disabled = true;
            const ended = this.#waiting(waits, (print.motifs ?? []).filter((motif) => motif.kept).map((motif) => motif.name));
            void tried(told, async () => {
              told.say("");
              await this.does.send({ do: "cut by", ...changes(read(), usual) });
              dialog.close();
              if (made) await this.files.again();
            }).finally(() => {
              ended();
              save.disabled = false;
            });
          },
        },
        ...parts,
        drawn,
        said,
        waits,
        h("div", { class: "row" }, save, button("Leave it", () => dialog.close())),
      ),
    );
    opened(dialog);
  }
}

/** What was chosen otherwise than it is. @param {CutBy} now @param {CutBy} usual @returns {Partial<CutBy>} */
function changes(now, usual) {
  return Object.fromEntries(Object.entries(now).filter(([key, value]) => String(value) !== String(usual[/** @type {keyof CutBy} */ (key)])));
}

/**
 * What there is to choose from, and what is chosen: where blocks differ, first as each has it.
 * @param {"material" | "cutter"} key @param {Offer[]} things @param {(CutBy & {name: string})[]} blocks
 */
function asEach(key, things, blocks) {
  const own = new Set(blocks.map((block) => block[key]));
  if (own.size < 2) return { things, usual: blocks[0]?.[key] ?? "" };
  const there = things.filter((thing) => own.has(thing.key)),
    words = blocks.map((block) => `${block.name}: ${there.find((thing) => thing.key === block[key])?.name ?? block[key]}`);
  const each = {
    key: "",
    name: EACH,
    words: words.join("; "),
    machines: [],
    never: Object.assign({}, ...there.map((thing) => thing.never)),
    each: there,
  };
  return { things: [each, ...things], usual: "" };
}
