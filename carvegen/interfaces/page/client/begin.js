// How a print is begun – with the sample, a print that lies there, a drawing or a photograph – and what a photograph shows after
// cutting. A photograph's corners are laid on the block's by hand.

import { cuttingParts } from "./cutting.js";
import { trace, unpack } from "./packed.js";
import { button, byId, h, opened, slip, tried } from "./slips.js";
import { ask, tell, tellPacked, upload } from "./transport.js";

/** @typedef {import("./slips.js").Does} Does */
/** @typedef {import("./cutting.js").Shelf & {samples: {key: string, about: string}[], folder: string, prints: {file: string, about: string}[], motifs: {key: string, words: string, presets: string[]}[]}} Offers */
/** @typedef {{name: string, role: string, ink: string, layers: string[]}} BlockGuess */
/** @typedef {{material: string, cutter: string, for: string[], blocks: BlockGuess[], motifs: {motif: string, preset: string, on?: string[], settings?: Record<string, number>, far_behind?: string[], middle_behind?: string[]}[], why: string[]}} Usual */
/** @typedef {{size: number[], true_size: boolean, lines: string[], layers: {name: string, shapes: number, area_mm2: number}[], usual: Usual, unsure: {places: number, area_mm2: number, lines: string[], picture: string} | null}} Understood */

/** What a photograph may show, and the side it is seen from. */
const SHOWS = /** @type {Record<string, {words: string, view: string}>} */ ({
  block: { words: "my block, as it lies", view: "block" },
  print: { words: "a print or proof", view: "print" },
  drawing: { words: "a drawing on paper", view: "print" },
});
const INKS = ["#a9bfcb", "#6a8799", "#1f2b3d", "#b5714a", "#d9b26a"];
const FILLS =
  "Then this ink fills every place that no other ink prints, bare paper as well: clouds, lamp glass. For its own shapes alone choose flat colour.";
const ROLES = /** @type {Record<string, string>} */ ({
  background: "all the face but what the others print",
  ground: "all the face, under all others",
  tone: "flat colour",
  key: "lines and darks",
});


/** Asks how a print is to be begun. @param {Does} does @param {boolean} may whether there is a print to go back to */
export async function beginDialog(does, may) {
  /** @type {Offers} */
  const offers = await ask("begin");
  const body = h("div", { class: "body" }),
    said = h("p", { role: "status", class: "refused" });
  const dialog = h(
    "dialog",
    { "aria-labelledby": "begin-title" },
    h("h2", { id: "begin-title" }, "Begin a print"),
    body,
    said,
    may &&
      h(
        "div",
        { class: "row" },
        button("Back to the bench", () => dialog.close()),
      ),
  );
  if (!may) dialog.addEventListener("cancel", (event) => event.preventDefault());
  const told = {
    ...does,
    say: (/** @type {string} */ words) => {
      said.textContent = words;
    },
  };
  /** @param {object} wish */
  const go = (wish) =>
    tried(told, async () => {
      told.say("The print is being laid on the bench…");
      await tell("begin", wish);
      location.reload();
    });
  /** @param {string} kinds @param {"drawing" | "scan"} with_ */
  const pickFile = (kinds, with_) => {
    const input = h("input", {
      type: "file",
      accept: kinds,
      onchange: () =>
        void tried(told, async () => {
          const file = input.files?.[0];
          if (!file) return;
          told.say("");
          if (with_ === "scan") return photograph(file);
          const given = await upload(file);
          describe(file, { with: with_, upload: given.upload }, await readings({ upload: given.upload }));
        }),
    });
    input.hidden = true;
    body.append(input);
    input.click();
  };
  /** @param {File} file @returns {Promise<void>} */
  const photograph = async (file) => {
    told.say("The corners are being looked for…");
    const given = await upload(file),
      found = /** @type {Looked} */ (await tell("corners", { upload: given.upload }));
    told.say("");
    dialog.classList.add("wide");
    photographed(
      body,
      told,
      file,
      given.upload,
      found,
      (more, reading) => describe(file, { with: "scan", upload: given.upload, ...more }, reading),
      async () => photograph(await turned(file)),
    );
  };
  /** @param {File} file @param {Record<string, unknown>} wish @param {Reading} reading */
  const describe = (file, wish, reading) => {
    const before = [...body.children],
      cut = wish.cut === true;
    const again = () => {
      dialog.classList.add("wide");
      body.replaceChildren(...before);
    };
    dialog.classList.remove("wide");
    body.replaceChildren(
      described(offers, file, reading, cut, (more) => void go({ ...wish, ...more }), choose, wish.with === "scan" && again),
    );
    dialog.scrollTop = 0;
  };
  const choose = () =>
    body.replaceChildren(
      h(
        "div",
        { class: "options" },
        large("With the sample", offers.samples[0]?.about ?? "", () => void go({ with: "sample" })),
        large("With your drawing", "An SVG or a DXF.", () => pickFile(".svg,.dxf", "drawing")),
        large("With a photograph", "Or a scan, of your block or of a proof.", () =>
          pickFile("image/png,image/jpeg,image/tiff,image/webp", "scan"),
        ),
        ...offers.prints
          .slice(0, 12)
          .map(({ file, about }) => large(file, about, () => void go({ with: "print", print: file }))),
      ),
      goesInto(offers),
    );
  choose();
  opened(dialog);
}

