// The plan: requested shortly after each change of the draft, and again until the service answers. After a small change
// the answer continues the plan that is shown, which takes the service a fifth of the time; once no change has followed
// for a while a plan made from nothing is requested, and offered if it is worth more. The same request has the same
// answer, so a job of the request whose plan is shown makes just that plan.

import { computed, signal } from "@preact/signals";

import { bedGiven, draft, ready, revision } from "../draft/draft.js";
import { t } from "../language/messages.js";
import { previousManifest } from "./previous.js";
import { clear, showProblems } from "../elements/problems.js";
import { ConnectionLost, faults, messageOf, requestJson, RequestRefused } from "../service/service.js";
import { specOf } from "../draft/spec_of.js";
import { continues, worthMore } from "./continuation.js";
import { difference, figuresOf } from "./figures.js";
import { PlanMemory } from "./plan_memory.js";
import { contentsOf, movedTrays, plannedTrays } from "./planned_trays.js";

/** @typedef {import("../documents").Plan} Plan */
/** @typedef {import("./figures.js").Figures} Figures */
/** @typedef {import("./plan_memory.js").Made} Made */
/** @typedef {Record<string, any>} Spec */
/**
 * @typedef {Made & {keys: string[], revision: number, moved: Set<string>[]}} Latest
 * `keys` are those of the things in the order of the plan's items; `moved` are the indices of trays, drawer by drawer,
 * whose things lay elsewhere in the plan before.
 */
/** @typedef {Made & {former: boolean}} Offer another plan of the same draft; a `former` one was shown before */

const PAUSE = 250;
const PAUSE_CONTINUED = 40;
const PAUSE_SECOND = 1200;
const RETRY = 1000;
const LONGEST = 8000;

/** The plan that is shown. @type {import("@preact/signals").Signal<Latest | null>} */
export const latest = signal(null);

/** Another plan that could be shown instead. @type {import("@preact/signals").Signal<Offer | null>} */
export const offer = signal(null);

/** What became of a longer search; "" before one. @type {import("@preact/signals").Signal<string>} */
export const longer = signal("");

/** Why there is no plan of the draft as it is now, or "ready". @type {import("@preact/signals").Signal<"measure" | "bed" | "planning" | "ready" | "refused" | "lost">} */
export const state = signal("measure");

export const busy = signal(false);

/** Whether the plan that is shown is that of the draft as it is now. */
export const fresh = computed(() => latest.value?.revision === revision.value);

/** @type {import("@preact/signals").Signal<{now: Figures, change: Figures} | null>} */
export const figures = signal(null);

const memory = new PlanMemory();

/** Figures before the last change. @type {Figures | null} */
let base = null;

/** The spec of the plan that is shown. @type {Spec | null} */
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

/** Stop what is asked for or will be, and take back what is offered. */
function stop() {
  holdPlan();
  window.clearTimeout(timer);
  pending?.abort();
  offer.value = null;
  longer.value = "";
}

