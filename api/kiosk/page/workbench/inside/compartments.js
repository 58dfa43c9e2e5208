// Inside a tray: its dividers, the compartments between them, and what lies in each. Data in, data out.

import { GAP, WALL } from "../../plan/planned_trays.js";

/** @typedef {import("../../documents").Tray} Tray */
/** @typedef {import("../../documents").Divider} Divider */
/** @typedef {import("../../draft/draft_format.js").FixedTray} FixedTray */
/** @typedef {import("../../draft/draft_format.js").HeldThing} HeldThing */
/** @typedef {[number, number]} Inner width and depth of a tray inside, mm */
/**
 * @typedef {{x: [number, number], y: [number, number], cells: [number, number][], id: string}} Compartment
 * Its bounds between the middles of dividers, mm; `cells` are the columns and rows that name it, and `id` says which
 * dividers surround it.
 */

export const NEAR = 0.01;

/** @param {Tray} tray @param {number} pitch of the grid, mm @returns {Inner} */
export const innerOf = (tray, pitch) => {
  const side = (/** @type {number} */ cells) => cells * pitch - 2 * (GAP + (tray.wall ?? WALL));
  return [side(tray.cells[0]), side(tray.cells[1])];
};

/** @param {"x" | "y"} axis */
export const index = (axis) => (axis === "x" ? 0 : 1);

/**
 * Return where the lines of a tray's dividers are; those in line with each other count once, as the service counts.
 * @param {Tray} tray without equal compartments
 * @param {"x" | "y"} axis
 */
export function lines(tray, axis) {
  const wall = tray.wall ?? WALL;
  /** @type {number[]} */
  const made = [];
  let reached = 0;
  for (const at of (tray.dividers ?? []).filter((divider) => divider.axis === axis).map((divider) => divider.at).sort((a, b) => a - b)) {
    if (at - wall / 2 > reached) made.push(at);
    reached = at + wall / 2;
  }
  return made;
}

/** Whether a divider reaches a place along its length. @param {Divider} divider @param {number} place */
export const covers = (divider, place) => !divider.span || (divider.span[0] - NEAR <= place && place <= divider.span[1] + NEAR);

/**
 * Return the compartments of a tray, front row first.
 * @param {Tray} tray without equal compartments
 * @param {Inner} inner
 * @returns {Compartment[]}
 */
export function compartmentsOf(tray, inner) {
  const wall = tray.wall ?? WALL;
  const edges = [[0, ...lines(tray, "x"), inner[0]], [0, ...lines(tray, "y"), inner[1]]];
  const [xs = [], ys = []] = edges;
  const [columns, rows] = [xs.length - 1, ys.length - 1];
  const dividers = tray.dividers ?? [];
  const middle = (/** @type {number[]} */ all, /** @type {number} */ n) => ((all[n] ?? 0) + (all[n + 1] ?? 0)) / 2;
  const between = (/** @type {"x" | "y"} */ axis, /** @type {number} */ line, /** @type {number} */ place) =>
    dividers.findIndex((divider) => divider.axis === axis && Math.abs(divider.at - line) <= wall && covers(divider, place));
  /** @type {Compartment[]} */
  const made = [];
  const seen = new Set();
  for (let row = 0; row < rows; row += 1) {
    for (let column = 0; column < columns; column += 1) {
      if (seen.has(`${column},${row}`)) continue;
      /** @type {[number, number][]} */
      const cells = [];
      /** @type {Set<string>} */
      const around = new Set();
      /** @type {[number, number][]} */
      const open = [[column, row]];
      seen.add(`${column},${row}`);
      for (let next = open.pop(); next; next = open.pop()) {
        const [c, r] = next;
        cells.push([c, r]);
        for (const [dc, dr] of /** @type {const} */ ([[1, 0], [-1, 0], [0, 1], [0, -1]])) {
          const [oc, or] = [c + dc, r + dr];
          if (oc < 0 || or < 0 || oc >= columns || or >= rows) continue;
          const wallThere = dc ? between("x", xs[Math.max(c, oc)] ?? 0, middle(ys, r)) : between("y", ys[Math.max(r, or)] ?? 0, middle(xs, c));
          if (wallThere >= 0) around.add(`${dc},${dr}:${wallThere}`);
          else if (!seen.has(`${oc},${or}`)) {
            seen.add(`${oc},${or}`);
            open.push([oc, or]);
          }
        }
      }
      const span = (/** @type {number[]} */ all, /** @type {0 | 1} */ n) => /** @type {[number, number]} */ ([
        all[Math.min(...cells.map((cell) => cell[n]))] ?? 0, all[Math.max(...cells.map((cell) => cell[n])) + 1] ?? 0]);
      made.push({ x: span(xs, 0), y: span(ys, 1), cells, id: [...around].sort().join(" ") });
    }
  }
  return made;
}

/** @param {Compartment[]} all @param {[number, number]} cell */
export const compartmentAt = (all, [column, row]) => all.findIndex((room) => room.cells.some(([c, r]) => c === column && r === row));

/** @param {Compartment} room @param {[number, number]} point */
const contains = (room, [x, y]) => room.x[0] <= x && x <= room.x[1] && room.y[0] <= y && y <= room.y[1];

/**
 * Return the compartment at a point, mm from the inner front left corner, or -1.
 * @param {Compartment[]} all
 * @param {[number, number]} point
 */
export const compartmentUnder = (all, point) => all.findIndex((room) => contains(room, point));

/** @param {Compartment} room @returns {[number, number]} */
export const centre = (room) => [(room.x[0] + room.x[1]) / 2, (room.y[0] + room.y[1]) / 2];

/** What lies in one compartment is listed once. @param {HeldThing[]} hold @returns {HeldThing[]} */
export function joined(hold) {
  /** @type {Map<string, HeldThing>} */
  const made = new Map();
  for (const held of hold) {
    const id = `${held.thing} ${held.compartment.join()}`;
    const there = made.get(id);
    made.set(id, there ? { ...held, count: there.count === null || held.count === null ? null : there.count + held.count } : held);
  }
  return [...made.values()];
}

/**
 * Return the trays with a thing of one compartment in another, of the same tray or another one.
 * @param {FixedTray[]} trays
 * @param {{key: string, thing: string, compartment: [number, number]}} from
 * @param {{key: string, compartment: [number, number]}} to
 * @returns {FixedTray[]}
 */
export function moveThing(trays, from, to) {
  const is = (/** @type {HeldThing} */ held) => held.thing === from.thing && held.compartment.join() === from.compartment.join();
  const moved = trays.find((entry) => entry.key === from.key)?.hold.find(is);
  if (!moved || (from.key === to.key && from.compartment.join() === to.compartment.join())) return trays;
  return trays.map((entry) => {
    if (entry.key !== from.key && entry.key !== to.key) return entry;
    const left = entry.key === from.key ? entry.hold.filter((held) => !is(held)) : entry.hold;
    return { ...entry, pinned: true, hold: entry.key === to.key ? joined([...left, { ...moved, compartment: to.compartment }]) : left };
  });
}
