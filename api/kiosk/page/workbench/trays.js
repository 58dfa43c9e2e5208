// Trays with places of their own: taken over from a plan, and changed by hand. Data in, data out.

import { GAP, heldIn, plannedTrays, thingIn, WALL } from "../plan/planned_trays.js";
import { boxOf, overlap } from "./cells.js";

/** @typedef {import("../documents").Plan} Plan */
/** @typedef {import("../documents").DrawerPlan} DrawerPlan */
/** @typedef {import("../draft/draft_format.js").FixedTray} FixedTray */
/** @typedef {import("../draft/draft_format.js").HeldThing} HeldThing */
/** @typedef {import("../draft/draft_format.js").Thing} Thing */

/** The greatest number in the keys of trays. @param {FixedTray[]} trays */
const lastNumber = (trays) => Math.max(0, ...trays.map((entry) => Number(/\d+$/.exec(entry.key)?.[0] ?? 0)));

/**
 * Return the trays of a drawer with places of their own: those that have them, and all others of the plan where they
 * stand. A thing that lies in one place only is held there whatever its count.
 * @param {FixedTray[]} fixed
 * @param {Plan} plan
 * @param {DrawerPlan} drawer
 * @param {string[]} keys of the things, in the order of the plan's items
 * @returns {FixedTray[]}
 */
export function fixTrays(fixed, plan, drawer, keys) {
  const taken = fixed.map((entry) => boxOf(entry.tray.at, entry.tray.cells));
  let number = lastNumber(fixed);
  /** @type {FixedTray[]} */
  const added = [];
  /** @type {Map<number, FixedTray>} */
  const byIndex = new Map();
  for (const planned of plannedTrays(plan, drawer)) {
    const box = boxOf(planned.at, planned.cells);
    if (taken.some((other) => overlap(other, box))) continue;
    number += 1;
    const entry = { key: `p${number}`, pinned: false, tray: { ...planned.tray, name: planned.name, at: planned.at }, hold: heldIn(drawer, planned, keys) };
    added.push(entry);
    byIndex.set(planned.index, entry);
  }
  for (const upper of drawer.upper ?? []) {
    const entry = byIndex.get(upper.placement);
    const below = upper.on.flatMap((index) => byIndex.get(index) ?? []);
    if (!entry) continue;
    // a tray is named by those on it, so its name is its own
    for (const { tray, key } of below) if ([...fixed, ...added].some((other) => other.key !== key && other.tray.name === tray.name)) tray.name = `${tray.name} ${key.slice(1)}`;
    if (upper.panels?.length) entry.tray.z = upper.z; // panels of lanes have no names that a tray can be `on`
    else if (below.length === upper.on.length) entry.tray.on = below.map((other) => other.tray.name);
    else added.splice(added.indexOf(entry), 1);
  }
  const times = new Map();
  for (const held of [...fixed, ...added].flatMap((entry) => entry.hold)) times.set(held.thing, (times.get(held.thing) ?? 0) + 1);
  const elsewhere = new Set(plan.drawers.filter((other) => other !== drawer).flatMap((other) => other.contents.map((content) => content.item)));
  const names = new Map(drawer.contents.map((content) => [thingIn(content, keys), content.item]));
  for (const entry of added) {
    for (const held of entry.hold) if (times.get(held.thing) === 1 && !elsewhere.has(names.get(held.thing) ?? "")) held.count = null;
  }
  return [...fixed, ...added];
}

/**
 * Return the trays without those that hold a thing and may move: it gets a new place.
 * @param {FixedTray[]} trays
 * @param {string} thing
 */
export const releaseThing = (trays, thing) => trays.filter((entry) => entry.pinned || !entry.hold.some((held) => held.thing === thing));

/**
 * Return the trays without a thing; those that held nothing else and may move go with it.
 * @param {FixedTray[]} trays
 * @param {string} thing
 */
export function dropThing(trays, thing) {
  return trays
    .filter((entry) => entry.pinned || !entry.hold.length || entry.hold.some((held) => held.thing !== thing))
    .map((entry) => ({ ...entry, hold: entry.hold.filter((held) => held.thing !== thing) }));
}

