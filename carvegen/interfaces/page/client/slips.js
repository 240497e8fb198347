// Slips of paper beside the bench: what is shown, what would break, tries, weather, files, the keyboard.

import { ask, tell, upload } from "./transport.js";

/** @typedef {import("./transport.js").Print} Print */
/** @typedef {import("./transport.js").Finding} Finding */
/** @typedef {import("./packed.js").Shape} Shape */
/** @typedef {import("./transport.js").Motif} Motif */
/** @typedef {import("./transport.js").Setting} Setting */
/** @typedef {{say: (words: string, refused?: boolean) => void, send: (gesture: import("./transport.js").Gesture) => Promise<unknown>}} Does */
/** @typedef {{n: string, name: string, noun: string, block: string, folder: string, what: string, safety: string[], picture: string | null, kind: string, lot: string, bytes: number}} Made */
/** @typedef {{blocks: string[], rubbing: boolean, mirrored: boolean, before: boolean, marks: boolean, rings: boolean}} Seen */

/**
 * An element with what is in it. Properties are set as they are, `data-…` and `aria-…` as attributes.
 * @template {keyof HTMLElementTagNameMap} K
 * @param {K} tag @param {Record<string, unknown>} [with_] @param {...(Node | string | null | undefined | false)} inside
 * @returns {HTMLElementTagNameMap[K]}
 */
export function h(tag, with_ = {}, ...inside) {
  const element = document.createElement(tag);
  for (const [key, value] of Object.entries(with_)) {
    if (value === undefined || value === null) continue;
    if (/^(data|aria)-|^(for|role|type|name|min|max|step|list)$/.test(key)) element.setAttribute(key, String(value));
    else Reflect.set(element, key === "class" ? "className" : key, value);
  }
  element.append(...inside.filter((part) => part !== null && part !== undefined && part !== false));
  return element;
}

/** @param {string} text @param {() => void} act @param {Record<string, unknown>} [more] */
export const button = (text, act, more = {}) => h("button", { type: "button", onclick: act, ...more }, text);

/** @param {string} id */
export function byId(id) {
  const element = document.getElementById(id);
  if (!element) throw new Error(`no ${id} on the page`);
  return element;
}

/** A small line drawing, as of a tool. @param {string} path */
export function drawing(path) {
  const svg = document.createElementNS("http://www.w3.org/2000/svg", "svg"),
    line = document.createElementNS("http://www.w3.org/2000/svg", "path");
  svg.setAttribute("viewBox", "0 0 24 24");
  svg.setAttribute("aria-hidden", "true");
  line.setAttribute("d", path);
  svg.append(line);
  return svg;
}

/** A slip that is unfolded one at a time. @param {string} key @param {string} title @param {boolean} [open] */
export function slip(key, title, open = false) {
  const body = h("div", { id: `slip-${key}` }),
    count = h("span", { class: "count", hidden: true });
  const fold = h("details", { class: "slip", name: "slip", open }, h("summary", {}, h("h2", {}, title), count), body);
  byId("slips").append(fold);
  return { fold, body, count };
}

// ── what is shown ────────────────────────────────────────────────────────────────────────────────────────────────

/** @param {Print} print @param {(seen: Seen) => void} show @param {(mm: number) => void} shift @param {() => void} ruler */
export function seeSlip(print, show, shift, ruler) {
  const { body } = slip("see", "What is shown", true);
  /** @type {Seen} */
  const seen = {
    blocks: print.blocks.map((block) => block.name),
    rubbing: false,
    mirrored: false,
    before: false,
    marks: true,
    rings: true,
  };
  const rubbing = check("rubbed in graphite", false, (on) => {
      seen.rubbing = on;
      show(seen);
    }),
    lies = check("as the block lies, mirrored", false, (on) => {
      seen.mirrored = on;
      show(seen);
    });
  const alone = () => {
    const one = seen.blocks.length === 1;
    for (const tick of [rubbing, lies]) {
      tick.box.disabled = !one;
      tick.label.hidden = !one;
      if (!one) tick.box.checked = false;
    }
    if (!one) seen.rubbing = seen.mirrored = false;
    show(seen);
  };
  const whole = print.blocks.map((block) => block.name),
    choices = [
      option("shown", "all inks, over one another", true, () => {
        seen.blocks = whole;
        alone();
      }),
      ...print.blocks.map((block) =>
        option(
          "shown",
          `the ${block.name} block alone`,
          false,
          () => {
            seen.blocks = [block.name];
            alone();
          },
          block.ink,
        ),
      ),
    ];
  const far = h("input", { type: "number", id: "register-mm", min: "0.1", max: "3", step: "0.1", value: "0.4" });
  body.append(
    h("fieldset", {}, h("legend", {}, "Inks"), ...choices, rubbing.label, lies.label),
    h(
      "fieldset",
      {},
      h("legend", {}, "Over it"),
      check("beside the print without snow", false, (on) => {
        seen.before = on;
        show(seen);
      }).label,
      check("pencil marks", true, (on) => {
        seen.marks = on;
        show(seen);
      }).label,
      check("rings round what would break", true, (on) => {
        seen.rings = on;
        show(seen);
      }).label,
    ),
    h(
      "fieldset",
      {},
      h("legend", {}, "If the blocks do not meet"),
      h(
        "div",
        { class: "row" },
        h("label", { for: "register-mm" }, "Off by"),
        far,
        "mm",
        button("Watch", () => shift(Math.max(0.1, Math.min(3, Number(far.value) || 0.4))), { id: "watch" }),
      ),
    ),
    button("Hold a ruler to the screen…", ruler, { id: "ruler" }),
  );
  alone();
  return seen;
}

