// Plans that continue the last one: when a change is small enough, and whether a plan made from nothing is worth more.

/** @typedef {import("../documents").Plan} Plan */
/** @typedef {Record<string, any>} Spec */

/** Share of the time to print that another layout has to save before it replaces the one on the screen. */
const GAIN = 0.03;

/** Return all of a spec but its things, as text. @param {Spec} spec */
const frame = (spec) => JSON.stringify({ ...spec, items: null, name: null });

/**
 * Return whether the plan of a spec may continue that of another: same drawers and printer, and most things as before.
 * Trays with places of their own take no search, and whoever takes them away wants another layout.
 * @param {Spec} before
 * @param {Spec} now
 */
export function continues(before, now) {
  if (frame(before) !== frame(now) || now.drawers.some((/** @type {Spec} */ drawer) => drawer.trays)) return false;
  const lists = [before, now].map((spec) => /** @type {Spec[]} */ (spec.items ?? []));
  const [old, things] = lists.map((items) => new Set(items.map((item) => JSON.stringify(item))));
  if (!old || !things) return false;
  const same = [...things].filter((item) => old.has(item)).length;
  return 2 * same >= Math.max(old.size, things.size);
}

/**
 * Whether there are things that no tray with a place of its own holds: where they lie is for the service to find.
 * @param {Spec} spec
 */
export function hasLooseThings(spec) {
  const holds = spec.drawers.flatMap((/** @type {Spec} */ drawer) => (drawer.trays ?? []).flatMap((/** @type {Spec} */ tray) => tray.hold ?? []));
  const held = new Set(holds.map((/** @type {Spec} */ hold) => hold.item));
  return (spec.items ?? []).some((/** @type {Spec} */ item) => !held.has(item.name));
}

/** The number of things without a place. @param {Plan} plan */
export const lacking = (plan) => plan.unplaced.reduce((sum, lack) => sum + lack.count, 0);

/**
 * Return whether a plan is clearly worth more than another of the same spec: more things have a place, or as many and
 * printing takes clearly less time.
 * @param {Plan} plan
 * @param {Plan} other
 */
export function worthMore(plan, other) {
  if (lacking(plan) !== lacking(other)) return lacking(plan) < lacking(other);
  const [seconds, before] = [plan.work?.seconds ?? null, other.work?.seconds ?? null];
  return seconds !== null && before !== null && seconds < before * (1 - GAIN);
}
