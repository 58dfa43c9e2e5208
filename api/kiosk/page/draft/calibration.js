// What the user's own prints say about the estimates, as `printing.calibration` of the spec has it. Data in, data out.

/** @typedef {{of: "time" | "filament", predicted: number, actual: number}} Calibration seconds, or grams */
/** @typedef {{seconds?: number | null, grams?: number | null}} Amounts */

/** Prints that count; of more the last ones. */
const MOST = 200;

/** @param {number | null | undefined} value @returns {value is number} */
const isAmount = (value) => typeof value === "number" && value > 0;

/**
 * Return what a print says of the estimates.
 * @param {Amounts} estimate of the run
 * @param {{calibrated_time?: number, calibrated_filament?: number}} factors that the estimate has by earlier prints
 * @param {Amounts} measured what was not measured is left out
 * @returns {Calibration[]}
 */
export function calibrationsOf(estimate, factors, measured) {
  /** @type {Calibration[]} */
  const made = [];
  const add = (/** @type {Calibration["of"]} */ of, /** @type {number | null | undefined} */ predicted, /** @type {number} */ factor, /** @type {number | null | undefined} */ actual) => {
    if (isAmount(predicted) && isAmount(actual)) made.push({ of, predicted: predicted / factor, actual });
  };
  add("time", estimate.seconds, factors.calibrated_time ?? 1, measured.seconds);
  add("filament", estimate.grams, factors.calibrated_filament ?? 1, measured.grams);
  return made;
}

/**
 * Return print settings with further calibrations.
 * @param {Record<string, any> | undefined} printing
 * @param {Calibration[]} more
 */
export const withCalibrations = (printing, more) => ({ ...printing, calibration: [...(printing?.calibration ?? []), ...more].slice(-MOST) });

/**
 * Return print settings without one of the calibrations; undefined if nothing is left.
 * @param {Record<string, any> | undefined} printing
 * @param {number} index
 */
export function withoutCalibration(printing, index) {
  const { calibration = [], ...others } = printing ?? {};
  const left = calibration.filter((/** @type {Calibration} */ _, /** @type {number} */ n) => n !== index);
  const made = { ...others, ...(left.length ? { calibration: left } : {}) };
  return Object.keys(made).length ? made : undefined;
}
