// The spec of a draft, and the field of the page for each JSON Pointer into it.

import { handlingSpec, roundShape, sizePointer } from "./thing_shape.js";
import { length } from "../language/units.js";

/** @typedef {import("./draft_format.js").Draft} Draft */
/** @typedef {import("./draft_format.js").DrawerDraft} DrawerDraft */
/** @typedef {import("./draft_format.js").Thing} Thing */
/** @typedef {Record<string, any>} Spec */
/** @typedef {Map<string, string>} Where */

/** @param {string} text */
const filled = (text) => text.trim() !== "";

/**
 * @param {Draft} draft
 * @returns {{spec: Spec, where: Where}}
 */
export function specOf(draft) {
  /** @type {Where} */
  const where = new Map();
  const names = new Map(draft.things.map((thing) => [thing.key, thing.name]));
  const drawers = draft.drawers.map((drawer, d) => ({ ...drawerSpec(drawer, d, where, names), ...(draft.fill && !drawer.bare ? { fill: true } : {}) }));
  const items = draft.things.map((thing, i) => itemSpec(thing, i, where, names));
  draft.bed.forEach((_, n) => where.set(`/printer/bed/${n}`, `bed-${n}`));
  for (const [pointer, id] of PRINTER) where.set(pointer, id);
  /** @type {Spec} */
  const spec = {
    spec: "1",
    name: draft.drawers.map((drawer) => drawer.name).join(", ").slice(0, 80) || "1",
    drawers,
    ...(draft.rest.printers ? { printers: draft.rest.printers }
      : { printer: { ...draft.rest.printer, bed: draft.bed.map(length), nozzle: number(draft.nozzle), layer: number(draft.layer) } }),
    material: { ...draft.rest.material, name: draft.material },
    coupon: draft.coupon,
  };
  if (items.length) spec.items = items;
  if (draft.share !== "like") spec.layout = { share: draft.share };
  where.set("/layout/share", "share");
  if (draft.half || draft.rest.grid) spec.grid = { ...draft.rest.grid, ...(draft.half ? { half_cells: true } : {}) };
  if (filled(draft.price)) spec.material.cost_per_kg = number(draft.price);
  if (filled(draft.hours) || draft.rest.printing) spec.printing = { ...draft.rest.printing, ...(filled(draft.hours) ? { max_run_hours: number(draft.hours) } : {}) };
  if (draft.rest.schedule) spec.schedule = draft.rest.schedule;
  return { spec, where };
}

const PRINTER = /** @type {const} */ ([
  ["/printer/nozzle", "nozzle"], ["/printer/layer", "layer"], ["/printer/line_width", "nozzle"], ["/material/name", "material"],
  ["/material/cost_per_kg", "price"], ["/printing/max_run_hours", "hours"],
  ["/material/left", "spools"], ["/material/colour", "colour"], ["/schedule/printing", "printing-from"], ["/schedule/attended", "weekdays-from"],
  ["/schedule", "with-calendar"],
]);

/**
 * @param {DrawerDraft} drawer
 * @param {number} d
 * @param {Where} where
 * @param {Map<string, string>} names
 */
function drawerSpec(drawer, d, where, names) {
  const at = (/** @type {string} */ end, /** @type {string} */ id) => where.set(`/drawers/${d}${end}`, id);
  /** @type {Spec} */
  const made = { name: drawer.name, height: length(drawer.height), width: [], depth: [] };
  at("", `height-${d}`);
  at("/name", `name-${d}`);
  at("/height", `height-${d}`);
  for (const side of /** @type {const} */ (["width", "depth"])) {
    drawer[side].forEach((text, i) => {
      if (!filled(text)) return;
      at(`/${side}/${made[side].length}`, `${side}-${d}-${i}`);
      if (made[side].length === 0) at(`/${side}`, `${side}-${d}-${i}`);
      made[side].push(length(text));
    });
  }
  if (filled(drawer.corner)) made.corner_radius = length(drawer.corner);
  at("/corner_radius", `corner-${d}`);
  if (drawer.copies !== 1) made.copies = drawer.copies;
  at("/copies", `copies-${d}`);
  if (drawer.obstacles.length) {
    made.obstacles = drawer.obstacles.map((obstacle, o) => {
      for (const [end, side] of [["at/0", "x"], ["at/1", "y"], ["size/0", "w"], ["size/1", "d"]]) at(`/obstacles/${o}/${end}`, `obstacle-${d}-${o}-${side}`);
      return { at: [length(obstacle.x), length(obstacle.y)], size: [length(obstacle.w), length(obstacle.d)] };
    });
  }
  at("/floor", `bare-${d}`);
  at("/panels", `bare-${d}`);
  if (drawer.bare) Object.assign(made, { floor: "none" }, drawer.panels ? { panels: drawer.panels } : {});
  if (drawer.trays.length && !drawer.bare) {
    made.trays = drawer.trays.map(({ key, tray, hold }, n) => {
      at(`/trays/${n}`, `tray-${d}-${key}`);
      return { ...tray, hold: hold.map((held) => ({ item: names.get(held.thing) ?? "", count: held.count, compartment: held.compartment })) };
    });
  }
  return made;
}

const HANDLING = /** @type {const} */ ([
  ["/pose", "pose"], ["/nest", "nest"], ["/soft", "soft"], ["/soft/fill", "fill"], ["/soft/height", "pressed"], ["/shape/rods", "rods"],
]);

/**
 * @param {Thing} thing
 * @param {number} i
 * @param {Where} where
 * @param {Map<string, string>} names of things, by their keys
 */
function itemSpec(thing, i, where, names) {
  const at = (/** @type {string} */ end, /** @type {string} */ id) => where.set(`/items/${i}${end}`, id);
  at("", `thing-${i}`);
  at("/count", `count-${i}`);
  at("/name", `thing-${i}`);
  /** @type {Spec} */
  const made = { name: thing.name, shape: shapeOf(thing), count: thing.count, access: thing.access };
  if (thing.kind === "outline") at("/shape/height", `size-${i}-2`);
  else thing.sizes.forEach((_, n) => at(sizePointer(thing.kind, n), `size-${i}-${n}`));
  if (thing.kind === "standard") at("/shape/length", `size-${i}-0`);
  at("/storage", `storage-${i}`);
  at("/group", `group-${i}`);
  if (thing.storage) made.storage = thing.storage;
  if (thing.group.trim()) made.group = thing.group.trim();
  at("/near", `group-${i}`);
  const near = names.get(thing.near);
  if (near) made.near = near;
  if (thing.label) made.label = true;
  for (const [end, id] of HANDLING) at(end, `${id}-${i}`);
  return Object.assign(made, handlingSpec(thing));
}

/** A number of no unit, or the text as it is: the service says what is wrong with it. @param {string} text */
function number(text) {
  const value = Number(text.trim().replace(",", "."));
  return text.trim() !== "" && Number.isFinite(value) ? value : text;
}

/** @param {Thing} thing */
function shapeOf(thing) {
  const sizes = thing.sizes.map(length);
  if (thing.kind === "box") return { kind: "box", size: sizes };
  if (thing.kind === "outline") return { ...(thing.points ? { kind: "polygon", points: thing.points } : { kind: "silhouette", id: thing.id }), ...(filled(thing.sizes[2] ?? "") ? { height: sizes[2] } : {}) };
  if (thing.kind !== "standard") return roundShape(thing);
  return sizes.length ? { kind: "standard", id: thing.id, length: sizes[0] } : { kind: "standard", id: thing.id };
}
