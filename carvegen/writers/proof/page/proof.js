"use strict";
const byId = (name) => document.getElementById(name);
const facts = JSON.parse(byId("facts").textContent);
const table = byId("table"), sheet = byId("sheet"), canvas = byId("print");
const boxes = [...document.querySelectorAll("#layers input")];
const PX_PER_MM = 96 / 25.4;
let scale = 1, plates = null;

// Each pixel of `plates` holds which blocks print there, one bit a block, the first eight in its red and the others in
// its green; `facts.colours` how that looks; `facts.bits` which bits go with which box: what is pale has one of its own.
function readPlates() {
  const image = byId("plates"), size = [image.naturalWidth, image.naturalHeight];
  const work = new OffscreenCanvas(...size).getContext("2d", { willReadFrequently: true });
  work.drawImage(image, 0, 0);
  plates = new Uint32Array(work.getImageData(0, 0, ...size).data.buffer);
}

function paint() {
  const shown = boxes.reduce((bits, box, k) => bits | (box.checked ? facts.bits[k] : 0), 0);
  const colour = Uint32Array.from(facts.colours, (hex) => {
    const n = parseInt(hex, 16);
    return 0xff000000 | ((n & 255) << 16) | (n & 0xff00) | (n >> 16);
  });
  const pen = canvas.getContext("2d"), picture = pen.createImageData(canvas.width, canvas.height);
  const out = new Uint32Array(picture.data.buffer);
  for (let k = 0; k < out.length; k++) out[k] = colour[plates[k] & shown];
  pen.putImageData(picture, 0, 0);
}

function fitting() {
  const room = [table.clientWidth - 26, table.clientHeight - 26];
  return Math.min(room[0] / (facts.width * PX_PER_MM), room[1] / (facts.height * PX_PER_MM));
}

// Change the size and keep the place (x, y) of the print, in mm from its upper left corner, in the middle.
function resize(wanted, x, y) {
  scale = Math.min(Math.max(wanted, 0.05), 40);
  const spare = scale > fitting() * 1.01 ? 0.45 : 0;  // room round it, so that its edges too can come to the middle
  table.style.padding = `${Math.max(12, spare * table.offsetHeight)}px ${Math.max(12, spare * table.offsetWidth)}px`;
  sheet.style.setProperty("--scale", scale);
  sheet.classList.toggle("close", scale * PX_PER_MM > facts.px * 1.5);
  byId("scale").textContent = `${Math.round(scale * 100)} % of true size`;
  const mm = PX_PER_MM * scale;
  table.scrollTo(sheet.offsetLeft - table.offsetLeft + x * mm - table.clientWidth / 2,
    sheet.offsetTop - table.offsetTop + y * mm - table.clientHeight / 2);
}

function middle() {
  const mm = PX_PER_MM * scale;
  return [(table.scrollLeft + table.clientWidth / 2 - sheet.offsetLeft + table.offsetLeft) / mm,
    (table.scrollTop + table.clientHeight / 2 - sheet.offsetTop + table.offsetTop) / mm];
}

const by = (factor) => resize(scale * factor, ...middle());
const whole = () => resize(fitting(), facts.width / 2, facts.height / 2);
const trueSize = () => resize(1, ...middle());

// Rings are made when they are first shown: a page with thousands of places opens as fast as one with none.
const rings = new Map(facts.rings.map(([number, ...ring]) => [number, ring]));
const places = [...document.querySelectorAll("[data-place]")];

function drawn(number) {
  const old = byId(`ring-${number}`);
  if (old || !rings.has(number)) return old;
  const [x, y, r, kind] = rings.get(number), group = document.createElementNS("http://www.w3.org/2000/svg", "g");
  group.id = `ring-${number}`;
  const circle = `cx="${x}" cy="${y}" r="${r}"`;
  group.innerHTML = `<circle class="ring-ground" ${circle}/><circle class="ring ${kind}" ${circle}/>` +
    `<text class="ring-number" x="${x + r * 0.75 + 0.3}" y="${y - r * 0.75 - 0.3}">${number}</text>`;
  return byId("rings").appendChild(group);
}

function goTo(button) {
  document.querySelectorAll("[aria-current]").forEach((other) => other.removeAttribute("aria-current"));
  document.querySelectorAll(".chosen").forEach((ring) => ring.classList.remove("chosen"));
  button.setAttribute("aria-current", "true");
  const number = Number(button.dataset.place), ring = drawn(number);
  for (let fold = button.closest("details"); fold; fold = fold.parentElement.closest("details")) fold.open = true;
  byId("said").textContent = `${button.getAttribute("aria-label") || button.textContent}; ` +
    button.closest(".card").querySelector("h3").textContent;
  document.querySelector("main").scrollIntoView({ block: "nearest" });
  if (!ring) return whole();
  ring.classList.add("chosen");
  const [x, y, r] = rings.get(number);
  resize(Math.min(table.clientWidth, table.clientHeight) / (Math.max(30, 8 * r) * PX_PER_MM), x, y);
}

// The place so many steps after the one that is shown, round and round.
function walk(step) {
  const now = places.findIndex((button) => button.hasAttribute("aria-current"));
  const next = places[(now < 0 ? (step > 0 ? 0 : places.length - 1) : now + step + places.length) % places.length];
  goTo(next);
  next.scrollIntoView({ block: "nearest" });
  document.querySelector("main").scrollIntoView({ block: "nearest" });
}

function over(box) {
  if (box.checked && box.dataset.shows === "rings") rings.forEach((_, number) => drawn(number));
  byId(box.dataset.shows).style.visibility = box.checked ? "visible" : "hidden";
}

byId("larger").onclick = () => by(1.5);
byId("smaller").onclick = () => by(1 / 1.5);
byId("whole").onclick = whole;
byId("true-size").onclick = trueSize;
boxes.forEach((box) => { box.onchange = paint; });
document.querySelectorAll("[data-shows]").forEach((box) => { box.onchange = () => over(box); over(box); });
places.forEach((button) => { button.onclick = () => goTo(button); });
if (byId("next")) {
  byId("next").onclick = () => walk(1);
  byId("before").onclick = () => walk(-1);
}
addEventListener("beforeprint", () => document.querySelectorAll("details").forEach((fold) => { fold.open = true; }));
table.addEventListener("keydown", (event) => {
  const does = { "+": () => by(1.5), "=": () => by(1.5), "-": () => by(1 / 1.5), 0: whole, 1: trueSize }[event.key];
  if (does && !event.ctrlKey && !event.metaKey && !event.altKey) { event.preventDefault(); does(); }
});
table.addEventListener("wheel", (event) => {
  if (!event.ctrlKey) return;
  event.preventDefault();
  by(event.deltaY < 0 ? 1.2 : 1 / 1.2);
}, { passive: false });
table.addEventListener("pointermove", (event) => {
  if (event.buttons === 1) table.scrollBy(-event.movementX, -event.movementY);
});
byId("plates").decode().then(() => {
  readPlates();
  paint();
  whole();
  document.body.dataset.ready = "yes";
  requestAnimationFrame(() => requestAnimationFrame(() => performance.mark("shown")));
});
