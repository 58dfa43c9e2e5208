// An outline in the hands of the user: its corners, the one that is chosen, and what was done, to be undone.

import { computed, signal } from "@preact/signals";

import { History } from "../draft/history.js";
import { added, axisOf, boxOf, crossing, distance, editable, mirrored, moved, removed, smoothed } from "./rings.js";

/** @typedef {import("./rings.js").Ring} Ring */
/** @typedef {import("./rings.js").Point} Point */
/** @typedef {import("./rings.js").Corner} Corner */
/** @typedef {{across: boolean, turn: number, shift: number, left: boolean}} Mirror */

/** @type {import("@preact/signals").Signal<Ring[]>} */
export const rings = signal([]);

/** @type {import("@preact/signals").Signal<Corner | null>} */
export const chosen = signal(null);

/** Where the chosen corner was before it was grabbed; null while it is not. @type {import("@preact/signals").Signal<Ring[] | null>} */
export const before = signal(null);

/** The axis that is to be mirrored at, as long as it is chosen. @type {import("@preact/signals").Signal<Mirror | null>} */
export const mirror = signal(null);

/** Steps that can be undone and redone. */
export const steps = signal({ undo: 0, redo: 0 });

/** The left front corner of the outline as it was read: what coordinates are counted from. @type {Point} */
let origin = [0, 0];

let history = new History("[]");

/** Whether the user changed anything. */
export const corrected = computed(() => steps.value.undo > 0);

/** Width and depth of the outline. */
export const size = computed(() => boxOf(rings.value[0] ?? [[0, 0]]));

/** Where lines cross, so that there is no outline. */
export const fault = computed(() => (before.value ? null : crossing(rings.value)));

export const axis = computed(() => {
  const outer = rings.value[0];
  return mirror.value && outer ? axisOf(outer, mirror.value) : null;
});

/** Whether the axis cuts the outline in two halves. */
export const canMirror = computed(() => {
  const [outer, line, how] = [rings.value[0], axis.value, mirror.value];
  return Boolean(outer && line && how && mirrored(outer, line, how.left));
});

/** Begin with an outline as it was read. @param {Ring[]} read */
export function beginEditing(read) {
  const made = editable(read);
  const box = boxOf(made[0] ?? [[0, 0]]);
  origin = [box.left, box.front];
  history = new History(JSON.stringify(made));
  rings.value = made;
  [chosen.value, before.value, mirror.value] = [null, null, null];
  count();
}

const count = () => { steps.value = { undo: history.past.length, redo: history.future.length }; };

/** Keep the rings as a step. @param {Ring[]} made */
function keep(made) {
  rings.value = made;
  before.value = null;
  history.add(JSON.stringify(made));
  count();
}

/** @param {string | null} snapshot */
function show(snapshot) {
  if (!snapshot) return;
  rings.value = JSON.parse(snapshot);
  before.value = null;
  if (!cornerAt(chosen.value)) chosen.value = null;
  count();
}

export const undo = () => show(history.undo());
export const redo = () => show(history.redo());

/** @param {Corner | null} corner @returns {Point | null} */
export const cornerAt = (corner) => (corner && rings.value[corner.ring]?.[corner.point]) ?? null;

/** Coordinates of a corner as they are shown. @param {Point} point @returns {Point} */
export const counted = ([x, y]) => [x - origin[0], y - origin[1]];

/** Choose the next corner of the same ring, or the one so many further. @param {number} by */
export function goOn(by) {
  const now = chosen.value ?? { ring: 0, point: 0 };
  const many = rings.value[now.ring]?.length ?? 1;
  chosen.value = { ring: now.ring, point: (((now.point + by) % many) + many) % many };
}

/** Take hold of a corner, so that moves of it are one step. @param {Corner} corner */
export function grab(corner) {
  chosen.value = corner;
  before.value = rings.value;
}

/** Move what is held. @param {Point} to */
export function drag(to) {
  if (chosen.value && before.value) rings.value = moved(rings.value, chosen.value, to);
}

/** Let go of what is held, and keep where it is. */
export function drop() {
  const made = rings.value;
  if (before.value) keep(made);
}

/** Let go of what is held; it is where it was. */
export function putBack() {
  if (before.value) rings.value = before.value;
  before.value = null;
  if (!cornerAt(chosen.value)) chosen.value = null;
}

/** Move the chosen corner to coordinates as they are shown. @param {Point} to */
export function place([x, y]) {
  if (chosen.value) keep(moved(rings.value, chosen.value, [x + origin[0], y + origin[1]]));
}

/** Move the chosen corner a little. @param {number} dx @param {number} dy */
export function nudge(dx, dy) {
  const corner = cornerAt(chosen.value);
  if (!corner) return;
  if (before.value) drag([corner[0] + dx, corner[1] + dy]);
  else if (chosen.value) keep(moved(rings.value, chosen.value, [corner[0] + dx, corner[1] + dy]));
}

/** Add a corner after the chosen one, halfway to the next. */
export function add() {
  const now = chosen.value;
  if (!now) return;
  keep(added(rings.value, now));
  chosen.value = { ring: now.ring, point: now.point + 1 };
}

/** Add a corner on a line and take hold of it, as one step. @param {Corner} line @param {Point} at */
export function grabNew(line, at) {
  before.value = rings.value;
  rings.value = added(rings.value, line, at);
  chosen.value = { ring: line.ring, point: line.point + 1 };
}

/** Remove the chosen corner; the one before it is chosen then. */
export function remove() {
  const now = chosen.value;
  if (!now) return;
  const made = removed(rings.value, now);
  if (made === rings.value) return;
  chosen.value = made.length < rings.value.length ? null : { ring: now.ring, point: Math.max(0, now.point - 1) };
  keep(made);
}

/** Smooth the outline near the chosen corner, or all round. */
export function smooth() {
  const at = chosen.value;
  const centre = cornerAt(at);
  const made = rings.value.map((ring, n) => (at === null || n === at.ring ? smoothed(ring, at ? at.point : null) : ring));
  const near = (made[at?.ring ?? 0] ?? []).map((corner, point) => ({ point, away: centre ? distance(corner, centre) : 0 }));
  chosen.value = at && { ring: at.ring, point: near.reduce((best, other) => (other.away < best.away ? other : best), { point: 0, away: Infinity }).point };
  keep(made);
}

/** Replace one half by the mirror image of the other; holes stay. */
export function applyMirror() {
  const [outer, line, how] = [rings.value[0], axis.value, mirror.value];
  const made = outer && line && how && mirrored(outer, line, how.left);
  if (!made) return;
  [chosen.value, mirror.value] = [null, null];
  keep([made, ...rings.value.slice(1)]);
}

/** The outline as a request has it. */
export function corners() {
  const rounded = rings.value.map((ring) => ring.map(([x, y]) => [Math.round(x * 1000) / 1000, Math.round(y * 1000) / 1000]));
  return { points: rounded[0] ?? [], holes: rounded.slice(1) };
}