/** @typedef {{told: Understood, picture: HTMLCanvasElement}} Reading */
/** Of a photograph: where its block's corners seem to lie, as parts of its width and height; how large it says it is, mm. */
/** And what may be the colours of its inks. */
/** @typedef {{corners: number[][] | null, size: number[] | null, colours: string[]}} Looked */

/** What the program understands of what was handed in, drawn. @param {object} wish @returns {Promise<Reading>} */
async function readings(wish) {
  const packed = await tellPacked("understood", wish),
    size = sizeIn(packed),
    { told, shapes } = unpack(packed, size.size[1], stepOf(size.size));
  const across = 640,
    scale = across / size.size[0],
    picture = h("canvas", { width: across, height: Math.round(size.size[1] * scale), role: "img" });
  picture.setAttribute("aria-label", `Understood: ${size.layers.map((layer) => layer.name).join(", ") || "nothing"}`);
  const pen = picture.getContext("2d");
  pen?.setTransform(scale, 0, 0, scale, 0, 0);
  /** @param {string} layer */
  const inkOf = (layer) => size.usual.blocks.findLast((block) => block.layers.includes(layer))?.ink ?? "#fbfaf6";
  if (pen) pen.fillStyle = inkOf("*");
  pen?.fillRect(0, 0, size.size[0], size.size[1]);
  for (const shape of shapes) {
    const path = new Path2D();
    trace(path, shape);
    if (pen) pen.fillStyle = inkOf(shape.name);
    pen?.fill(path, "evenodd");
  }
  return { told: { ...size, .../** @type {object} */ (told) }, picture };
}

/** The unit of packed places, as fine as 16 bits allow, mm. @param {number[]} size */
const stepOf = (size) => Math.max(0.01, Math.ceil((100 * Math.max(...size)) / 65535) / 100);

/** @param {ArrayBuffer} packed @returns {Understood} */
const sizeIn = (packed) =>
  JSON.parse(new TextDecoder().decode(new Uint8Array(packed, 4, new Uint32Array(packed, 0, 1)[0])));

/**
 * A photograph: its corners are laid on the block's, its size is typed, and what is understood is shown.
 * @param {HTMLElement} body @param {Does} does @param {File} file @param {number} number
 * @param {Looked} found what is suggested
 * @param {(more: Record<string, unknown>, reading: Reading) => void} done @param {() => Promise<void>} turn
 */
