// Shapes that people know a thing by, and how it is handled: pose, nesting, softness. No access to the page.

import { length, plain } from "../language/units.js";

/** @typedef {import("./draft_format.js").Thing} Thing */
/** @typedef {Pick<Thing, "pose" | "nest" | "soft" | "rods">} Handling */

/** Fields of shapes other than boxes, in the order of a thing's sizes. @type {Record<string, string[]>} */
export const SHAPE_FIELDS = {
  cylinder: ["diameter", "length"],
  tapered: ["diameter", "end_diameter", "length"],
  bundle: ["diameter", "length"],
  coil: ["cable", "length", "diameter"],
};

/** Messages that name the sizes of each kind. @type {Record<string, string[]>} */
export const SIZE_NAMES = {
  box: ["long", "wide", "high"],
  cylinder: ["across", "long"],
  tapered: ["thick_end", "thin_end", "long"],
  bundle: ["rod_diameter", "long"],
  coil: ["cable_diameter", "cable_length", "coil_diameter"],
  outline: ["long", "wide", "high"],
  standard: ["under_head"],
};

/** Poses that a thing may be kept in; "" leaves it to the service. */
export const POSES = ["", "as_given", "flat", "on_edge", "upright", "any"];

/** The share of its room in percent that a soft thing fills unless another is given, as in the service. */
export const FILL = "80";

/** The last part of the JSON Pointer of a size. @param {string} kind @param {number} n */
export const sizePointer = (kind, n) => (kind === "box" ? `/shape/size/${n}` : `/shape/${SHAPE_FIELDS[kind]?.[n] ?? "length"}`);

/** A number without a unit, or the text as it is: the service says what is wrong with it. @param {string} text */
const bare = (text) => plain(text.trim()) ?? text.trim();

/**
 * The shape of a thing that is neither a box nor a standard one, as a spec has it.
 * @param {Thing} thing
 */
export function roundShape(thing) {
  const sizes = thing.sizes.map(length);
  const fields = Object.fromEntries((SHAPE_FIELDS[thing.kind] ?? []).map((name, n) => [name, sizes[n]]));
  return { kind: thing.kind, ...fields, ...(thing.kind === "bundle" ? { rods: bare(thing.rods ?? "") } : {}) };
}

/**
 * Pose, nesting step and softness of a thing as a spec has them.
 * @param {Thing} thing
 */
export function handlingSpec({ pose, nest, soft }) {
  const fill = soft && bare(soft.fill);
  return {
    ...(pose ? { pose } : {}),
    ...(nest?.trim() ? { nest: length(nest) } : {}),
    ...(soft ? { soft: { fill: typeof fill === "number" ? fill / 100 : fill, ...(soft.height.trim() ? { height: length(soft.height) } : {}) } } : {}),
  };
}

/** @param {unknown} value */
const text = (value) => (typeof value === "string" || typeof value === "number" ? String(value) : "");

/**
 * Handling of an item of a spec as a draft has it.
 * @param {Record<string, any>} item
 * @returns {Handling}
 */
export function handlingOf(item) {
  const { fill, height } = item.soft ?? {};
  return readHandling({
    pose: item.pose,
    nest: item.nest,
    soft: item.soft ? { fill: typeof fill === "number" ? Number((fill * 100).toFixed(1)) : FILL, height } : null,
    rods: item.shape?.rods,
  });
}

/**
 * Handling of a stored thing; what is of another type is left out.
 * @param {Record<string, any>} entry
 * @returns {Handling}
 */
export function readHandling({ pose, nest, soft, rods }) {
  return {
    ...(POSES.includes(pose) && pose ? { pose } : {}),
    ...(text(nest) ? { nest: text(nest) } : {}),
    ...(typeof soft === "object" && soft !== null && !Array.isArray(soft) ? { soft: { fill: text(soft.fill) || FILL, height: text(soft.height) } } : {}),
    ...(text(rods) ? { rods: text(rods) } : {}),
  };
}

/**
 * Handling with its lengths turned into another unit.
 * @param {Handling} thing
 * @param {(text: string) => string} turn
 * @returns {Handling}
 */
export const turnedHandling = ({ nest, soft }, turn) => ({
  ...(nest ? { nest: turn(nest) } : {}),
  ...(soft ? { soft: { ...soft, height: turn(soft.height) } } : {}),
});
