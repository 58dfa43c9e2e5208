// Groups on the plan, as on the map: the group of each thing, the tint of each group, the group of a tray.

/** @typedef {import("../draft/draft_format.js").Thing} Thing */

/** Tints that the style sheet has: those of the map (worker/output/drawings/group_tints.py). */
const TINTS = 7;

/**
 * Return the groups of things by their keys: the group that was given, or the category of a standard item. A name in
 * several spellings is one group, by the first of them.
 * @param {Thing[]} things
 * @param {Map<string, string>} categories by the ids of standard items
 * @returns {Map<string, string>}
 */
export function groupsOf(things, categories) {
  /** @type {Map<string, string>} */
  const groups = new Map();
  /** @type {Map<string, string>} */
  const spellings = new Map();
  for (const thing of things) {
    const group = thing.group.trim() || (thing.kind === "standard" ? categories.get(thing.id) : undefined);
    if (!group) continue;
    const name = group.toLowerCase();
    if (!spellings.has(name)) spellings.set(name, group);
    groups.set(thing.key, spellings.get(name) ?? group);
  }
  return groups;
}

/**
 * Return the number of the tint of each group: none for a single group, and none from the eighth on.
 * @param {Map<string, string>} groups of things
 * @returns {Map<string, number>}
 */
export function tintsOf(groups) {
  const names = [...new Set(groups.values())];
  return new Map(names.length > 1 ? names.slice(0, TINTS).map((name, n) => [name, n]) : []);
}

/**
 * Return the tint of each tray of a drawer by the index of its placement, as far as it has one.
 * @param {import("../documents").DrawerPlan} drawer
 * @param {Map<string, string>} groups of things by their names
 * @param {Map<string, number>} tints of groups
 * @returns {Map<number, number>}
 */
export function trayTints(drawer, groups, tints) {
  /** @type {Map<number, number>} */
  const made = new Map();
  drawer.placements.forEach((_, index) => {
    const group = groupOf(drawer.contents.filter((content) => content.placement === index).map((content) => content.item), groups);
    const tint = group === undefined ? undefined : tints.get(group);
    if (tint !== undefined) made.set(index, tint);
  });
  return made;
}

/**
 * Return the group of most of the things in a tray, the first of several.
 * @param {string[]} things by their keys
 * @param {Map<string, string>} groups
 * @returns {string | undefined}
 */
export function groupOf(things, groups) {
  /** @type {Map<string, number>} */
  const counts = new Map();
  for (const key of things) {
    const group = groups.get(key);
    if (group) counts.set(group, (counts.get(group) ?? 0) + 1);
  }
  return [...counts].reduce((/** @type {[string, number] | undefined} */ best, entry) => (best && best[1] >= entry[1] ? best : entry), undefined)?.[0];
}