function photographed(body, does, file, number, found, done, turn) {
  const corners = cornered(file, found.corners),
    width = numbered("Width, mm", 200),
    height = numbered("Height, mm", 150),
    inks = numbered("Inks on it", 1, 1, 6),
    picked = pickedInks(inks.input, found.colours);
  const view = h(
    "select",
    {
      required: true,
      onchange: () => {
        if (view.value === "print" && inks.input.value === "1") inks.input.value = ""; // of a print she counts them
      },
    },
    h("option", { value: "" }, "block, print or drawing?"),
    ...Object.entries(SHOWS).map(([key, { words }]) => h("option", { value: key }, words)),
  );
  const cut = h(
    "select",
    { "data-is": "cut", required: true },
    h("option", { value: "" }, "cut already, or not?"),
    h("option", { value: "cut" }, "are cut already"),
    h("option", { value: "open" }, "are not cut yet"),
  );
  body.replaceChildren(
    h(
      "form",
      {
        class: "photographed",
        onsubmit: (/** @type {Event} */ event) => {
          event.preventDefault();
          void tried(does, async () => {
            does.say("It is being read…");
            const more = {
              corners: corners.read(),
              size: [Number(width.input.value), Number(height.input.value)],
              view: SHOWS[view.value].view,
              inks: inks.input.value,
              picked: picked.read(),
              cut: cut.value === "cut",
            };
            const reading = await readings({ upload: number, ...more });
            does.say("");
            done(more, reading);
          });
        },
      },
      corners.laid,
      h(
        "div",
        { class: "body" },
        h(
          "p",
          {},
          found.corners
            ? "Do the four rings lie on the corners of the block or of the picture? Drag those that do not; with arrow keys too."
            : "Its corners were not found. Drag the four rings onto the corners of the block or of the picture; with arrow keys too.",
        ),
        h("label", { class: "field" }, "It shows", view),
        h(
          "label",
          { class: "field" },
          "The blocks it shows",
          cut,
          h("span", { class: "faint" }, "Of a block that is cut only the snow is still cut away."),
        ),
        h("div", { class: "pair" }, width.label, height.label),
        inks.label,
        picked.set,
        h(
          "div",
          { class: "row" },
          h("button", { type: "submit", class: "first" }, "Read it"),
          button("Turn it", () => void tried(does, turn)),
          button("The whole picture", () => {
            corners.whole();
            if (found.size) [width.input.value, height.input.value] = found.size.map(String);
          }),
        ),
      ),
    ),
  );
}

/** Colours of inks picked by hand, one for each ink of several. @param {HTMLInputElement} count @param {string[]} seen in the photograph */
function pickedInks(count, seen) {
  const box = h("input", { type: "checkbox", "data-is": "pick", onchange: () => lay() }),
    colours = h("div", { class: "row" });
  const set = h(
    "div",
    { hidden: true },
    h("label", { class: "choice" }, box, "I pick the inks' colours"),
    h("p", { class: "faint" }, "As each prints alone on paper, in the order in which they print."),
    colours,
  );
  const lay = () => {
    const several = Number(count.value) > 1,
      wanted = several && box.checked ? Math.min(6, Math.round(Number(count.value))) : 0;
    set.hidden = !several;
    while (colours.children.length > wanted) colours.lastElementChild?.remove();
    const offered = seen.slice(0, wanted).sort((one, other) => light(other) - light(one)); // pale inks print first
    for (let k = colours.children.length; k < wanted; k++)
      colours.append(h("input", { type: "color", value: offered[k] ?? INKS[k % INKS.length], "aria-label": `Ink ${k + 1}` }));
  };
  count.addEventListener("input", lay);
  const read = () => [...colours.children].map((colour) => /** @type {HTMLInputElement} */ (colour).value);
  return { set, read };
}

/** How light a colour is, about. @param {string} colour */
const light = (colour) => [1, 3, 5].reduce((sum, at, k) => sum + [3, 6, 1][k] * parseInt(colour.slice(at, at + 2), 16), 0);

/** What of a photograph is not sure, seen and said. @param {Understood["unsure"]} unsure */
const unsureSeen = (unsure) =>
  unsure && [
    h("h3", {}, "Not sure"),
    h("img", { class: "whole", "data-is": "unsure", src: unsure.picture, alt: "Your photograph; what is not sure is hatched and ringed" }),
    h("ul", { class: "told" }, ...unsure.lines.map((line) => h("li", {}, line))),
  ];

/**
 * What was understood over what was given, and what is still to be chosen.
 * @param {Offers} offers @param {File} file @param {Reading} reading @param {boolean} cut whether the blocks it shows are cut already
 * @param {(more: object) => void} go @param {() => void} back @param {false | (() => void)} again to the photograph
 */