/** @param {string} text @param {boolean} on @param {(on: boolean) => void} act */
function check(text, on, act) {
  const box = h("input", { type: "checkbox", checked: on, onchange: () => act(box.checked) });
  return { box, label: h("label", { class: "choice" }, box, text) };
}

/** @param {string} group @param {string} text @param {boolean} on @param {() => void} act @param {string | null} [ink] */
function option(group, text, on, act, ink) {
  const box = h("input", { type: "radio", name: group, checked: on, onchange: act }),
    swatch = ink ? h("span", { class: "ink" }) : null;
  if (swatch && ink) swatch.style.backgroundColor = ink;
  return h("label", { class: "choice" }, box, swatch, text);
}

// ── what would break ─────────────────────────────────────────────────────────────────────────────────────────────

const MOST = 200; // of a kind are told at once
const FEW = 4; // of a kind that breaks lie open; more are folded together
const MOST_NAMED = 3; // kinds of what is no break are named before they are unfolded
const SEVERE = { breaks: "would break", risk: "a risk", advice: "advice" };

/** What is said while not all is counted, by what is done about it; else it is why nothing is. */
const LOOKS = /** @type {Record<string, string>} */ ({
  "at work": "The whole print is being looked at",
  stopped: "You stopped the look at the whole print.",
  "after the files": "Once what is at work is done, the whole print is looked at.",
  soon: "The whole print is looked at once your hand rests.",
});
/** The same once all was looked at, as a build does: then only the picture is still to come. */
const PICTURES = /** @type {Record<string, string>} */ ({
  done: "",
  "at work": "The picture is being worked out",
  stopped: "You stopped the work on the picture.",
  "after the files": "Once what is at work is done, the picture is worked out.",
  soon: "The picture is worked out once your hand rests.",
});
const GO_ON = "You can go on working: after a change it begins anew once your hand rests.";
/** @param {number | null | undefined} part of work, as far as it is known */
const shareOf = (part) => (typeof part === "number" && part >= 0.01 ? `${Math.round(100 * part)} % done` : "");
const NEAR = "What is told here lies near what you changed.";

export class FindingsSlip {
  /** @param {{show: (finding: Finding | null) => void, act: (gesture: import("./transport.js").Gesture) => void, look: () => void, stop: () => void, ring: (risks: boolean) => void}} does */
  constructor(does) {
    this.does = does;
    const folded = slip("findings", "What would break");
    this.fold = folded.fold;
    this.body = folded.body;
    this.count = folded.count;
    this.list = h("ol", { class: "cards" });
    this.note = h("p", { class: "faint", role: "status" }, LOOKS.soon);
    this.now = button("Look now", does.look, { hidden: true, id: "look-now" });
    this.bar = h("progress", { max: 1, hidden: true, "aria-label": "How much of the print is looked at" });
    this.going = h("p", { class: "faint", hidden: true });
    this.stop = button("Stop looking", does.stop, { hidden: true, id: "stop-looking" });
    this.looks = "soon"; // as the program said last
    this.all = ""; // what is said once all of it was looked at; the picture may still have to be worked out then
    this.near = false;
    /** @type {import("./transport.js").News} */
    this.news = { kind: "stage", text: "" };
    this.more = h("summary", {});
    this.risks = h("ol", { class: "cards" });
    const ring = check("ring the risks on the print, too", false, does.ring);
    this.lesser = h("details", { hidden: true, class: "lesser" }, this.more, ring.label, this.risks);
    this.body.append(this.note, this.bar, this.going, this.stop, this.now, this.list, this.lesser);
  }

  /** What work behind is at, and how far; its text is "" if none is. @param {import("./transport.js").News} news */
  work(news) {
    this.news = news;
    const stage = news.text;
    if (this.looks === "done") return;
    if (stage) this.looks = stage.startsWith("checking") ? "at work" : "after the files";
    this.#note();
  }

  /** Whether the whole print is still to be looked at, with nothing at work that says so. */
  get due() {
    return this.looks === "soon";
  }

