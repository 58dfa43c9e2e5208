// After a print: what it took and weighed corrects the estimates of the drawers to come.

import { calibrationsOf, withCalibrations } from "../draft/calibration.js";
import { changed, draft } from "../draft/draft.js";
import { announce, h } from "../elements/dom.js";
import { t } from "../language/messages.js";
import { duration, gramsText } from "../language/numbers.js";

/** @typedef {import("../documents").Run} Run */

const HOUR = 3600;

/** A positive number that was typed; null for an empty field, NaN for anything else. @param {HTMLInputElement} input */
function amount(input) {
  const text = input.value.trim().replace(",", ".");
  if (!text) return null;
  return Number(text) > 0 ? Number(text) : NaN;
}

/**
 * @param {Run} run as it was planned
 * @param {import("../documents").Work | null | undefined} work of the job
 * @param {number | null} seconds what was recorded of it
 */
export function calibrationForm(run, work, seconds) {
  const id = `calibrate-${run.number}`;
  const hours = h("input", { id: `${id}-hours`, inputmode: "decimal", maxlength: 8, autocomplete: "off", value: seconds === null ? "" : String(Number((seconds / HOUR).toFixed(2))) });
  const grams = h("input", { id: `${id}-grams`, inputmode: "decimal", maxlength: 8, autocomplete: "off" });
  const submit = (/** @type {Event} */ event) => {
    event.preventDefault();
    const [took, weighed] = [amount(hours), amount(grams)];
    const wrong = [took, weighed].findIndex((value) => Number.isNaN(value));
    const made = calibrationsOf(run, work ?? {}, { seconds: took && took * HOUR, grams: weighed });
    if (wrong >= 0 || !made.length) {
      (wrong === 1 ? grams : hours).focus();
      announce(t("fill_in"));
      return;
    }
    draft.rest.printing = withCalibrations(draft.rest.printing, made);
    changed("field");
    announce(t("calibrated", { count: draft.rest.printing.calibration.length }));
    hours.value = "";
    grams.value = "";
  };
  return h("details", { class: "more" },
    h("summary", { id }, t("calibrate")),
    h("form", { onsubmit: submit },
      h("p", { class: "hint" }, t("calibrate_hint", { time: run.seconds ? duration(run.seconds) : "–", grams: run.grams ? gramsText(run.grams) : "–" })),
      h("div", { class: "two" },
        h("div", { class: "field" }, h("label", { for: hours.id }, t("run_hours")), hours),
        h("div", { class: "field" }, h("label", { for: grams.id }, t("run_grams")), grams)),
      h("button", { type: "submit", id: `${id}-use` }, t("calibrate_use"))));
}
