// The prints by which the estimates are corrected, each of which can be taken out again.

import { withoutCalibration } from "../draft/calibration.js";
import { changed, draft } from "../draft/draft.js";
import { button, find, h } from "../elements/dom.js";
import { t } from "../language/messages.js";
import { duration, gramsText } from "../language/numbers.js";

/** @typedef {import("../draft/calibration.js").Calibration} Calibration */

/** @param {() => void} redraw draws the step again */
export function calibrationList(redraw) {
  /** @type {Calibration[]} */
  const calibrations = draft.rest.printing?.calibration ?? [];
  if (!calibrations.length) return null;
  const remove = (/** @type {number} */ index) => {
    const left = withoutCalibration(draft.rest.printing, index);
    if (left) draft.rest.printing = left;
    else delete draft.rest.printing;
    changed("field");
    redraw();
    find("calibrations")?.setAttribute("open", "");
    (find(`uncalibrate-${Math.min(index, calibrations.length - 2)}`) ?? find("material"))?.focus();
  };
  const text = (/** @type {Calibration} */ { of, predicted, actual }) => (of === "time"
    ? t("calibrated_time", { actual: duration(actual), predicted: duration(predicted) })
    : t("calibrated_filament", { actual: gramsText(actual), predicted: gramsText(predicted) }));
  return h("details", { id: "calibrations" },
    h("summary", {}, t("calibrations", { count: calibrations.length })),
    h("ul", { class: "plain" }, calibrations.map((entry, n) => h("li", { class: "row job-row" },
      h("span", { class: "row-name" }, text(entry)),
      button("×", () => remove(n), { id: `uncalibrate-${n}`, class: "quiet danger", "aria-label": t("uncalibrate", { what: text(entry) }) })))));
}