  #note() {
    const [words, what] = this.all ? [PICTURES, "The picture could not be worked out"] : [LOOKS, "The whole print could not be looked at"],
      said = words[this.looks] ?? `${what}: ${this.looks}.`,
      looking = this.looks === "at work" && Boolean(this.news.text),
      at = looking ? `: ${(this.news.text ?? "").replace(/^checking: /, "")}.` : "…";
    const full = this.looks === "at work" ? said + at : said;
    this.note.textContent = [this.all, full, !this.all && this.near && NEAR].filter(Boolean).join(" ");
    this.now.hidden = ["done", "at work", "after the files"].includes(this.looks);
    this.#going(looking);
  }

  /** How much is done and how long it goes on, beside a way to stop it. @param {boolean} looking */
  #going(looking) {
    const { part, to_go, so_far } = this.news;
    for (const one of [this.bar, this.going, this.stop]) one.hidden = !looking;
    this.bar.value = part ?? 0;
    const far = [shareOf(part), to_go].filter(Boolean).join(", ");
    this.going.textContent = [far && `${far}.`, so_far && `${so_far.charAt(0).toUpperCase()}${so_far.slice(1)}.`, GO_ON].filter(Boolean).join(" ");
  }

  /** What breaks first; risks and hints are folded away, counted. @param {Finding[]} all @param {"nothing" | "near" | "whole"} looked_at of the print as it is now @param {string} looks what is done to look at all of it */
  show(all, looked_at, looks) {
    const open = all.filter((finding) => !finding.left),
      broken = open.filter((finding) => finding.severity === "breaks"),
      left = all.filter((finding) => finding.left);
    const whole = looked_at === "whole";
    this.count.hidden = broken.length === 0;
    this.count.textContent = `${broken.length}${whole ? "" : " so far"}`;
    this.count.setAttribute("aria-label", `${broken.length} would break${whole ? "" : ", so far"}`);
    this.looks = looks;
    this.near = looked_at === "near";
    this.all = whole ? `Looked at all of it: ${broken.length || "nothing"} would break.` : "";
    this.#note();
    const risks = open.filter((finding) => finding.severity === "risk"),
      hints = open.filter((finding) => finding.severity === "advice");
    const folds = [...this.body.querySelectorAll("details[data-kind][open]")],
      unfolded = new Set(folds.map((group) => group.getAttribute("data-kind")));
    this.list.replaceChildren(
      ...[...byKind(broken)].flatMap(([kind, lot]) =>
        lot.length > FEW ? [this.#kind(kind, lot, unfolded.has(kind))] : lot.map((finding) => this.#card(finding)),
      ),
    );
    const kinds = byKind([...risks, ...hints, ...left]);
    const named = [...kinds].slice(0, MOST_NAMED).map(([kind, lot]) => `${kind.toLowerCase()} (${lot.length})`);
    if (kinds.size > MOST_NAMED) named.push(`${kinds.size - MOST_NAMED} more of this sort`);
    this.more.textContent = `Worth a look while you carve: ${named.join(", ")}`;
    this.lesser.hidden = kinds.size === 0;
    this.risks.replaceChildren(...[...kinds].map(([kind, lot]) => this.#kind(kind, lot, unfolded.has(kind))));
  }

  /** Findings of one kind, folded away. @param {string} kind @param {Finding[]} lot @param {boolean} open */
  #kind(kind, lot, open) {
    const list = h("ol", { class: "cards" });
    const fold = h("details", { class: "lesser", "data-kind": kind, open }, h("summary", {}, `${kind}: ${lot.length}`), list);
    if (open) this.#lay(list, lot);
    else fold.addEventListener("toggle", () => fold.open && list.children.length === 0 && this.#lay(list, lot));
    return h("li", {}, fold);
  }

  /** @param {HTMLElement} list @param {Finding[]} findings */
  #lay(list, findings) {
    list.replaceChildren(...findings.slice(0, MOST).map((finding) => this.#card(finding)));
    if (findings.length > MOST)
      list.append(h("li", { class: "faint" }, `${findings.length - MOST} more: mend or leave some of these first.`));
  }

  /** @param {Finding} finding */
  #card(finding) {
    const clears = finding.left ? [] : (finding.clears ?? []),
      strip = finding.left ? null : finding.strip;
    const why = h(
      "div",
      { hidden: true },
      finding.why && h("p", {}, finding.why),
      finding.measured !== null &&
        finding.limit !== null &&
        h("p", { class: "faint" }, `Measured ${finding.measured} ${finding.unit}, limit ${finding.limit} ${finding.unit}.`),
      h("p", {}, `To do: ${finding.remedy}`),
      ...clears.map(({ button: called, help }) => h("p", {}, `${called}: ${help}`)),
      strip && h("p", {}, `${strip.button}: ${strip.help}`),
    );
    const shown = button("Show me why", () => {
      why.hidden = false;
      for (const other of this.body.querySelectorAll(".card")) other.removeAttribute("aria-current");
      card.setAttribute("aria-current", "true");
      this.does.show(finding);
    });
    const card = h(
      "li",
      { class: `card ${finding.severity}`, "data-finding": finding.id },
      h("h3", {}, finding.title),
      h(
        "p",
        { class: "faint" },
        [SEVERE[finding.severity], finding.block && `${finding.block} block`, finding.for && `limit for ${finding.for}`, finding.left && "left to your knife"]
          .filter(Boolean)
          .join(" · "),
      ),
      h("p", {}, finding.sentence),
      why,
      h(
        "div",
        { class: "row" },
        shown,
        finding.can_mend && !finding.left && button("Mend it", () => this.does.act({ do: "mend", finding: finding.id })),
        ...clears.map(({ meaning, button: called, help }) =>
          button(called, () => this.does.act({ do: "clear", finding: finding.id, meaning }), { title: help }),
        ),
        strip && button(strip.button, () => this.does.act({ do: "clear strip", finding: finding.id }), { title: strip.help }),
        !finding.left && button("Leave it to my knife", () => this.does.act({ do: "leave", finding: finding.id })),
      ),
    );
    return card;
  }
}

/** Findings by what they are called, in their order. @param {Finding[]} findings */
function byKind(findings) {
  /** @type {Map<string, Finding[]>} */
  const kinds = new Map();
  for (const finding of findings) {
    const kind = finding.left ? "left to your knife" : finding.title;
    kinds.set(kind, [...(kinds.get(kind) ?? []), finding]);
  }
  return kinds;
}

// ── tries ────────────────────────────────────────────────────────────────────────────────────────────────────────

const TRY_PX = 240; // so wide each is drawn

export class TriesSlip {
  /** @param {(mark: string, attempt: number) => void} choose @param {() => void} again */
  constructor(choose, again) {
    const folded = slip("tries", "Tries, side by side");
    this.fold = folded.fold;
    this.body = folded.body;
    this.choose = choose;
    this.again = again;
    this.empty();
  }

  /** The place whose tries lie here; "" if none do. */
  mark = "";

  empty() {
    this.mark = "";
    this.body.replaceChildren(
      h(
        "p",
        { class: "faint" },
        "Take the pencil grow again and draw a loop: what has grown in it grows anew, and its last six tries lie here.",
      ),
    );
  }

  /** Each as the print would be. @param {import("./transport.js").Told} told @param {Shape[]} shapes @param {(canvas: HTMLCanvasElement, box: import("./packed.js").Box, snow: Shape[]) => void} draw @param {number} height of the print */
  show(told, shapes, draw, height) {
    this.mark = told.mark ?? "";
    const [x0, low, x1, high] = told.box ?? [0, 0, 1, 1],
      box = { x0, y0: height - high, x1, y1: height - low };
    const pictures = (told.tries ?? []).map(({ attempt, ids }) => {
      const own = new Set(ids),
        down = Math.max(40, Math.round((TRY_PX * (high - low)) / Math.max(x1 - x0, 1e-6))),
        canvas = h("canvas", { width: TRY_PX, height: down });
      draw(canvas, box, shapes.filter((shape) => own.has(shape.id)));
      return (
        button("", () => this.choose(told.mark ?? "", attempt), {
          "aria-pressed": attempt === told.chosen,
          "aria-label": attempt ? `Try ${attempt}` : "As it was before",
          title: attempt ? `Try ${attempt}` : "As it was before",
          class: "",
        }).appendChild(canvas).parentElement ?? canvas
      );
    });
    this.body.replaceChildren(
      h("p", { class: "faint" }, "Choose one; the print shows it at once. The first picture is as it was before."),
      h("div", { class: "tries" }, ...pictures),
      button("One more try", this.again, { id: "again" }),
    );
    this.fold.open = true;
  }
}

/** Does something that may be refused, and says so. @param {Does} does @param {() => Promise<unknown>} act */
export async function tried(does, act) {
  try {
    return await act();
  } catch (error) {
    does.say(error instanceof Error ? error.message : String(error), true);
    return undefined;
  }
}

// ── weather ──────────────────────────────────────────────────────────────────────────────────────────────────────

const NONE = "none"; // the weather of which nothing grows
const WIDEST = 500; // what ranges further can't be set with a slider

export class WeatherSlip {
  /** @param {Does} does */
  constructor(does) {
    this.does = does;
    const { fold, body } = slip("weather", "Weather");
    this.fold = fold;
    this.body = body;
    this.shown = "";
    /** What was chosen last and has not grown yet; `done` once it is written. @type {{motif: string, preset: string, done: boolean} | null} */
    this.asked = null;
    fold.addEventListener("toggle", () => this.#pictures());
  }

  /** Each grows on its own, so they are asked for once they are seen: a lazy one is loaded inside a closed fold, too. */
  #pictures() {
    if (!this.fold.open) return;
    for (const picture of this.body.querySelectorAll("img")) {
      if (picture.dataset.src) picture.src = picture.dataset.src;
      delete picture.dataset.src;
    }
  }

  /** @param {Print} print */
  show(print) {
    this.print = print;
    if (this.asked?.done) this.#forget();
    const now = JSON.stringify([print.motifs, print.moved]);
    if (now === this.shown) return;
    this.shown = now;
    const moved = print.moved.length > 0 && h("div", { class: "told", id: "moved" }, ...print.moved.map((line) => h("p", {}, line)));
    this.body.replaceChildren(...(moved ? [moved] : []), ...print.motifs.map((motif) => this.#motif(motif)));
    this.#pictures();
    this.#mark();
  }

  /** What was chosen has grown, or does not grow. */
  #forget() {
    this.asked = null;
    this.shown = "";
  }

  /** Marks at once what was chosen, with a sign that it grows. */
  #mark() {
    for (const section of this.asked ? this.body.querySelectorAll("[data-motif]") : []) {
      if (section.getAttribute("data-motif") !== this.asked?.motif) continue;
      for (const one of section.querySelectorAll("[data-preset]")) {
        const own = one.getAttribute("data-preset") === this.asked.preset;
        one.setAttribute("aria-pressed", String(own));
        one.toggleAttribute("data-growing", own);
        const words = one.querySelector("span");
        if (words) words.textContent = own && this.asked.preset !== NONE ? `${this.asked.preset}, growing…` : (one.getAttribute("data-preset") ?? "");
      }
    }
  }

  /** @param {Motif} motif */
  #motif(motif) {
    const none = motif.preset === NONE && !motif.kept;
    const lock = none
      ? [h("p", { class: "faint" }, "None of it grows now. Choose a weather, and it grows again.")]
      : motif.kept
      ? [
          h("p", { class: "faint" }, "Locked: nothing of it moves unless you move it."),
          button("Let it grow again", () => void this.does.send({ do: "let go", motif: motif.name })),
        ]
      : [
          h("p", { class: "faint" }, "It grows anew whenever its weather, the drawing or who cuts it changes."),
          button("Lock it as it is", () => void this.does.send({ do: "keep", motif: motif.name })),
        ];
    const presets = motif.presets.map((preset) => {
      const picture = h("img", {
        "data-src": `weather/${encodeURIComponent(motif.name)}/${encodeURIComponent(preset)}.png`,
        alt: "",
        loading: "lazy",
      });
      return h(
        "button",
        {
          type: "button",
          "aria-pressed": motif.preset === preset,
          "data-preset": preset,
          disabled: motif.kept,
          onclick: () => this.#choose(motif.name, preset),
        },
        picture,
        h("span", {}, preset),
      );
    });
    const sliders = motif.settings.filter(
      (one) =>
        typeof one.value === "number" && one.least !== null && one.most !== null && one.most - one.least <= WIDEST,
    );
    return h(
      "section",
      { class: "card advice", "data-motif": motif.name },
      h("h3", {}, [motif.called, motif.about].filter(Boolean).join(", ")),
      ...lock,
      presets.length > 0 && h("div", { class: "weathers" }, ...presets),
      sliders.length > 0 &&
        !motif.kept &&
        !none &&
        this.#byHand(motif, sliders),
    );
  }

  /** Sliders, and over them a part of the print as they would have it, at once. @param {Motif} motif @param {Setting[]} sliders */
  #byHand(motif, sliders) {
    const part = h("img", { alt: `A part of the print as the sliders have ${motif.called}`, class: "part", hidden: true });
    let [asked, next] = ["", ""];
    const look = (/** @type {string} */ wanted) => {
      next = `weather/${encodeURIComponent(motif.name)}.png?${wanted}`;
      if (asked) return; // the last picture is on its way; only the newest is asked for after it
      asked = part.src = next;
    };
    part.onload = part.onerror = () => {
      part.hidden = !part.naturalWidth;
      const again = asked !== next;
      asked = again ? (part.src = next) : "";
    };
    return h("details", {}, h("summary", {}, "By hand"), part, ...sliders.map((one) => this.#slider(motif, one, look)));
  }

  /** @param {Motif} motif @param {Setting} one @param {(wanted: string) => void} look */
  #slider(motif, one, look) {
    const id = `${motif.name} ${one.key}`.replace(/\W+/g, "-"),
      said = h("output", { for: id }, `${one.value} ${one.unit}`);
    const input = h("input", {
      type: "range",
      id,
      min: one.least,
      max: one.most,
      step: one.kind === "int" ? "1" : String(Math.max(0.001, (one.most - one.least) / 200)),
      oninput: () => {
        said.textContent = `${Number(input.value).toFixed(2)} ${one.unit}`;
        look(`${encodeURIComponent(one.key)}=${input.value}`);
      },
      onchange: () => void this.#ask({ motif: motif.name, settings: { [one.key]: Number(input.value) } }),
    });
    input.value = String(one.value);
    return h(
      "div",
      { class: "field" },
      h("label", { class: "slide", for: id }, h("span", {}, one.label), said),
      input,
      h("p", { class: "faint" }, one.help),
    );
  }

  /** @param {string} motif @param {string} preset */
  async #choose(motif, preset) {
    /** @type {NonNullable<WeatherSlip["asked"]>} */
    const asked = { motif, preset, done: false };
    this.asked = asked;
    this.#mark();
    const grows = await this.#ask({ motif, preset });
    asked.done = true;
    if (grows || this.asked !== asked || !this.print) return;
    this.#forget();
    this.show(this.print);
  }

  /** @param {object} weather @returns {Promise<unknown>} whether it grows */
  #ask(weather) {
    this.does.say("preset" in weather && weather.preset === NONE ? "It goes…" : "It grows anew…");
    return this.does.send({ do: "weather", ...weather });
  }
}

