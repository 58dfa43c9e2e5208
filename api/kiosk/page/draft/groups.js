// Which kinds of things are kept together and which apart: groups of things, and what stands beside what. Data in, data out.

/** @typedef {import("./draft_format.js").Thing} Thing */

/** Most letters of a group's name. */
const LONGEST = 60;

/**
 * Return the things with some of them in one group: that of the first that has one, else a new one with their names.
 * @param {Thing[]} things
 * @param {string[]} keys
 */
export function together(things, keys) {
  const chosen = things.filter((thing) => keys.includes(thing.key));
  const group = chosen.find((thing) => thing.group.trim())?.group ?? freeName(things, chosen.map((thing) => thing.name).join(", "));
  return things.map((thing) => (keys.includes(thing.key) ? { ...thing, group } : thing));
}

/**
 * Return the things with each of some in a group of its own.
 * @param {Thing[]} things
 * @param {string[]} keys
 */
export function apart(things, keys) {
  let made = things.map((thing) => (keys.includes(thing.key) ? { ...thing, group: "" } : thing));
  for (const key of keys) made = made.map((thing) => (thing.key === key ? { ...thing, group: freeName(made, thing.name) } : thing));
  return made;
}

/**
 * Return the things with the second of two beside the first.
 * @param {Thing[]} things
 * @param {string[]} keys
 */
export function beside(things, [first = "", second = ""]) {
  return things.map((thing) => {
    if (thing.key === second) return { ...thing, near: first };
    return thing.key === first && thing.near === second ? { ...thing, near: "" } : thing;
  });
}

/**
 * Return the things with some in no group and beside nothing.
 * @param {Thing[]} things
 * @param {string[]} keys
 */
export const loose = (things, keys) => things.map((thing) => (keys.includes(thing.key) ? { ...thing, group: "", near: "" } : thing));

/** @param {Thing[]} things @param {string} like */
function freeName(things, like) {
  const name = like.slice(0, LONGEST);
  const taken = new Set(things.map((thing) => thing.group));
  let number = 2;
  while (taken.has(`${name} ${number}`)) number += 1;
  return taken.has(name) ? `${name} ${number}` : name;
}