/**
 * Return the trays without those on others that are gone or stand elsewhere now: what they hold gets a new place.
 * @param {FixedTray[]} trays
 * @returns {FixedTray[]}
 */
export function carried(trays) {
  const boxes = new Map(trays.map((entry) => [entry.tray.name, boxOf(entry.tray.at, entry.tray.cells)]));
  const left = trays.filter((entry) => (entry.tray.on ?? []).every((name) => {
    const below = boxes.get(name);
    return below !== undefined && overlap(below, boxOf(entry.tray.at, entry.tray.cells));
  }));
  return left.length === trays.length ? trays : carried(left);
}

/** A tray that is put elsewhere stands on the floor. @param {FixedTray["tray"]} tray @returns {FixedTray["tray"]} */
function onFloor({ on: _, z: __, ...tray }) {
  return tray;
}

/**
 * Return a tray at another place, pinned: what a person has put somewhere stays there.
 * @param {FixedTray} entry
 * @param {{x: number, y: number}} place in half cells
 * @returns {FixedTray}
 */
export const movedTo = (entry, place) => ({ ...entry, pinned: true, tray: { ...onFloor(entry.tray), at: [place.x / 2, place.y / 2] } });

/**
 * Return a tray with width and depth exchanged, its dividers and compartments with them.
 * @param {FixedTray} entry
 * @returns {FixedTray}
 */
export function turned(entry) {
  const { tray } = entry;
  /** @type {FixedTray["tray"]} */
  const made = { ...onFloor(tray), cells: [tray.cells[1], tray.cells[0]] };
  if (tray.compartments) made.compartments = [tray.compartments[1], tray.compartments[0]];
  if (tray.dividers) made.dividers = tray.dividers.map((divider) => ({ ...divider, axis: divider.axis === "x" ? "y" : "x" }));
  if (tray.labels?.length) made.labels = []; // one for each column: the columns are others now
  return { ...entry, pinned: true, tray: made, hold: entry.hold.map((held) => ({ ...held, compartment: [held.compartment[1], held.compartment[0]] })) };
}

/**
 * Return a tray of another size in cells; its dividers keep their share of it.
 * @param {FixedTray} entry
 * @param {[number, number]} cells
 * @param {number} pitch of the grid, mm
 * @returns {FixedTray}
 */
export function resized(entry, cells, pitch) {
  const { tray } = entry;
  const inner = (/** @type {number} */ count) => count * pitch - 2 * (GAP + (tray.wall ?? WALL));
  const shares = [inner(cells[0]) / inner(tray.cells[0]), inner(cells[1]) / inner(tray.cells[1])];
  const scaled = (/** @type {number} */ at, /** @type {"x" | "y"} */ axis) => Number((at * (shares[axis === "x" ? 0 : 1] ?? 1)).toFixed(3));
  /** @type {FixedTray["tray"]} */
  const made = { ...onFloor(tray), cells };
  if (tray.dividers) {
    made.dividers = tray.dividers.map((divider) => {
      const other = divider.axis === "x" ? "y" : "x";
      return {
        ...divider,
        at: scaled(divider.at, divider.axis),
        ...(divider.span ? { span: /** @type {[number, number]} */ ([scaled(divider.span[0], other), scaled(divider.span[1], other)]) } : {}),
      };
    });
  }
  return { ...entry, pinned: true, tray: made };
}

/**
 * Return an empty tray of the user's own.
 * @param {FixedTray[]} trays
 * @param {import("./cells.js").Box} box
 * @param {number} height mm
 * @param {string} name
 * @returns {FixedTray}
 */
export function ownTray(trays, box, height, name) {
  const number = 1 + lastNumber(trays);
  return {
    key: `p${number}`,
    pinned: true,
    hold: [],
    tray: { name: `${name} ${number}`, cells: [box.w / 2, box.d / 2], at: [box.x / 2, box.y / 2], height },
  };
}