// ── files ────────────────────────────────────────────────────────────────────────────────────────────────────────

/** What is said once the files are made: what would break comes first. @param {number} breaks places */
export function filesMade(breaks) {
  const made = "The files are made: they lie in the folder of the print.";
  if (!breaks) return made;
  const many = breaks === 1 ? "At one place something" : `At ${breaks} places something`;
  return `${many} would break: look at it before anything is cut. ${made}`;
}

export class FilesSlip {
  /** The cautions that were read: of another machine there are others. */
  #read = "";
  made = 0; // files in the folder, all of them
  folder = "";

  /** @param {Does} does */
  constructor(does) {
    this.does = does;
    const folded = slip("files", "Your files");
    this.fold = folded.fold;
    this.build = button("Make the files", () => void this.again(), { class: "first", id: "build" });
    this.bar = h("progress", { max: 1, hidden: true, "aria-label": "How far the files are" });
    this.note = h(
      "p",
      { class: "faint" },
      "All blocks in register, proofs, the carving guide and the files for the machines, into the folder of the print. How long it takes depends on what else this computer does: it gives way to that.",
    );
    this.stop = button("Stop", () => void tried(this.does, () => tell("stop", {})), { hidden: true });
    this.look = button("Look at them", () => undefined, { hidden: true, class: "first", id: "look" });
    this.papers = h("ul", { class: "cards", id: "papers" });
    this.paper = h("select", { id: "sheet-paper" }, ...["A4", "Letter"].map((size) => h("option", {}, size)));
    this.draw = button("Draw it", () => void this.#start("sheet", { paper: this.paper.value }), { id: "draw-sheet" });
    this.sheet = h("p", { id: "sheet", hidden: true });
    this.coloured = h("input", {
      type: "file",
      id: "coloured",
      accept: "image/png,image/jpeg,image/tiff,image/webp",
      multiple: true,
      onchange: () => void this.#read_sheet([...(this.coloured.files ?? [])]),
    });
    folded.body.append(
      this.note,
      this.look,
      this.build,
      this.bar,
      this.stop,
      this.papers,
      h(
        "fieldset",
        {},
        h("legend", {}, "A sheet to mark with coloured pencils"),
        h("div", { class: "row" }, h("label", { for: "sheet-paper" }, "Paper"), this.paper, this.draw),
        this.sheet,
        h(
          "div",
          { class: "field" },
          h("label", { for: "coloured" }, "Photographs of the coloured sheet, one a page"),
          this.coloured,
        ),
      ),
    );
  }

  /** What is understood of photographs of the coloured sheet; she looks before it is taken. @param {File[]} files */
  async #read_sheet(files) {
    if (files.length === 0) return;
    this.does.say("The sheet is being read…");
    await tried(this.does, async () => {
      const uploads = [];
      for (const file of files) uploads.push((await upload(file)).upload);
      /** @type {{lines: string[], notes: string[], sheet: string}} */
      const found = await tell("pencil", { uploads });
      this.does.say("Look at what was understood.");
      const dialog = h(
        "dialog",
        { class: "wide", "aria-labelledby": "coloured-title" },
        h("h2", { id: "coloured-title" }, "What was understood of your pencils"),
        h("ul", { class: "told" }, ...[...found.lines, ...found.notes].map((line) => h("li", {}, line))),
        h("img", {
          class: "whole",
          src: `proof/pencil-marks.png?${performance.now()}`,
          alt: "Your sheet, the marks on it outlined",
        }),
        h(
          "div",
          { class: "row" },
          button(
            "Take these marks",
            () => {
              dialog.close();
              void this.does.send({ do: "take marks", sheet: found.sheet });
            },
            { class: "first", id: "take-marks", disabled: found.lines.length === 0 },
          ),
          button("Leave them", () => dialog.close()),
        ),
      );
      opened(dialog);
    });
    this.coloured.value = "";
  }

