// The dividers of a tray: where each can stand, what it snaps to, and the tray with another one. Data in, data out.

import { WALL } from "../../plan/planned_trays.js";
import { centre, compartmentAt, compartmentsOf, compartmentUnder, covers, index, joined, NEAR } from "./compartments.js";

/** @typedef {import("../../documents").Tray} Tray */
/** @typedef {import("../../documents").Divider} Divider */
/** @typedef {import("./compartments.js").Inner} Inner */
/** @typedef {import("../../draft/draft_format.js").FixedTray} FixedTray */

/** Least room between two dividers, mm: narrower ones hold nothing. */
const LEAST = 8;

/** Air around a thing whose size a divider is snapped to, mm. */
const AIR = 1;

/** Most equal parts that a divider is snapped to. */
const MOST_PARTS = 6;

/** @param {number} mm */
const rounded = (mm) => Number(mm.toFixed(2));

/**
 * Return a tray whose equal compartments are dividers, which can be moved one by one.
 * @template {Tray} T
 * @param {T} tray
 * @param {Inner} inner
 * @returns {T}
 */
export function divided(tray, inner) {
  const dividers = [...(tray.dividers ?? [])];
  for (const axis of /** @type {const} */ (["x", "y"])) {
    const count = tray.compartments?.[index(axis)] ?? 1;
    for (let n = 1; n < count; n += 1) dividers.push({ axis, at: rounded((inner[index(axis)] * n) / count) });
  }
  return { ...tray, compartments: null, dividers };
}

/**
 * Return an entry with other dividers: what lies in it stays in its compartment, or where the middle of that was.
 * @param {FixedTray} entry without equal compartments
 * @param {Divider[]} dividers
 * @param {Inner} inner
 * @returns {FixedTray}
 */
function withDividers(entry, dividers, inner) {
  const before = compartmentsOf(entry.tray, inner);
  const tray = { ...entry.tray, dividers };
  const after = compartmentsOf(tray, inner);
  const same = dividers.length === (entry.tray.dividers ?? []).length;
  const place = (/** @type {[number, number]} */ cell) => {
    const old = before[compartmentAt(before, cell)] ?? before[0];
    const kept = same ? after.find((room) => room.id === old?.id) : undefined;
    const there = kept ?? after[old ? compartmentUnder(after, centre(old)) : 0] ?? after[0];
    return there?.cells[0] ?? /** @type {[number, number]} */ ([0, 0]);
  };
  if (!same && tray.labels?.length) tray.labels = []; // room for each column: the columns are others now
  return { ...entry, pinned: true, tray, hold: joined(entry.hold.map((held) => ({ ...held, compartment: place(held.compartment) }))) };
}

/** @param {Divider} a @param {Divider} b */
const overlapping = (a, b) => {
  const [from, to] = a.span ?? [-Infinity, Infinity];
  const [start, end] = b.span ?? [-Infinity, Infinity];
  return from < end - NEAR && start < to - NEAR;
};

/**
 * Return between which places a divider can be moved: up to its neighbours or the walls.
 * @param {Tray} tray without equal compartments
 * @param {number} n of the divider
 * @param {Inner} inner
 * @returns {{least: number, most: number, from: number, to: number}} `from` and `to` are the neighbours
 */
export function bounds(tray, n, inner) {
  const wall = tray.wall ?? WALL;
  const divider = tray.dividers?.[n];
  const whole = divider ? inner[index(divider.axis)] : 0;
  let [from, to] = [-wall / 2, whole + wall / 2];
  for (const [m, other] of (tray.dividers ?? []).entries()) {
    if (!divider || m === n || other.axis !== divider.axis || !overlapping(divider, other)) continue;
    if (other.at <= divider.at) from = Math.max(from, other.at);
    else to = Math.min(to, other.at);
  }
  const clear = LEAST + wall;
  return { least: rounded(Math.min(from + clear, divider?.at ?? 0)), most: rounded(Math.max(to - clear, divider?.at ?? 0)), from, to };
}

/**
 * Return the nearest place that makes equal parts or just holds a thing, within reach; else the place itself, in whole mm.
 * @param {Tray} tray without equal compartments
 * @param {number} n of the divider
 * @param {Inner} inner
 * @param {number} at
 * @param {number} reach mm
 * @param {number[]} sizes of things beside it along its axis, mm
 */
