// What the coupon showed: the clearance is recorded, and the job is built again with it.

import { announce, button, h } from "../elements/dom.js";
import { t } from "../language/messages.js";
import { messageOf, randomId, requestJson } from "../service/service.js";

/** @typedef {(job: string, body: import("../service/outbox.js").PrintEvent, success: string) => Promise<void>} Send */

/**
 * What the coupon showed: the clearance is recorded, and the job can be built again with it.
 * @param {string} job
 * @param {{clearance?: number | null, refit?: string | null, printed: boolean}} progress
 * @param {Send} send
 */
export function couponForm(job, { clearance, refit, printed }, send) {
  const input = h("input", { id: "clearance", inputmode: "decimal", autocomplete: "off", maxlength: 6, "aria-describedby": "clearance-hint" });
  const submit = async (/** @type {Event} */ event) => {
    event.preventDefault();
    const value = Number(input.value.trim().replace(",", "."));
    if (!input.value.trim() || !Number.isFinite(value)) {
      input.focus();
      announce(t("fill_in"));
      return;
    }
    await send(job, { outcome: "measured", clearance: value, id: randomId() }, t("clearance_recorded", { value }));
  };
  return h("form", { class: "run", id: "coupon-form", onsubmit: submit },
    h("h3", {}, t("coupon_title")),
    clearance != null ? h("p", { id: "clearance-now" }, t("clearance_now", { value: clearance })) : h("p", { class: "hint", id: "clearance-hint" }, t(printed ? "coupon_hint" : "coupon_first")),
    clearance == null && printed && h("div", { class: "search-row" }, h("div", { class: "field" }, h("label", { for: "clearance" }, t("clearance")), input), h("button", { type: "submit", id: "clearance-record" }, t("clearance_record"))),
    refit && h("p", {}, t("refit_hint")),
    refit && h("div", { class: "choices" }, button(t("refit"), () => buildRefit(job), { id: "refit", class: "main" })));
}

/** Build the job again with the clearance that the coupon showed. @param {string} job */
async function buildRefit(job) {
  try {
    const spec = await requestJson("GET", `v1/jobs/${job}/refit`);
    const made = await requestJson("POST", "v1/jobs", { body: spec, headers: { "Idempotency-Key": randomId() } });
    window.location.hash = `job=${made.id}`;
  } catch (error) {
    announce(messageOf(error));
  }
}