  /** Makes the files of the print as it is now. */
  again() {
    return this.#start("build", {});
  }

  /** @param {string} what @param {object} more */
  async #start(what, more) {
    await tried(this.does, async () => {
      await tell(what, more);
      this.build.disabled = this.draw.disabled = true;
      this.stop.hidden = false;
      this.note.textContent = "It begins…";
    });
  }

  /** @param {import("./transport.js").News} news */
  progress(news) {
    if (this.stop.hidden || !news.text) return;
    this.bar.hidden = typeof news.part !== "number"; // a bar that nothing moves tells nothing
    this.bar.value = news.part ?? 0;
    const far = [shareOf(news.part), news.to_go, news.so_far].filter(Boolean).join("; ");
    this.note.textContent = [news.text, far].filter(Boolean).join(": ");
  }

  /** @param {boolean} [unfold] whether to lay them out at once */
  async show(unfold = false) {
    this.bar.hidden = this.stop.hidden = true;
    this.build.disabled = this.draw.disabled = false;
    const [{ list: made, folder, count }, care] = await Promise.all([ask("files"), ask("cautions")]);
    this.look.hidden = made.length === 0;
    if (made.length === 0) return;
    [this.made, this.folder] = [count, folder];
    this.#lie(/** @type {Made[]} */ (made).some((file) => file.safety.some((said) => said.startsWith("older than the print"))));
    this.build.textContent = "Make them again";
    this.build.className = "";
    const papers = /** @type {Made[]} */ (made).filter((file) => file.kind === "print");
    this.papers.replaceChildren(
      ...papers.map((file) =>
        h(
          "li",
          {},
          paperLink(`file/${file.n}`, `Print ${file.noun}${file.block && `, ${file.block} block`}`),
          h("span", { class: "faint" }, `: ${[file.what, ...file.safety].join("; ")}.`),
        ),
      ),
    );
    this.look.onclick = () => this.#unfold(made, care);
    if (unfold) this.#unfold(made, care);
  }

  /** The print has changed since. */
  aged() {
    if (this.made && this.stop.hidden) this.#lie(true);
  }

  /** @param {boolean} old */
  #lie(old) {
    const there = `${this.made} files lie in the folder ${this.folder}`;
    this.note.textContent = old
      ? `${there}, older than what you see: make them again before anything is cut by them.`
      : `${there}.`;
  }

  /** The sheet is drawn. @param {import("./transport.js").News} news */
  drawn(news) {
    const pages = news.pages === 1 ? "one page" : `${news.pages} pages`;
    this.sheet.hidden = false;
    this.sheet.replaceChildren(
      paperLink("sheet", `Print the sheet, ${pages} of ${news.paper}`),
      h("span", { class: "faint" }, " At 100 %, on any printer."),
    );
    this.does.say("The marking sheet is drawn.");
  }

  /** All of them on a table of their own, those for machines behind their cautions. @param {Made[]} made @param {Care} care */
  #unfold(made, care) {
    const hands = care.cautions.filter((caution) => caution.kind === "hand"),
      machines = care.cautions.filter((caution) => caution.kind !== "hand");
    const lines = (/** @type {Care["cautions"]} */ cautions) =>
      cautions.map(({ machine, lines }) => h("section", {}, h("h4", {}, machine), h("ul", {}, ...lines.map((line) => h("li", {}, line)))));
    const asked = () =>
      care.questions.length > 0 &&
      h("section", {}, h("h4", {}, "To be answered first"), h("ul", {}, ...care.questions.map((line) => h("li", {}, line))));
    const list = h("div", {}),
      said = JSON.stringify(care),
      read = button(
        "I have read this",
        () => {
          this.#read = said;
          lay();
        },
        { class: "first", id: "read" },
      );
    const lay = () => {
      read.hidden = this.#read === said;
      const seen = made.filter((file) => this.#read === said || file.kind !== "machine"),
        held = made.length - seen.length;
      const lots = [...new Set(seen.map((file) => file.lot))]; // cautions are laid out, whatever lies there
      if (hands.length > 0 && !lots.includes("carve")) lots.push("carve");
      if (machines.length > 0 && !lots.includes("machine")) lots.push("machine");
      lots.sort((one, other) => Object.keys(LOTS).indexOf(one) - Object.keys(LOTS).indexOf(other));
      list.replaceChildren(
        ...lots.map((lot) =>
          h(
            "section",
            { "data-lot": lot },
            h("h3", {}, LOTS[lot] ?? lot),
            lot === "carve" && hands.length > 0 && careCard("cautions-hand", machines.length === 0 && asked(), ...lines(hands)),
            lot === "machine" && machines.length > 0 && careCard("cautions", asked(), ...lines(machines), read),
            lot === "machine" &&
              held > 0 &&
              h("p", { class: "faint" }, "The files for the machines lie here: first read what is said above."),
            h("ul", { class: "files" }, ...seen.filter((file) => file.lot === lot).map(fileCard)),
          ),
        ),
      );
    };
    const dialog = h(
      "dialog",
      { class: "wide", "aria-labelledby": "files-title" },
      h(
        "div",
        { class: "row ends" },
        h("h2", { id: "files-title" }, "Your files"),
        button("Back to the bench", () => dialog.close()),
      ),
      h("p", { class: "faint" }, `${this.made} files lie in the folder ${this.folder}. Those of one machine are saved here together, as one.`),
      h("p", { class: "faint" }, "Cautions stand with what they are for: the gouge's beside the guide, a machine's before its files."),
      list,
    );
    lay();
    opened(dialog);
  }
}

