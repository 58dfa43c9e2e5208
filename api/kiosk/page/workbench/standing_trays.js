// The trays of a drawer as they are shown: those with a place of their own, and the others of the plan.

import { draft, revision } from "../draft/draft.js";
import { fresh, latest } from "../plan/plan.js";
import { contentsOf, plannedTrays, thingIn } from "../plan/planned_trays.js";
import { boxOf, floorOf } from "./cells.js";

/** @typedef {import("./cells.js").Box} Box */
/** @typedef {import("../draft/draft_format.js").FixedTray} FixedTray */
/**
 * @typedef {{key: string, box: Box, pinned: boolean, mark: string, text: string, height: number,
 *   tray: import("../documents").Tray, things: string[], moved: boolean, index: number}} Standing
 * A tray as it is shown; `things` are the keys of what it holds, `index` is that of its placement in the plan, or -1.
 */

/** The number of half cells from place to place. */
export const step = () => (draft.half ? 1 : 2);

/** @param {number} d */
export const drawerPlan = (d) => latest.value?.document.drawers[d];

/**
 * Return the trays of a drawer as they are shown: those with a place of their own, and the others of the plan.
 * @param {number} d
 * @returns {Standing[]}
 */
export function standing(d) {
  const plan = latest.value;
  const drawer = drawerPlan(d);
  const fixed = revision.value >= 0 ? (draft.drawers[d]?.trays ?? []) : [];
  if (!plan || !drawer) return [];
  const planned = plannedTrays(plan.document, drawer).map((tray) => ({ ...tray, box: boxOf(tray.at, tray.cells) }));
  const things = (/** @type {number} */ index) => drawer.contents
    .filter((content) => content.placement === index).map((content) => thingIn(content, plan.keys) ?? "");
  const names = new Map(draft.things.map((thing) => [thing.key, thing.name]));
  /** @type {Standing[]} */
  const shown = fixed.map((entry) => {
    const box = boxOf(entry.tray.at, entry.tray.cells);
    const match = (fresh.value ? planned.find((tray) => same(tray.box, box)) : undefined) ?? planned.find((tray) => tray.name === entry.tray.name);
    const inside = match ? contentsOf(drawer, match.index) : "";
    return {
      key: entry.key,
      box,
      pinned: entry.pinned,
      mark: match?.mark ?? "",
      text: inside || entry.hold.map((held) => names.get(held.thing) ?? "").filter(Boolean).join(", ") || entry.tray.name,
      height: entry.tray.height,
      tray: entry.tray,
      things: fresh.value && match ? things(match.index) : entry.hold.map((held) => held.thing),
      moved: fresh.value && !entry.pinned && match !== undefined && (plan.moved[d]?.has(String(match.index)) ?? false),
      index: match?.index ?? -1,
    };
  });
  if (fixed.length && !fresh.value) return shown;
  const taken = shown.map((tray) => tray.box);
  for (const tray of planned) {
    if (taken.some((box) => same(box, tray.box))) continue;
    shown.push({
      key: `auto-${tray.index}`,
      box: tray.box,
      pinned: false,
      mark: tray.mark,
      text: contentsOf(drawer, tray.index) || tray.name,
      height: tray.height,
      tray: tray.tray,
      things: things(tray.index),
      moved: plan.moved[d]?.has(String(tray.index)) ?? false,
      index: tray.index,
    });
  }
  return shown;
}

/** @param {Box} a @param {Box} b */
export const same = (a, b) => a.x === b.x && a.y === b.y && a.w === b.w && a.d === b.d;

/** Whether a tray stands in a box. @param {FixedTray} entry @param {Box} box */
export const standsIn = (entry, box) => same(boxOf(entry.tray.at, entry.tray.cells), box);

/** The boxes of the trays that are shown under these keys. @param {Standing[]} trays @param {string[]} keys */
export const boxesOf = (trays, keys) => trays.filter((tray) => keys.includes(tray.key)).map((tray) => tray.box);

/** @param {number} d */
export function floor(d) {
  const plan = latest.value;
  const drawer = drawerPlan(d);
  if (!plan || !drawer) return floorOf([]);
  return floorOf([
    ...drawer.spaces.map((space) => boxOf(space.at, space.cells)),
    ...plannedTrays(plan.document, drawer).map((tray) => boxOf(tray.at, tray.cells)),
  ]);
}