/** Look for no other plan than the one that is shown. */
export function holdPlan() {
  window.clearTimeout(second);
  if (fresh.value) pending?.abort();
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

/** The key of a plan: all that it follows from. @param {Spec} spec */
const keyOf = (spec) => JSON.stringify([spec, draft.previous?.job ?? null]);

/**
 * A request for a plan, or for the job that makes it.
 * @param {Spec} spec
 * @param {object | null} previous
 * @param {"quick" | "normal"} effort
 */
const bodyOf = (spec, previous, effort) => ({ ...spec, layout: { ...spec.layout, effort }, ...(previous ? { previous } : {}) });

/** @param {Spec} body @param {AbortSignal} aborted @returns {Promise<Plan>} */
const requestPlan = (body, aborted) => requestJson("POST", "v1/plans", { body, signal: aborted });

/**
 * Request the plan of the draft as it is now.
 * @returns {Promise<Plan | null>} null if there is none, or the draft has changed meanwhile
 */
export async function planNow() {
  stop();
  if (!ready()) return withhold("measure");
  if (!bedGiven()) return withhold("bed");
  const { spec, where } = specOf(draft);
  const now = revision.value;
  const controller = new AbortController();
  pending = controller;
  busy.value = true;
  if (state.value === "measure" || state.value === "bed") state.value = "planning";
  try {
    const made = memory.get(keyOf(spec)) ?? await madeFor(spec, controller.signal);
    wait = RETRY;
    clear();
    planned = spec;
    accept(made, spec, now);
    if (made.continued) second = window.setTimeout(() => lookFurther("quick"), PAUSE_SECOND);
    return made.document;
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
 * Return a plan of a spec: one that continues the plan on show, if the change was small.
 * @param {Spec} spec
 * @param {AbortSignal} aborted
 * @returns {Promise<Made>}
 */
async function madeFor(spec, aborted) {
  const printed = await previousManifest(aborted);
  const shown = latest.value?.document;
  const continued = !printed && shown && planned && continues(planned, spec) ? shown : null;
  const body = bodyOf(spec, printed ?? continued, "quick");
  const document = await requestPlan(body, aborted);
  if (continued) document.changes = null; // nothing of it is printed
  return { document, body, continued: continued !== null };
}

/**
 * Request another plan of the draft, made from nothing, and offer it if it is worth more than the one on show.
 * @param {"quick" | "normal"} effort
 * @returns {Promise<boolean>} whether it is offered
 */
async function lookFurther(effort) {
  const controller = new AbortController();
  pending = controller;
  const { spec } = specOf(draft);
  try {
    const body = bodyOf(spec, await previousManifest(controller.signal), effort);
    const document = await requestPlan(body, controller.signal);
    const shown = latest.value;
    if (controller.signal.aborted || !shown || !fresh.value || !worthMore(document, shown.document)) return false;
    offer.value = { document, body, continued: false, former: false };
    return true;
  } catch (error) {
    const expected = error instanceof RequestRefused || error instanceof ConnectionLost || (error instanceof Error && error.name === "AbortError");
    if (!expected) throw error;
    if (effort === "normal" && !controller.signal.aborted) throw error;
    return false;
  }
}

/** Search as long as a job would on its own, and offer what is found. */
export async function searchLonger() {
  holdPlan();
  const now = revision.value;
  longer.value = t("search_runs");
  try {
    const better = await lookFurther("normal");
    if (now === revision.value) longer.value = better ? "" : t("search_done");
  } catch (error) {
    if (now === revision.value) longer.value = messageOf(error);
  }
}

/** Show the plan that is offered, and offer the one that was shown. */
export function takeOffer() {
  const [next, shown] = [offer.value, latest.value];
  if (!next || !shown || !fresh.value) return;
  accept(next, specOf(draft).spec, shown.revision);
  offer.value = { document: shown.document, body: shown.body, continued: shown.continued, former: true };
}

/** Show a plan of a spec, which is that of the draft at a revision. @param {Made} made @param {Spec} spec @param {number} at */
function accept({ document, body, continued }, spec, at) {
  const before = latest.value;
  const moved = document.drawers.map((drawer, d) => {
    const old = before?.document.drawers[d];
    return before && old && old.name === drawer.name ? movedTrays(lots(before.document, old), lots(document, drawer)) : new Set();
  });
  const now = figuresOf(document);
  if (!before || before.revision !== at) base = figures.value?.now ?? null;
  memory.add(keyOf(spec), { document, body, continued });
  figures.value = { now, change: difference(base, now) };
  latest.value = { document, body, continued, keys: draft.things.map((thing) => thing.key), revision: at, moved };
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

/** What is missing before there can be a plan, in words. */
export const hint = () => t({ measure: "plan_waits", bed: "bed_ask", planning: "planning", refused: "plan_refused", lost: "lost", ready: "plan" }[state.value]);