/** @param {string} href @param {string} words */
const paperLink = (href, words) => h("a", { href, target: "_blank", rel: "noopener" }, words);

/** @typedef {{questions: string[], cautions: {machine: string, kind: string, lines: string[]}[]}} Care */

/** What files are needed for, in the order in which they lie there. */
const LOTS = /** @type {Record<string, string>} */ ({
  look: "The print, to look at first",
  carve: "To carve by",
  machine: "For the machines",
  lay: "Laying blocks and paper",
  more: "Each block, and more to look at",
  report: "For other programs",
});

/** What is to be heeded, in plain sight. @param {string} id @param {...(Node | false)} inside */
const careCard = (id, ...inside) =>
  h("section", { class: "card", id }, h("h4", {}, "Before anything is cut"), h("div", { class: "care" }, ...inside));

/** @param {Made} made */
const fileCard = (made) =>
  h(
    "li",
    { class: "card advice", "data-kind": made.kind },
    made.picture !== null && h("img", { src: `file/${made.picture}`, alt: "", loading: "lazy" }),
    made.block && h("p", { class: "faint" }, `The ${made.block} block`),
    h(
      "p",
      {},
      h(
        "a",
        { href: `file/${made.n}`, target: "_blank", rel: "noopener" },
        `${made.kind === "machine" ? "Save" : made.kind === "print" ? "Print" : "Open"} ${made.noun}`,
      ),
    ),
    h("p", {}, made.what.charAt(0).toUpperCase() + made.what.slice(1), "."),
    h("p", { class: "faint file-name" }, made.name),
    ...made.safety.map((line) => h("p", { class: "faint" }, line)),
  );