function described(offers, file, reading, cut, go, back, again) {
  const { told, picture } = reading,
    { usual } = told,
    names = told.layers.map((layer) => layer.name),
    under = file.type === "image/svg+xml" ? h("img", { src: URL.createObjectURL(file), alt: "Your drawing" }) : null;
  const name = h("input", { type: "text", required: true, maxLength: 60, value: file.name.replace(/\.[^.]*$/, "") }),
    width = numbered("Width, mm", told.size[0]),
    height = numbered("Height, mm", told.size[1]);
  const cutting = cuttingParts(offers, usual);
  const blocks = h(
    "ol",
    { class: "cards" },
    ...usual.blocks.map((block) => blockRow(block, names, cut && !block.layers.includes("*"))),
  );
  void named(blocks);
  const weathers = usual.motifs.map((motif) => ({ ...motif, select: weather(offers, motif.motif, motif.preset) }));
  return h(
    "form",
    {
      onsubmit: (/** @type {Event} */ event) => {
        event.preventDefault();
        const how = cutting.read();
        go({
          name: name.value,
          size: [Number(width.input.value), Number(height.input.value)],
          blocks: [...blocks.children].map((row) => ({ ...readRow(row), ...how })),
          motifs: weathers.map(({ select, ...motif }) =>
            select.value ? { ...motif, preset: select.value } : { ...motif, grows: false }, // none now: its weather stays on offer
          ),
        });
      },
    },
    h("div", { class: "laid" }, under, picture),
    ...(unsureSeen(told.unsure) ?? []),
    again && h("div", { class: "row" }, button("Change corners, size or inks", again)),
    h("h3", {}, "Understood"),
    h("ul", { class: "told faint" }, ...told.lines.map((line) => h("li", {}, line))),
    h(
      "div",
      { class: "options" },
      h("label", { class: "field" }, "Name of the print", name),
      width.label,
      height.label,
    ),
    ...cutting.parts,
    h("h3", {}, "Blocks, in the order in which they print"),
    blocks,
    h(
      "div",
      { class: "row" },
      button("One more block", () => {
        blocks.append(
          blockRow(
            {
              name: `tone-${blocks.children.length}`,
              role: "tone",
              ink: INKS[blocks.children.length % INKS.length],
              layers: [],
            },
            names,
            false,
          ),
        );
        void named(blocks);
      }),
    ),
    h(
      "div",
      { class: "options" },
      ...weathers.map((weather) => h("label", { class: "field" }, lain(weather), weather.select)),
    ),
    h(
      "div",
      { class: "row" },
      h("button", { type: "submit", class: "first" }, "Lay it on the bench"),
      button("Something else", back),
    ),
    goesInto(offers),
  );
}

/** Where what is begun is written. @param {Offers} offers */
const goesInto = ({ folder }) =>
  h("p", { class: "faint file-name", "data-is": "folder" }, `A new print is written into a folder of its own, which is made in ${folder}.`);

/** @param {string} title @param {string} words @param {() => void} act */
const large = (title, words, act) =>
  h("button", { type: "button", onclick: act }, h("strong", {}, title), h("span", { class: "faint" }, words));

/** @param {string} label @param {number} value @param {number} [least] @param {number} [most] */
function numbered(label, value, least = 5, most = 3000) {
  const input = h("input", { type: "number", min: least, max: most, step: "any", required: true });
  input.value = String(Math.round(100 * value) / 100);
  return { input, label: h("label", { class: "field" }, label, input) };
}

/** A motif, and the layers that it lies on. @param {{motif: string, on?: string[]}} guess */
const lain = ({ motif, on = [] }) => [SNOW[motif] ?? motif, ...(on.length > 0 ? [`on ${on.join(", ")}`] : [])].join(" ");
const SNOW = /** @type {Record<string, string>} */ ({ snowload: "Snow that lies", snowfall: "Snow that falls" });

/** @param {Offers} offers @param {string} motif @param {string} preset */
function weather(offers, motif, preset) {
  const presets = offers.motifs.find((offer) => offer.key === motif)?.presets ?? [],
    select = h(
      "select",
      {},
      h("option", { value: "" }, "none"),
      ...presets.map((preset) => h("option", { value: preset }, preset)),
    );
  select.value = preset;
  return select;
}

