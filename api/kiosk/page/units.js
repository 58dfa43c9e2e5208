// Lengths as people write them, in millimetres or inches.

const INCH = 25.4;
const PLAIN = /^\s*(?:(\d+)\s+(\d+)\/(\d+)|(\d+)\/(\d+)|(\d*[.,]?\d+|\d+[.,]?))\s*$/;

let unit = "mm";

export const unitNow = () => unit;

export function setUnit(next) {
  unit = next === "in" ? "in" : "mm";
}

/** The number in a text without a unit, or null: 310, 12.2, 12,2, 16 1/4, 3/8. */
export function plain(text) {
  const match = PLAIN.exec(text);
  if (!match) return null;
  const [, whole, above, below, over, under, decimal] = match;
  if (decimal !== undefined) return Number(decimal.replace(",", "."));
  return whole === undefined ? Number(over) / Number(under) : Number(whole) + Number(above) / Number(below);
}

/** A text as a spec has it: a number of mm, or text with its unit. What cannot be read is passed on; the service says why. */
export function length(text) {
  const trimmed = text.trim();
  const number = plain(trimmed);
  if (number === null || !Number.isFinite(number)) return trimmed;
  return unit === "mm" ? number : `${trimmed.replace(",", ".")} in`;
}

/** A text without a unit in the other unit; a text with its own stays. */
export function convert(text, to) {
  const number = plain(text);
  if (number === null || !Number.isFinite(number) || to === unit) return text;
  const made = to === "in" ? number / INCH : number * INCH;
  return String(Number(made.toFixed(to === "in" ? 3 : 1)));
}

/** Millimetres for people. */
export function shown(mm) {
  return unit === "mm" ? `${Number(mm.toFixed(1))} mm` : `${Number((mm / INCH).toFixed(2))} in`;
}
