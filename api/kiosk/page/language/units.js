// Lengths as people write them, in mm or inches.

import { decimalText } from "./numbers.js";

const INCH = 25.4;
const PLAIN = /^\s*(?:(\d+)\s+(\d+)\/(\d+)|(\d+)\/(\d+)|(\d*[.,]?\d+|\d+[.,]?))\s*$/;

/** @typedef {"mm" | "in"} Unit */

/** @type {Unit} */
let unit = "mm";

export const unitNow = () => unit;

/** @param {string} next */
export function setUnit(next) {
  unit = next === "in" ? "in" : "mm";
}

/**
 * Parse a number without a unit, or return null: 310, 12.2, 12,2, 16 1/4, 3/8.
 * @param {string} text
 * @returns {number | null}
 */
export function plain(text) {
  const match = PLAIN.exec(text);
  if (!match) return null;
  const [, whole, above, below, over, under, decimal] = match;
  if (decimal !== undefined) return Number(decimal.replace(",", "."));
  return whole === undefined ? Number(over) / Number(under) : Number(whole) + Number(above) / Number(below);
}

/**
 * Convert a text to a length of the spec: a number of mm, or a text with its unit. The service rejects the rest.
 * @param {string} text
 * @returns {number | string}
 */
export function length(text) {
  const trimmed = text.trim();
  const number = plain(trimmed);
  if (number === null || !Number.isFinite(number)) return trimmed;
  return unit === "mm" ? number : `${trimmed.replace(",", ".")} in`;
}

/**
 * Convert a number without a unit to the other unit; a text with a unit stays as it is.
 * @param {string} text
 * @param {Unit} to
 */
export function convert(text, to) {
  const number = plain(text);
  if (number === null || !Number.isFinite(number) || to === unit) return text;
  const made = to === "in" ? number / INCH : number * INCH;
  return String(Number(made.toFixed(to === "in" ? 3 : 1)));
}

/**
 * Format mm in the selected unit as the text of a field, without the unit.
 * @param {number} mm
 */
export const typed = (mm) => String(Number((unit === "in" ? mm / INCH : mm).toFixed(unit === "in" ? 3 : 1)));

/**
 * Format mm in the selected unit.
 * @param {number} mm
 */
export function shown(mm) {
  return unit === "mm" ? `${decimalText(mm, 1)} mm` : `${decimalText(mm / INCH, 2)} in`;
}