/** @param {BlockGuess} guess @param {string[]} names of all layers @param {boolean} cut whether it is cut already */
function blockRow({ name, role, ink, layers }, names, cut) {
  const roles = h(
    "select",
    { "data-is": "role" },
    ...Object.entries(ROLES).map(([key, words]) => h("option", { value: key }, words)),
  );
  roles.value = role;
  const called = h("input", { type: "text", value: name, required: true, maxLength: 60, "data-is": "name" }),
    key = h("span", { class: "faint", role: "status" }),
    fills = h("p", { class: "refused", role: "status" });
  called.addEventListener("input", () => void named(row.parentElement));
  const row = h(
    "li",
    {
      class: "card advice block",
      onchange: () => {
        const own = [...row.querySelectorAll("[data-layer]:checked")].some(
          (box) => /** @type {HTMLInputElement} */ (box).value !== "*",
        );
        fills.textContent = own && ["background", "ground"].includes(roles.value) ? FILLS : "";
      },
    },
    h(
      "div",
      { class: "options" },
      h(
        "label",
        { class: "field" },
        "What you call this ink",
        called,
        key,
      ),
      h("label", { class: "field" }, "It prints", roles),
      h("label", { class: "field" }, "Ink", h("input", { type: "color", value: ink, "data-is": "ink" })),
    ),
    fills,
    h(
      "fieldset",
      { class: "row" },
      h("legend", {}, "What prints on it"),
      ...["*", ...names].map((name) =>
        h(
          "label",
          { class: "choice" },
          h("input", { type: "checkbox", value: name, checked: layers.includes(name), "data-layer": "" }),
          name === "*" ? "all of the face" : name,
        ),
      ),
    ),
    h(
      "div",
      { class: "row ends" },
      h("label", { class: "choice" }, h("input", { type: "checkbox", checked: cut, "data-is": "cut" }), "it is cut already"),
      button("Without this block", () => {
        const blocks = row.parentElement;
        row.remove();
        void named(blocks);
      }),
    ),
  );
  return row;
}

/** Says at each block's name what it is in the files, or why it can't be. @param {Element | null} blocks */
async function named(blocks) {
  const fields = /** @type {HTMLInputElement[]} */ ([...(blocks?.querySelectorAll("[data-is=name]") ?? [])]),
    names = fields.map((field) => field.value);
  const told = /** @type {{plain: string, fault: string}[]} */ (await tell("names", { names }));
  fields.forEach((field, k) => {
    if (field.value !== names[k]) return; // typed on meanwhile: the next answer tells
    const { plain, fault } = told[k],
      said = field.nextElementSibling;
    field.setCustomValidity(fault);
    if (said) said.textContent = fault || (plain === names[k].trim().toLowerCase() ? "" : `In the files: ${plain}`);
  });
}

/** @param {Element} row */
function readRow(row) {
  const value = (/** @type {string} */ is) =>
    /** @type {HTMLInputElement} */ (row.querySelector(`[data-is=${is}]`)).value;
  const layers = [...row.querySelectorAll("[data-layer]:checked")].map(
    (box) => /** @type {HTMLInputElement} */ (box).value,
  );
  return {
    name: value("name"),
    role: value("role"),
    ink: value("ink"),
    layers: layers.includes("*") ? ["*"] : layers,
    cut: /** @type {HTMLInputElement} */ (row.querySelector("[data-is=cut]")).checked,
  };
}

const WHOLE = [
  [0, 0],
  [1, 0],
  [1, 1],
  [0, 1],
];

