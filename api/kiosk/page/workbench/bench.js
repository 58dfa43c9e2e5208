// The workbench's state: which tray is selected, and what is proposed while it is moved.

import { signal } from "@preact/signals";

import { changed, draft } from "../draft/draft.js";
import { announce } from "../elements/dom.js";
import { t } from "../language/messages.js";
import { fresh, latest } from "../plan/plan.js";
import { heldIn, plannedTrays } from "../plan/planned_trays.js";
import { freePlace, judge, snapped } from "./cells.js";
import { moveThing } from "./inside/compartments.js";
import { boxesOf, drawerPlan, floor, same, standing, standsIn, step } from "./standing_trays.js";
import { carried, fixTrays, movedTo, ownTray, resized, turned } from "./trays.js";

/** @typedef {import("./cells.js").Box} Box */
/** @typedef {import("./cells.js").Verdict} Verdict */
/** @typedef {import("./standing_trays.js").Standing} Standing */
/** @typedef {import("../draft/draft_format.js").FixedTray} FixedTray */
/** @typedef {import("../draft/draft_format.js").HeldThing} HeldThing */
/** @typedef {{d: number, key: string, from: Box | null, box: Box, verdict: Verdict, how: "pointer" | "keys" | "size" | "sweep"}} Proposal */

/** Height of a tray of one's own in a drawer without trays, as a share of the drawer's. */
const HEIGHT_SHARE = 0.6;

/** @type {import("@preact/signals").Signal<{d: number, key: string} | null>} */
export const selected = signal(null);

/** @type {import("@preact/signals").Signal<Proposal | null>} */
export const proposal = signal(null);

/** Key of the thing whose trays are lit. @type {import("@preact/signals").Signal<string | null>} */
export const litThing = signal(null);

/**
 * Propose another box for a tray, or a new tray.
 * @param {number} d
 * @param {string} key
 * @param {Box} box its position may be fractional
 * @param {Proposal["how"]} how
 */
export function propose(d, key, box, how) {
  const trays = standing(d);
  const from = trays.find((tray) => tray.key === key)?.box ?? null;
  const ground = floor(d);
  const at = snapped(ground, box, step());
  const now = proposal.value;
  if (now && now.key === key && now.d === d && same(now.box, at)) return now;
  const others = trays.filter((tray) => tray.key !== key);
  const verdict = judge(ground, others, at, how === "size" ? null : from);
  proposal.value = { d, key, from, box: at, verdict, how };
  return proposal.value;
}

/** Say where the proposal is and what it would do. */
export function sayProposal() {
  const now = proposal.value;
  if (!now) return;
  const { box, d, verdict } = now;
  const other = verdict.kind === "swap" ? standing(d).find((tray) => tray.key === verdict.other)?.text : "";
  announce(`${t("place", { column: box.x / 2 + 1, row: box.y / 2 + 1 })}: ${verdictText(verdict, other)}`);
}

/** @param {Verdict} verdict @param {string} [other] */
export function verdictText(verdict, other = "") {
  if (verdict.kind === "swap") return t("verdict_swap", { name: other });
  if (verdict.kind === "room") return t("verdict_room", { count: verdict.others.length });
  return verdict.kind === "free" ? t("verdict_free") : t(`verdict_${verdict.why}`);
}

export function cancel() {
  proposal.value = null;
}

/**
 * Give all trays of a drawer places of their own, and return that which is shown under a key.
 * @param {number} d
 * @param {string} key
 */
function fix(d, key) {
  const plan = latest.value;
  const drawer = draft.drawers[d];
  const box = standing(d).find((tray) => tray.key === key)?.box;
  const document = drawerPlan(d);
  if (!plan || !drawer || !document || !box) return undefined;
  const keys = new Set(draft.things.map((thing) => thing.key));
  if (fresh.value || !drawer.trays.length) drawer.trays = fixTrays(drawer.trays, plan.document, document, plan.keys);
  drawer.trays = drawer.trays.map((entry) => ({ ...entry, hold: entry.hold.filter((held) => keys.has(held.thing)) }));
  return drawer.trays.find((entry) => standsIn(entry, box));
}

/**
 * Change a tray; afterwards it is selected, pinned or not as the change says.
 * @param {number} d
 * @param {string} key
 * @param {(entry: FixedTray) => FixedTray} change
 */
export function edit(d, key, change) {
  const entry = fix(d, key);
  const drawer = draft.drawers[d];
  if (!entry || !drawer) return;
  drawer.trays = carried(drawer.trays.map((other) => (other === entry ? change(entry) : other)));
  selected.value = { d, key: entry.key };
  changed("trays");
}

/**
 * Return what the compartments of a tray hold, and the sides of what lies there, mm.
 * @param {number} d
 * @param {string} key
 * @returns {{hold: HeldThing[], sizes: {x: number[], y: number[]}}}
 */
export function insideOf(d, key) {
  const plan = latest.value;
  const drawer = drawerPlan(d);
  const shown = standing(d).find((tray) => tray.key === key);
  if (!plan || !drawer || !shown) return { hold: [], sizes: { x: [], y: [] } };
  const contents = drawer.contents.filter((content) => content.placement === shown.index);
  const planned = plannedTrays(plan.document, drawer).find((tray) => tray.index === shown.index);
  const hold = draft.drawers[d]?.trays.find((entry) => entry.key === key)?.hold ?? (planned ? heldIn(drawer, planned, plan.keys) : []);
  return { hold, sizes: { x: contents.map((content) => content.size[0]), y: contents.map((content) => content.size[1]) } };
}

/**
 * Put a thing of one compartment into another, of the same tray or another one of the drawer.
 * @param {number} d
 * @param {{key: string, thing: string, compartment: [number, number]}} from
 * @param {{key: string, compartment: [number, number]}} to
 */
