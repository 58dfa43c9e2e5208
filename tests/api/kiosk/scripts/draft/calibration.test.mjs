// What the user's own prints say about the estimates.

import assert from "node:assert/strict";
import { test } from "node:test";

import { calibrationsOf, withCalibrations, withoutCalibration } from "../../../../../api/kiosk/page/draft/calibration.js";

test("what was measured stands beside the estimate without the factor of earlier prints", () => {
  const made = calibrationsOf({ seconds: 6600, grams: 38 }, { calibrated_time: 1.1, calibrated_filament: 0.95 }, { seconds: 7200, grams: 42 });
  assert.deepEqual(made.map(({ of, predicted, actual }) => [of, Math.round(predicted), actual]), [["time", 6000, 7200], ["filament", 40, 42]]);
});

test("what was not measured or not estimated is left out", () => {
  assert.deepEqual(calibrationsOf({ seconds: 6000, grams: null }, {}, { seconds: null, grams: 42 }), []);
  assert.deepEqual(calibrationsOf({ seconds: 6000, grams: 40 }, {}, { grams: 42 }), [{ of: "filament", predicted: 40, actual: 42 }]);
});

test("calibrations are added to the settings and taken out of them", () => {
  /** @param {number} actual @returns {import("../../../../../api/kiosk/page/draft/calibration.js").Calibration} */
  const entry = (actual) => ({ of: "time", predicted: 100, actual });
  const one = withCalibrations({ spacing: 3 }, [entry(90)]);
  const two = withCalibrations(one, [entry(110)]);
  assert.deepEqual(two, { spacing: 3, calibration: [entry(90), entry(110)] });
  assert.deepEqual(withoutCalibration(two, 0), { spacing: 3, calibration: [entry(110)] });
  assert.deepEqual(withoutCalibration(one, 0), { spacing: 3 });
  assert.equal(withoutCalibration(withCalibrations(undefined, [entry(90)]), 0), undefined);
  assert.equal(withCalibrations(undefined, Array.from({ length: 205 }, (_, n) => entry(n + 1))).calibration.length, 200);
});
