// The draft: the entries of the form, stored in this browser until the user starts over, and the spec built from them.

import { convert, length, setUnit, unitNow } from "./units.js";

const STORE = "drawerwright.draft";

const blankDrawer = (name) => ({ name, width: ["", "", ""], depth: ["", "", ""], height: "", corner: "", copies: 1, obstacles: [] });

const blank = () => ({
  unit: "mm",
  drawers: [blankDrawer("1")],
  things: [],
  bed: ["", "", ""],
  nozzle: "0.4",
  layer: "0.2",
  material: "PLA",
  price: "",
  hours: "",
  half: false,
  fill: false,
  coupon: true,
});

export let draft = blank();
export let current = 0;

const watchers = [];

/** Call a function after every change of the draft, with the name of what changed. */
export const watch = (watcher) => watchers.push(watcher);

export function changed(what) {
  try {
    window.localStorage.setItem(STORE, JSON.stringify(draft));
  } catch { /* without storage the draft lives as long as the page */ }
  for (const watcher of watchers) watcher(what);
}

export function restore() {
  try {
    const kept = JSON.parse(window.localStorage.getItem(STORE) ?? "null");
    if (kept && Array.isArray(kept.drawers) && kept.drawers.length) draft = { ...blank(), ...kept };
  } catch { /* an unreadable draft is discarded */ }
  setUnit(draft.unit);
}

export function startOver() {
  const unit = draft.unit;
  draft = { ...blank(), unit };
  if (unit === "in") convertAll("mm", "in");
  current = 0;
  changed("all");
}

export function choose(index) {
  current = index;
  changed("drawer");
}

export function addDrawer() {
  const names = new Set(draft.drawers.map((drawer) => drawer.name));
  let number = draft.drawers.length + 1;
  while (names.has(String(number))) number += 1;
  draft.drawers.push(blankDrawer(String(number)));
  current = draft.drawers.length - 1;
  changed("drawer");
}

export function dropDrawer(index) {
  draft.drawers.splice(index, 1);
  current = Math.min(current, draft.drawers.length - 1);
  changed("drawer");
}

/** Switch between mm and inches and convert the lengths already entered. */
export function switchUnit(unit) {
  if (unit === unitNow()) return;
  convertAll(unitNow(), unit);
  setUnit(unit);
  draft.unit = unit;
  changed("all");
}

function convertAll(_from, to) {
  const turn = (text) => convert(text, to);
  for (const drawer of draft.drawers) {
    drawer.width = drawer.width.map(turn);
    drawer.depth = drawer.depth.map(turn);
    drawer.height = turn(drawer.height);
    drawer.corner = turn(drawer.corner);
    for (const obstacle of drawer.obstacles) for (const side of ["x", "y", "w", "d"]) obstacle[side] = turn(obstacle[side]);
  }
  for (const thing of draft.things) thing.sizes = thing.sizes.map(turn);
  draft.bed = draft.bed.map(turn);
}

const filled = (text) => text.trim() !== "";

/** Whether a drawer has a width, a depth and a height, so that a plan can be requested. */
export const measured = (drawer) => drawer.width.some(filled) && drawer.depth.some(filled) && filled(drawer.height);

/** Whether the printer's bed has been chosen or typed; without it no floor can be split into tiles. */
export const bedGiven = () => draft.bed.every(filled);

export const ready = () => draft.drawers.every(measured);

/** The draft as a spec, and the field id for each JSON Pointer into it. */
export function specOf() {
  const where = new Map();
  const at = (pointer, id) => where.set(pointer, id);
  const drawers = draft.drawers.map((drawer, d) => {
    const made = { name: drawer.name, height: length(drawer.height) };
    at(`/drawers/${d}`, `height-${d}`);
    at(`/drawers/${d}/name`, `name-${d}`);
    at(`/drawers/${d}/height`, `height-${d}`);
    for (const side of ["width", "depth"]) {
      made[side] = [];
      drawer[side].forEach((text, i) => {
        if (!filled(text)) return;
        at(`/drawers/${d}/${side}/${made[side].length}`, `${side}-${d}-${i}`);
        if (made[side].length === 0) at(`/drawers/${d}/${side}`, `${side}-${d}-${i}`);
        made[side].push(length(text));
      });
    }
    if (filled(drawer.corner)) made.corner_radius = length(drawer.corner);
    at(`/drawers/${d}/corner_radius`, `corner-${d}`);
    if (drawer.copies !== 1) made.copies = drawer.copies;
    at(`/drawers/${d}/copies`, `copies-${d}`);
    if (drawer.obstacles.length) {
      made.obstacles = drawer.obstacles.map((obstacle, o) => {
        const base = `/drawers/${d}/obstacles/${o}`;
        [["at/0", "x"], ["at/1", "y"], ["size/0", "w"], ["size/1", "d"]].forEach(([end, side]) => at(`${base}/${end}`, `obstacle-${d}-${o}-${side}`));
        return { at: [length(obstacle.x), length(obstacle.y)], size: [length(obstacle.w), length(obstacle.d)] };
      });
    }
    if (draft.fill) made.fill = true;
    return made;
  });
  const items = draft.things.map((thing, i) => {
    const base = `/items/${i}`;
    at(base, `thing-${i}`);
    at(`${base}/count`, `count-${i}`);
    at(`${base}/name`, `thing-${i}`);
    const made = { name: thing.name, shape: shapeOf(thing), count: thing.count, access: thing.access };
    thing.sizes.forEach((_, n) => at(thing.kind === "box" ? `${base}/shape/size/${n}` : `${base}/shape/${["diameter", "length"][n]}`, `size-${i}-${n}`));
    if (thing.kind === "standard") at(`${base}/shape/length`, `size-${i}-0`);
    at(`${base}/storage`, `storage-${i}`);
    if (thing.storage) made.storage = thing.storage;
    if (thing.group.trim()) made.group = thing.group.trim();
    if (thing.label) made.label = true;
    return made;
  });
  draft.bed.forEach((_, n) => at(`/printer/bed/${n}`, `bed-${n}`));
  at("/printer/nozzle", "nozzle");
  at("/printer/layer", "layer");
  at("/printer/line_width", "nozzle");
  at("/material/name", "material");
  at("/material/cost_per_kg", "price");
  at("/printing/max_run_hours", "hours");
  const spec = {
    spec: "1",
    name: draft.drawers.map((drawer) => drawer.name).join(", ").slice(0, 80) || "1",
    drawers,
    printer: { bed: draft.bed.map(length), nozzle: number(draft.nozzle), layer: number(draft.layer) },
    material: { name: draft.material },
    coupon: draft.coupon,
  };
  if (items.length) spec.items = items;
  if (draft.half) spec.grid = { half_cells: true };
  if (filled(draft.price)) spec.material.cost_per_kg = number(draft.price);
  if (filled(draft.hours)) spec.printing = { max_run_hours: number(draft.hours) };
  return { spec, where };
}

/** A number of no unit, or the text as it is: the service says what is wrong with it. */
function number(text) {
  const value = Number(text.trim().replace(",", "."));
  return text.trim() !== "" && Number.isFinite(value) ? value : text;
}

function shapeOf(thing) {
  const sizes = thing.sizes.map(length);
  if (thing.kind === "box") return { kind: "box", size: sizes };
  if (thing.kind === "cylinder") return { kind: "cylinder", diameter: sizes[0], length: sizes[1] };
  return sizes.length ? { kind: "standard", id: thing.id, length: sizes[0] } : { kind: "standard", id: thing.id };
}