/** A picture with four corners to be laid on the block's: by hand or by the arrow keys. @param {File} file @param {number[][] | null} [found] where they lie as it seems */
function cornered(file, found) {
  const image = h("img", { src: URL.createObjectURL(file), alt: "Your photograph" }),
    names = ["Upper left", "Upper right", "Lower right", "Lower left"];
  const places = found ?? WHOLE.map((corner) => corner.map((part) => 0.04 + 0.92 * part));
  /** @type {((x: number, y: number) => void)[]} */
  const puts = [];
  const line = h("canvas", { class: "across", "aria-hidden": "true", width: 1000, height: 1000 }),
    pen = line.getContext("2d");
  const outline = () => {
    if (!pen) return;
    pen.clearRect(0, 0, 1000, 1000);
    pen.beginPath();
    for (const [x, y] of places) pen.lineTo(1000 * x, 1000 * y);
    pen.closePath();
    for (const [colour, width] of /** @type {[string, number][]} */ ([
      ["#fffdf6", 8],
      ["#2a6482", 4],
    ])) {
      pen.strokeStyle = colour;
      pen.lineWidth = width;
      pen.stroke();
    }
  };
  const laid = h(
    "div",
    { class: "laid fits" },
    image,
    line,
    ...names.map((name, k) => {
      const knob = h("button", { type: "button", class: "corner", "aria-label": `${name} corner; arrow keys move it` });
      const put = (/** @type {number} */ x, /** @type {number} */ y) => {
        places[k] = [Math.min(1, Math.max(0, x)), Math.min(1, Math.max(0, y))];
        [knob.style.left, knob.style.top] = places[k].map((part) => `${100 * part}%`);
        outline();
      };
      knob.addEventListener("pointerdown", (event) => knob.setPointerCapture(event.pointerId));
      const follow = (/** @type {PointerEvent} */ event) => {
        const box = image.getBoundingClientRect();
        if (knob.hasPointerCapture(event.pointerId))
          put((event.clientX - box.x) / box.width, (event.clientY - box.y) / box.height);
      };
      knob.addEventListener("pointermove", follow);
      knob.addEventListener("pointerup", follow);  // it may lie farther than the last move
      knob.addEventListener("keydown", (event) => {
        const step = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key],
          far = event.shiftKey ? 0.02 : 0.002;
        if (!step) return;
        event.preventDefault();
        put(places[k][0] + step[0] * far, places[k][1] + step[1] * far);
      });
      put(places[k][0], places[k][1]);
      puts.push(put);
      return knob;
    }),
  );
  const whole = () => WHOLE.forEach(([x, y], k) => puts[k](x, y));
  /** The corners in pixels of the photograph. */
  const read = () => places.flatMap(([x, y]) => [x * image.naturalWidth, y * image.naturalHeight]);
  return { laid, read, whole };
}

/** The photograph, a quarter turned clockwise. @param {File} file @returns {Promise<File>} */
async function turned(file) {
  const picture = await createImageBitmap(file),
    canvas = new OffscreenCanvas(picture.height, picture.width),
    pen = canvas.getContext("2d");
  pen?.setTransform(0, 1, -1, 0, picture.height, 0);
  pen?.drawImage(picture, 0, 0);
  return new File([await canvas.convertToBlob({ type: "image/png" })], file.name.replace(/\.[^.]*$/, ".png"), {
    type: "image/png",
  });
}

/** @param {Does} does */
export function beginButton(does) {
  const another = byId("another");
  another.hidden = false;
  another.addEventListener("click", () => void tried(does, () => beginDialog(does, true)));
}

// ── after cutting ────────────────────────────────────────────────────────────────────────────────────────────────

/** @typedef {{fault: string, lines?: string[], sheets: {block: string, file: string}[], picture?: string, legend?: {colour: string, words: string}[], follow?: string}} Proof */

/** @param {import("./transport.js").Print} print @param {Does} does */
export function afterSlip(print, does) {
  const { body } = slip("after", "After cutting"),
    inked = print.blocks.filter((block) => block.prints && block.ink),
    block = h(
      "select",
      { id: "cut-block" },
      ...print.blocks.map((block) => h("option", { value: block.name }, `the ${block.name} block, or a proof of it`)),
      inked.length > 1 && h("option", { value: "" }, "a print of all blocks"),
    );
  const again = button("", () => undefined, { id: "proof-again", hidden: true });
  /** @param {string} title @param {Proof} proof */
  const kept = (title, proof) => {
    again.hidden = false;
    again.textContent = `Look at the last one again: ${title.charAt(0).toLowerCase()}${title.slice(1)}`;
    again.onclick = () => proofDialog(title, does).show(proof);
  };
  const input = h("input", {
    type: "file",
    id: "cut-photograph",
    accept: "image/png,image/jpeg,image/tiff,image/webp",
    onchange: () => {
      const file = input.files?.[0];
      if (file) void tried(does, async () => proved(file, (await upload(file)).upload, block.value, does, kept));
      input.value = ""; // the same file may be chosen again
    },
  });
  body.append(
    h(
      "p",
      { class: "faint" },
      "Photograph the block or a print of it, all of it, from above: the drawing itself tells how it lies on the plan. The files must have been made before.",
    ),
    h("div", { class: "field" }, h("label", { for: "cut-block" }, "It shows"), block),
    h("div", { class: "field" }, h("label", { for: "cut-photograph" }, "Photograph"), input),
    again,
  );
}