// ── the keyboard, the ruler ──────────────────────────────────────────────────────────────────────────────────────

export function keysSlip() {
  const { body } = slip("keys", "By keyboard, pen and touch");
  const lines = [
    ["Tab", "from tray to bench to the notes beside it; in the tray, arrows choose the tool"],
    ["Arrows", "on the bench: move the crosshair 1 mm; with Shift 5 mm, with Alt 0.1 mm"],
    [
      "Enter",
      "press the pencil on the paper, and lift it; with fingers: pick up what lies under the crosshair, and put it down",
    ],
    ["Esc", "take back what the hand is doing; let go"],
    ["T Shift+T", "turn what is in your fingers"],
    ["L S", "make it larger, smaller"],
    ["Delete", "take it away"],
    ["+ − 0", "larger, smaller, whole print"],
    ["Ctrl+Z Ctrl+Y", "take back, do again, from everywhere"],
    ["Space", "hold it and drag: move the print about"],
    ["Pen", "a heavier hand marks more of more and less"],
    [
      "Touch",
      "one finger does what the tool does, two move the print and change its size; once a pen has touched, fingers only move the print, and a palm does nothing",
    ],
  ];
  body.append(
    h(
      "dl",
      {},
      ...lines.flatMap(([keys, does]) => [
        h("dt", {}, ...keys.split(" ").flatMap((key) => [h("kbd", {}, key), " "])),
        h("dd", {}, does),
      ]),
    ),
  );
}