export function snappedDivider(tray, n, inner, at, reach, sizes) {
  const wall = tray.wall ?? WALL;
  const { least, most, from, to } = bounds(tray, n, inner);
  const divider = tray.dividers?.[n];
  const whole = divider ? inner[index(divider.axis)] : 0;
  const places = [(from + to) / 2];
  for (let parts = 2; parts <= MOST_PARTS; parts += 1) {
    for (let k = 1; k < parts; k += 1) places.push((whole * k) / parts);
  }
  for (const size of sizes) places.push(from + size + 2 * AIR + wall, to - size - 2 * AIR - wall);
  const held = Math.min(Math.max(at, least), most);
  const near = places.filter((place) => place >= least && place <= most && Math.abs(place - held) <= reach).sort((a, b) => Math.abs(a - held) - Math.abs(b - held));
  return rounded(near[0] ?? Math.min(Math.max(Math.round(at), least), most));
}

/**
 * Return an entry with a divider at another place; those that end at it follow.
 * @param {FixedTray} entry without equal compartments
 * @param {number} n of the divider
 * @param {number} to
 * @param {Inner} inner
 */
export function moveDivider(entry, n, to, inner) {
  const all = entry.tray.dividers ?? [];
  const divider = all[n];
  if (!divider) return entry;
  const { least, most } = bounds(entry.tray, n, inner);
  const at = rounded(Math.min(Math.max(to, least), most));
  const dividers = all.map((other, m) => {
    if (m === n) return { ...other, at };
    if (other.axis === divider.axis || !other.span || !covers(divider, other.at)) return other;
    const end = (/** @type {number} */ place) => (Math.abs(place - divider.at) <= NEAR ? at : place);
    return { ...other, span: /** @type {[number, number]} */ ([end(other.span[0]), end(other.span[1])]) };
  });
  return withDividers(entry, dividers, inner);
}

/**
 * Return an entry with a divider through the middle of the largest compartment, or null if none is large enough.
 * @param {FixedTray} entry without equal compartments
 * @param {"x" | "y"} axis
 * @param {Inner} inner
 */
export function addDivider(entry, axis, inner) {
  const wall = entry.tray.wall ?? WALL;
  const [along, across] = axis === "x" ? /** @type {const} */ (["x", "y"]) : /** @type {const} */ (["y", "x"]);
  const other = inner[index(across)];
  let best = null;
  for (const room of compartmentsOf(entry.tray, inner)) {
    const size = room[along][1] - room[along][0];
    if (size >= 2 * (LEAST + wall) && (!best || size > best[along][1] - best[along][0])) best = room;
  }
  if (!best) return null;
  const [from, to] = best[across];
  const at = rounded((best[along][0] + best[along][1]) / 2);
  /** @type {Divider} */
  const made = { axis, at };
  if (from > NEAR || to < other - NEAR) made.span = [from, to]; // exactly where the crossing dividers are
  return withDividers(entry, [...(entry.tray.dividers ?? []), made], inner);
}

/**
 * Return an entry without a divider; those that ended at it go on to the next one or the wall.
 * @param {FixedTray} entry without equal compartments
 * @param {number} n of the divider
 * @param {Inner} inner
 */
export function removeDivider(entry, n, inner) {
  const all = entry.tray.dividers ?? [];
  const gone = all[n];
  if (!gone) return entry;
  const left = all.filter((_, m) => m !== n);
  const dividers = left.map((divider) => {
    if (divider.axis === gone.axis || !divider.span) return divider;
    const [from, to] = divider.span;
    const holds = (/** @type {number} */ place) => left.some((other) => other.axis === gone.axis && Math.abs(other.at - place) <= NEAR && covers(other, divider.at));
    const ats = left.filter((other) => other.axis === gone.axis && covers(other, divider.at)).map((other) => other.at);
    const start = Math.abs(from - gone.at) > NEAR || holds(from) ? from : Math.max(0, ...ats.filter((at) => at < from));
    const end = Math.abs(to - gone.at) > NEAR || holds(to) ? to : Math.min(inner[index(gone.axis)], ...ats.filter((at) => at > to));
    return { ...divider, span: /** @type {[number, number]} */ ([start, end]) };
  });
  return withDividers(entry, dividers, inner);
}
