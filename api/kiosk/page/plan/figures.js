// What a plan costs, and how that differs from before the last change. Numbers only.

/** @typedef {import("../documents").Plan} Plan */
/** @typedef {{seconds: number | null, grams: number | null, cost: number | null, runs: number, pieces: number}} Figures */

/**
 * @param {Plan} plan
 * @returns {Figures}
 */
export function figuresOf(plan) {
  const { work } = plan;
  return {
    seconds: work?.seconds ?? null,
    grams: work?.grams ?? null,
    cost: work?.cost ?? null,
    runs: work?.runs ?? plan.runs.length,
    pieces: plan.parts.reduce((sum, part) => sum + part.quantity, 0),
  };
}

/**
 * Return the differences of figures that are there in both.
 * @param {Figures | null} before
 * @param {Figures} now
 * @returns {Figures}
 */
export function difference(before, now) {
  const less = (/** @type {"seconds" | "grams" | "cost"} */ key) => {
    const [a, b] = [before?.[key] ?? null, now[key]];
    return a === null || b === null ? null : b - a;
  };
  return {
    seconds: less("seconds"),
    grams: less("grams"),
    cost: less("cost"),
    runs: before ? now.runs - before.runs : 0,
    pieces: before ? now.pieces - before.pieces : 0,
  };
}
