// The plan: requested shortly after each change of the draft, and again until the service answers. After a small change
// the first answer continues the plan that is shown, which takes the service a fifth of the time; once no change has
// followed for a while a plan made from nothing is requested, and shown if it is worth more.

import { computed, signal } from "@preact/signals";

import { bedGiven, draft, ready, revision } from "../draft/draft.js";
import { t } from "../language/messages.js";
import { previousManifest } from "./previous.js";
import { clear, showProblems } from "../elements/problems.js";
import { ConnectionLost, faults, requestJson, RequestRefused } from "../service/service.js";
import { specOf } from "../draft/spec_of.js";
import { continues, worthMore } from "./continuation.js";
import { difference, figuresOf } from "./figures.js";
import { movedTrays, plannedTrays } from "../workbench/trays.js";

/** @typedef {import("../documents").Plan} Plan */
/** @typedef {import("./figures.js").Figures} Figures */
/**
 * @typedef {{document: Plan, keys: string[], revision: number, moved: Set<string>[]}} Latest
 * `keys` are those of the things in the order of the plan's items; `moved` are the indices of trays, drawer by drawer,
 * whose things lay elsewhere in the plan before.
 */

const PAUSE = 250;
const PAUSE_CONTINUED = 40;
const PAUSE_SECOND = 1200;
const RETRY = 1000;
const LONGEST = 8000;

/** The plan that is shown. @type {import("@preact/signals").Signal<Latest | null>} */
export const latest = signal(null);

/** Why there is no plan of the draft as it is now, or "ready". @type {import("@preact/signals").Signal<"measure" | "bed" | "planning" | "ready" | "refused" | "lost">} */
export const state = signal("measure");

export const busy = signal(false);

/** Whether the plan that is shown is that of the draft as it is now. */
export const fresh = computed(() => latest.value?.revision === revision.value);

/** @type {import("@preact/signals").Signal<{now: Figures, change: Figures} | null>} */
export const figures = signal(null);

/** Figures before the last change. @type {Figures | null} */
let base = null;

/** The spec of the plan that is shown. @type {Record<string, any> | null} */
let planned = null;

let timer = 0;
let second = 0;
let wait = RETRY;
/** @type {AbortController | null} */
let pending = null;

/** Request a plan shortly after the last change. */
export function planSoon() {
  stop();
  timer = window.setTimeout(planNow, latest.value ? PAUSE_CONTINUED : PAUSE);
}

/** Stop what is asked for or will be. */
function stop() {
  window.clearTimeout(timer);
  window.clearTimeout(second);
  pending?.abort();
}

window.addEventListener("online", () => { if (state.value === "lost") planNow(); });

/** @param {"measure" | "bed"} missing */
function withhold(missing) {
  latest.value = null;
  figures.value = null;
  state.value = missing;
  clear();
  return null;
}

/**
 * Request the plan of the draft as it is now.
 * @returns {Promise<Plan | null>} null if there is none, or the draft has changed meanwhile
 */
export async function planNow() {
  stop();
  if (!ready()) return withhold("measure");
  if (!bedGiven()) return withhold("bed");
  const { spec, where } = specOf(draft);
  const keys = draft.things.map((thing) => thing.key);
  const now = revision.value;
  const controller = new AbortController();
  pending = controller;
  busy.value = true;
  if (state.value === "measure" || state.value === "bed") state.value = "planning";
  try {
    const printed = await previousManifest(controller.signal);
    const shown = latest.value?.document;
    const continued = !printed && shown && planned && continues(planned, spec) ? shown : null;
    const previous = printed ?? continued;
    /** @type {Plan} */
    const document = await requestJson("POST", "v1/plans", { body: previous ? { ...spec, previous } : spec, signal: controller.signal });
    wait = RETRY;
    clear();
    if (continued) document.changes = null; // nothing of it is printed
    planned = spec;
    accept({ document, keys, revision: now, moved: [] });
    if (continued) second = window.setTimeout(() => planFromNothing(spec, keys, now), PAUSE_SECOND);
    return document;
  } catch (error) {
    if (error instanceof Error && error.name === "AbortError") return null;
    if (error instanceof RequestRefused) {
      state.value = "refused";
      showProblems(faults(error.problem), where);
    } else if (error instanceof ConnectionLost) {
      state.value = "lost";
      timer = window.setTimeout(planNow, wait);
      wait = Math.min(LONGEST, wait * 2);
    } else throw error;
    return null;
  } finally {
    if (pending === controller) busy.value = false;
  }
}

/**
 * Request a plan made from nothing, and show it if it is worth more than the one that continued the plan before: things
 * that are entered one by one are not laid out one by one.
 * @param {Record<string, any>} spec
 * @param {string[]} keys
 * @param {number} now the revision of the draft that both are of
 */
async function planFromNothing(spec, keys, now) {
  const controller = new AbortController();
  pending = controller;
  try {
    /** @type {Plan} */
    const document = await requestJson("POST", "v1/plans", { body: spec, signal: controller.signal });
    const shown = latest.value;
    if (shown && shown.revision === now && revision.value === now && worthMore(document, shown.document)) accept({ document, keys, revision: now, moved: [] });
  } catch (error) {
    const expected = error instanceof RequestRefused || error instanceof ConnectionLost || (error instanceof Error && error.name === "AbortError");
    if (!expected) throw error;
  }
}

/** @param {Latest} next */
function accept(next) {
  const before = latest.value;
  next.moved = next.document.drawers.map((drawer, d) => {
    const old = before?.document.drawers[d];
    return before && old && old.name === drawer.name ? movedTrays(lots(before.document, old), lots(next.document, drawer)) : new Set();
  });
  const now = figuresOf(next.document);
  if (!before || before.revision !== next.revision) base = figures.value?.now ?? null;
  figures.value = { now, change: difference(base, now) };
  latest.value = next;
  state.value = "ready";
}

/**
 * What the trays of a drawer hold, and where they stand.
 * @param {Plan} plan
 * @param {import("../documents").DrawerPlan} drawer
 */
const lots = (plan, drawer) => plannedTrays(plan, drawer).map((tray) => ({
  key: String(tray.index),
  at: tray.at,
  hold: contentsOf(drawer, tray.index),
}));

/**
 * What a tray holds, in words.
 * @param {import("../documents").DrawerPlan} drawer
 * @param {number} index of its placement
 */
export const contentsOf = (drawer, index) => drawer.contents
  .filter((content) => content.placement === index).map((content) => `${content.count} × ${content.item}`).join(", ");

/** What is missing before there can be a plan, in words. */
export const hint = () => t({ measure: "plan_waits", bed: "bed_ask", planning: "planning", refused: "plan_refused", lost: "lost", ready: "plan" }[state.value]);