export function moveHeld(d, from, to) {
  const drawer = draft.drawers[d];
  const box = standing(d).find((tray) => tray.key === to.key)?.box; // its key changes as it gets a place of its own
  const source = fix(d, from.key);
  const target = box && drawer?.trays.find((entry) => standsIn(entry, box));
  if (!source || !target || !drawer) return;
  drawer.trays = moveThing(drawer.trays, { ...from, key: source.key }, { ...to, key: target.key });
  selected.value = { d, key: source.key };
  announce(t("thing_moved", { name: draft.things.find((thing) => thing.key === from.thing)?.name ?? "" }));
  changed("trays");
}

/** Do what is proposed, if it can be done. */
export function accept() {
  const now = proposal.value;
  proposal.value = null;
  if (!now) return;
  const { d, key, from, box, verdict } = now;
  const drawer = draft.drawers[d];
  if (!drawer || (from && same(from, box))) return;
  const trays = standing(d);
  if (verdict.kind === "blocked") {
    announce(verdictText(verdict));
    return;
  }
  const freed = verdict.kind === "room" ? boxesOf(trays, verdict.others) : [];
  const swapped = verdict.kind === "swap" ? boxesOf(trays, [verdict.other])[0] : undefined;
  if (from) {
    const entry = fix(d, key);
    if (!entry) return;
    const size = [box.w / 2, box.d / 2];
    const pitch = drawerPlan(d)?.pitch ?? 1;
    const change = (/** @type {FixedTray} */ other) => {
      if (other === entry) return movedTo(now.how === "size" ? resized(entry, [size[0] ?? 1, size[1] ?? 1], pitch) : entry, box);
      return swapped && standsIn(other, swapped) ? { ...movedTo(other, from), pinned: other.pinned } : other;
    };
    const kept = drawer.trays.filter((other) => other === entry || !freed.some((gone) => standsIn(other, gone)));
    drawer.trays = carried(kept.map(change));
    selected.value = { d, key: entry.key };
  } else {
    add(d, box);
    drawer.trays = drawer.trays.filter((other) => other.key === selected.value?.key || !freed.some((gone) => standsIn(other, gone)));
  }
  announce(verdictText(verdict));
  changed("trays");
}

/**
 * Add a tray of one's own to those of a drawer; it is as high as most of them.
 * @param {number} d
 * @param {Box} box
 */
function add(d, box) {
  const drawer = draft.drawers[d];
  const trays = standing(d);
  if (!drawer) return;
  if (trays[0]) fix(d, trays[0].key);
  const heights = trays.map((tray) => tray.height).sort((a, b) => a - b);
  const height = heights[Math.floor(heights.length / 2)] ?? Math.max(5, Math.floor((drawerPlan(d)?.size[2] ?? 50) * HEIGHT_SHARE));
  const entry = ownTray(drawer.trays, box, height, t("own_tray"));
  drawer.trays = [...drawer.trays, entry];
  selected.value = { d, key: entry.key };
}

/** Add a tray of one cell at the first free place. @param {number} d */
export function addTray(d) {
  const place = freePlace(floor(d), standing(d), { w: 2, d: 2 }, 2);
  if (!place) {
    announce(t("no_free_cell"));
    return;
  }
  add(d, place);
  announce(t("tray_added"));
  changed("trays");
}

/** @param {number} d @param {string} key */
export function turn(d, key) {
  const shown = standing(d).find((tray) => tray.key === key);
  if (!shown) return;
  const box = { ...shown.box, w: shown.box.d, d: shown.box.w };
  const verdict = judge(floor(d), standing(d).filter((tray) => tray.key !== key), box, null);
  if (verdict.kind === "blocked") {
    announce(verdictText(verdict));
    return;
  }
  release(d, verdict, key);
  edit(d, key, turned);
  announce(t("tray_turned"));
}

/** @param {number} d @param {string} key @param {number} w in half cells @param {number} deep in half cells */
export function resize(d, key, w, deep) {
  const shown = standing(d).find((tray) => tray.key === key);
  if (!shown || w < step() || deep < step()) return;
  propose(d, key, { ...shown.box, w, d: deep }, "size");
  accept();
}

/** @param {number} d @param {string} key */
export function togglePin(d, key) {
  edit(d, key, (entry) => ({ ...entry, pinned: !entry.pinned }));
  const drawer = draft.drawers[d];
  announce(t(drawer?.trays.find((entry) => entry.key === selected.value?.key)?.pinned ? "tray_pinned" : "tray_unpinned"));
}

/** @param {number} d @param {string} key */
export function remove(d, key) {
  const entry = fix(d, key);
  const drawer = draft.drawers[d];
  if (!entry || !drawer) return;
  drawer.trays = drawer.trays.filter((other) => other !== entry);
  selected.value = null;
  announce(t("tray_removed"));
  changed("trays");
}

/** Take the trays that a verdict names out of those with places. @param {number} d @param {Verdict} verdict @param {string} key */
function release(d, verdict, key) {
  if (verdict.kind !== "room") return;
  const boxes = boxesOf(standing(d), verdict.others);
  fix(d, key);
  const drawer = draft.drawers[d];
  if (drawer) drawer.trays = drawer.trays.filter((entry) => !boxes.some((box) => standsIn(entry, box)));
}

/** Whether trays have places that a new layout would not keep. */
export const hasLoose = () => draft.drawers.some((drawer) => drawer.trays.some((entry) => !entry.pinned));

/** Let the service lay out all trays but those that are pinned. */
export function layOut() {
  for (const drawer of draft.drawers) drawer.trays = drawer.trays.filter((entry) => entry.pinned);
  selected.value = null;
  changed("trays");
}
