// The draft: the entries of the form, stored in this browser until the user starts over, with undo and redo.

import { signal } from "@preact/signals";

import { blankDraft, blankDrawer, freeKey, readDraft } from "./draft_format.js";
import { keep, kept, openStore } from "./draft_store.js";
import { History } from "./history.js";
import { turnedHandling } from "./thing_shape.js";
import { convert, setUnit, unitNow } from "../language/units.js";

/** @typedef {import("./draft_format.js").Draft} Draft */
/** @typedef {import("./draft_format.js").DrawerDraft} DrawerDraft */
/** @typedef {import("../language/units.js").Unit} Unit */
/** @typedef {"field" | "things" | "drawer" | "trays" | "all"} Change */

export let draft = blankDraft();
export let current = 0;

/** Grows with every change, for views that are drawn from signals. */
export const revision = signal(0);

let history = new History(JSON.stringify(draft));

/** @type {((what: Change) => void)[]} */
const watchers = [];

/**
 * Call a function after every change of the draft, with the name of what changed.
 * @param {(what: Change) => void} watcher
 */
export const watch = (watcher) => watchers.push(watcher);

/**
 * Store the draft after a change, as a step that can be undone.
 * @param {Change} what
 */
export function changed(what) {
  history.add(JSON.stringify(draft), what === "field" ? (document.activeElement?.id ?? "") : "", performance.now());
  spread(what);
}

/** @param {Change} what */
function spread(what) {
  keep(history.now);
  notify(what);
}

/** @param {Change} what */
function notify(what) {
  current = Math.min(current, draft.drawers.length - 1);
  revision.value += 1;
  for (const watcher of watchers) watcher(what);
}

/** @param {string | null} text @returns {Draft | null} */
function parsed(text) {
  try {
    return readDraft(JSON.parse(text ?? "null"));
  } catch {
    return null; // an unreadable draft is discarded
  }
}

/** Read the stored draft, and follow the changes that another tab makes to it. */
export async function restore() {
  await openStore((text) => {
    const other = parsed(text);
    if (!other) return;
    draft = other;
    setUnit(draft.unit);
    history.add(JSON.stringify(draft));
    notify("all");
  });
  draft = parsed(await kept()) ?? draft;
  setUnit(draft.unit);
  history = new History(JSON.stringify(draft));
}

/**
 * Replace the whole draft, as a step that can be undone.
 * @param {Draft} other
 */
export function replaceDraft(other) {
  draft = other;
  setUnit(draft.unit);
  current = 0;
  changed("all");
}

/** Begin a new drawer; what prints said about the estimates stays, for it is about the printer. */
export function startOver() {
  const { calibration } = draft.rest.printing ?? {};
  replaceDraft({ ...blankDraft(), unit: unitNow(), rest: calibration ? { printing: { calibration } } : {} });
}

export const canUndo = () => history.past.length > 0;
export const canRedo = () => history.future.length > 0;
export const undo = () => step(history.undo());
export const redo = () => step(history.redo());

/** @param {string | null} snapshot */
function step(snapshot) {
  if (snapshot === null) return;
  draft = JSON.parse(snapshot);
  setUnit(draft.unit);
  spread("all");
}

/** The drawer that is shown. */
export const drawerNow = () => /** @type {DrawerDraft} */ (draft.drawers[current]);

/** @param {number} index */
export function choose(index) {
  current = index;
  notify("drawer");
}

/** Return a name that no drawer has: the next number, or the given name with one. @param {string} [like] */
function freeName(like = "") {
  const names = new Set(draft.drawers.map((drawer) => drawer.name));
  let number = draft.drawers.length + 1;
  const made = () => (like ? `${like} ${number}` : String(number));
  while (names.has(made())) number += 1;
  return made();
}

export function addDrawer() {
  draft.drawers.push(blankDrawer(freeName(), freeKey(draft.drawers, "d")));
  current = draft.drawers.length - 1;
  changed("drawer");
}

/** Add a drawer with the readings of another; its trays stay with the first, as the things in them do. @param {number} index */
export function copyDrawer(index) {
  const drawer = draft.drawers[index];
  if (!drawer) return;
  const copy = { ...structuredClone(drawer), key: freeKey(draft.drawers, "d"), name: freeName(drawer.name), trays: [] };
  draft.drawers.splice(index + 1, 0, copy);
  current = index + 1;
  changed("drawer");
}

/** @param {number} index */
export function dropDrawer(index) {
  draft.drawers.splice(index, 1);
  changed("drawer");
}

/**
 * Switch between mm and inches and convert the lengths already entered.
 * @param {Unit} unit
 */
export function switchUnit(unit) {
  if (unit === unitNow()) return;
  const turn = (/** @type {string} */ text) => convert(text, unit);
  for (const drawer of draft.drawers) {
    drawer.width = drawer.width.map(turn);
    drawer.depth = drawer.depth.map(turn);
    drawer.height = turn(drawer.height);
    drawer.corner = turn(drawer.corner);
    drawer.obstacles = drawer.obstacles.map(({ x, y, w, d }) => ({ x: turn(x), y: turn(y), w: turn(w), d: turn(d) }));
  }
  for (const thing of draft.things) Object.assign(thing, { sizes: thing.sizes.map(turn) }, turnedHandling(thing, turn));
  draft.bed = draft.bed.map(turn);
  setUnit(unit);
  draft.unit = unit;
  changed("all");
}

/** @param {string} text */
const filled = (text) => text.trim() !== "";

/**
 * Whether a drawer has a width, a depth and a height, so that a plan can be requested.
 * @param {DrawerDraft} drawer
 */
export const measured = (drawer) => drawer.width.some(filled) && drawer.depth.some(filled) && filled(drawer.height);

/** Whether the printer's bed has been chosen or typed; without it no floor can be split into tiles. */
export const bedGiven = () => draft.bed.every(filled);

/** Whether nothing has been entered yet. */
export const isBlank = () => !draft.things.length && draft.drawers.every((drawer) => ![...drawer.width, ...drawer.depth, drawer.height].some(filled));

export const ready = () => draft.drawers.every(measured);
