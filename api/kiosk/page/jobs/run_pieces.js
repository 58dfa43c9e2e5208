// The pieces of a run, by their marks.

/** @typedef {import("../documents").Manifest} Manifest */
/** @typedef {import("../documents").Run} Run */

/** @param {Run["pieces"]} list @returns {Map<string, number>} */
export function counts(list) {
  const sums = new Map();
  for (const piece of list) sums.set(piece.mark, (sums.get(piece.mark) ?? 0) + 1);
  return sums;
}

/** @param {Run["pieces"]} list */
export const pieces = (list) => [...counts(list)].map(([mark, count]) => (count > 1 ? `${count} × ${mark}` : mark)).join(", ");

/** Whether a planned run prints the coupon. @param {number} number @param {Manifest} manifest */
export function hasCoupon(number, manifest) {
  const marks = new Set(manifest.parts.filter((part) => part.kind === "coupon").map((part) => part.mark));
  return manifest.runs.some((run) => run.number === number && run.pieces.some((piece) => marks.has(piece.mark)));
}