/** A view that fills the window, for a photograph on the plan. @param {string} title @param {Does} does */
function proofDialog(title, does) {
  const said = h("p", { class: "refused", role: "status" }),
    body = h("div", { class: "body" });
  const dialog = h(
    "dialog",
    { class: "fills", "aria-labelledby": "proof-title" },
    h("div", { class: "row ends" }, h("h2", { id: "proof-title" }, title), button("Back to the bench", () => dialog.close())),
    said,
    body,
  );
  opened(dialog);
  return {
    body,
    say: (/** @type {string} */ words) => {
      said.textContent = words;
    },
    show: (/** @type {Proof} */ proof) => {
      body.className = "compared";
      body.replaceChildren(...compared(proof, dialog, does));
    },
  };
}

/** Lays a photograph on the plan; where the drawing does not tell its place, by corners laid by hand. @param {File} file @param {number} number @param {string} block @param {Does} does @param {(title: string, proof: Proof) => void} kept */
function proved(file, number, block, does, kept) {
  const title = block ? `The ${block} block after cutting` : "The print after cutting",
    view = proofDialog(title, does),
    told = { say: view.say, send: async () => undefined };
  /** @param {object} more */
  const lay = (more) =>
    tried(told, async () => {
      told.say("It is being laid on the plan…");
      /** @type {Proof} */
      const proof = await tell("proof", { upload: number, block, ...more });
      told.say(proof.fault);
      if (proof.fault) return view.body.replaceChildren(byCorners(file, (corners) => void lay(corners)));
      view.show(proof);
      kept(title, proof);
    });
  void lay({});
}

/** @param {File} file @param {(said: object) => void} lay */
function byCorners(file, lay) {
  const corners = cornered(file),
    view = h(
      "select",
      {},
      h("option", { value: "print" }, "a proof, as printed"),
      h("option", { value: "block" }, "the block, as it lies"),
    );
  return h(
    "form",
    {
      onsubmit: (/** @type {Event} */ event) => {
        event.preventDefault();
        lay({ corners: corners.read(), view: view.value });
      },
    },
    h("p", {}, "Drag the four corners onto the corners of the block's face; or take another photograph: all of it, sharp, from above."),
    corners.laid,
    h("label", { class: "field" }, "It shows", view),
    h("div", { class: "row" }, h("button", { type: "submit", class: "first" }, "Lay it on the plan")),
  );
}

/** What was cut beside what was planned: her own photograph with rings, and what is said of them. @param {Proof} proof @param {HTMLDialogElement} dialog @param {Does} does @returns {HTMLElement[]} */
function compared(proof, dialog, does) {
  const picture = h("img", {
      src: `proof/${proof.picture}?${performance.now()}`,
      alt: "Your photograph on the plan; what differs is coloured and ringed",
    }),
    large = h("input", { type: "range", id: "proof-large", min: "1", max: "6", step: "0.25", value: "1" });
  large.addEventListener("input", () => picture.style.setProperty("--large", large.value));
  const follow = button(
    "Let the plan follow what is gone",
    () => {
      dialog.close();
      void does.send({ do: "take marks", sheet: proof.follow });
    },
    { id: "follow" },
  );
  const words = [
    h("ul", { class: "told" }, ...(proof.lines ?? []).map((line) => h("li", {}, line))),
    proof.sheets.length > 0 &&
      h(
        "p",
        { class: "row" },
        ...proof.sheets.map((sheet) =>
          h(
            "a",
            { href: `proof/${encodeURIComponent(sheet.file)}`, target: "_blank", rel: "noopener" },
            `Print what is still to cut on the ${sheet.block} block, true to size`,
          ),
        ),
      ),
    proof.follow && h("p", {}, follow, h("span", { class: "faint" }, " It is marked comes out there, on that block alone.")),
    h("ul", { class: "told legend" }, ...(proof.legend ?? []).map(({ colour, words }) => legendLine(colour, words))),
    h("label", { for: "proof-large" }, "Enlarge"),
    large,
  ];
  return [
    h(
      "div",
      { class: "proof", tabIndex: 0, role: "region", "aria-label": "The comparison; it scrolls when enlarged" },
      picture,
    ),
    h("div", { class: "words" }, ...words.filter((part) => part instanceof HTMLElement)),
  ];
}

/** @param {string} colour @param {string} words */
function legendLine(colour, words) {
  const swatch = h("span", { class: "ink" });
  swatch.style.backgroundColor = colour;
  return h("li", { class: "row" }, swatch, words);
}