/** Asks for a ruler to be held to the screen once. @param {import("./view.js").View} view @param {() => void} done */
export function rulerDialog(view, done) {
  const bar = h("div", { class: "ruler", role: "img", "aria-label": "A bar that is to be 100 mm long" }),
    size = h("input", {
      type: "range",
      id: "ruler-px",
      min: "200",
      max: "900",
      step: "1",
      value: String(Math.round(100 * view.true_)),
    });
  const lay = () => bar.style.setProperty("--px", size.value);
  size.addEventListener("input", lay);
  const dialog = h(
    "dialog",
    { "aria-labelledby": "ruler-title" },
    h("h2", { id: "ruler-title" }, "Hold a ruler to the screen"),
    h(
      "div",
      { class: "body" },
      h(
        "p",
        {},
        "Pull the slider until the bar is exactly 100 mm long beside your ruler. From then on, True size is true on this screen.",
      ),
      bar,
      h("label", { for: "ruler-px" }, "Length of the bar"),
      size,
      h(
        "div",
        { class: "row" },
        button(
          "It is 100 mm",
          () => {
            view.measure(Number(size.value));
            dialog.close();
            done();
          },
          { class: "first" },
        ),
        button("Leave it", () => dialog.close()),
      ),
    ),
  );
  opened(dialog);
  lay();
}

/** @param {HTMLDialogElement} dialog */
export function opened(dialog) {
  dialog.addEventListener("close", () => dialog.remove());
  document.body.append(dialog);
  dialog.showModal();
}
