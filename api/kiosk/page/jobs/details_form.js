// What is recorded of a run beside that it is printed: failed pieces, hours, the printer, a note.

import { announce, h } from "../elements/dom.js";
import { t } from "../language/messages.js";
import { randomId } from "../service/service.js";
import { counts } from "./run_pieces.js";

/** @typedef {import("../documents").Run} Run */

/**
 * A form for a run of which some pieces failed, or about which there is something to note.
 * @param {Run} run
 * @param {string} printer the one that the schedule names
 * @param {(body: import("../service/outbox.js").PrintEvent) => Promise<void>} record sends what is recorded
 */
export function detailsForm(run, printer, record) {
  const id = `details-${run.number}`;
  const failed = [...counts(run.pieces)].map(([mark, count]) => ({
    mark, count, input: h("input", { id: `${id}-${mark}`, type: "number", min: 0, max: count, step: 1, value: 0, inputmode: "numeric" }),
  }));
  const note = h("input", { id: `${id}-note`, maxlength: 200, autocomplete: "off" });
  const hours = h("input", { id: `${id}-hours`, inputmode: "decimal", maxlength: 8, autocomplete: "off" });
  const by = h("input", { id: `${id}-printer`, maxlength: 80, value: printer, autocomplete: "off" });
  const submit = async (/** @type {Event} */ event) => {
    event.preventDefault();
    const took = Number(hours.value.trim().replace(",", "."));
    if (hours.value.trim() && !(took > 0)) {
      hours.focus();
      announce(t("fill_in"));
      return;
    }
    const measured = { ...(took > 0 && { seconds: took * 3600 }), ...(by.value.trim() && { printer: by.value.trim() }) };
    const bad = Object.fromEntries(failed.filter(({ input }) => input.valueAsNumber > 0).map(({ mark, input }) => [mark, input.valueAsNumber]));
    const text = note.value.trim();
    await record({ outcome: "printed", run: run.number, id: randomId(), ...(Object.keys(bad).length && { failed: bad }), ...measured, ...(text && { note: text }) });
  };
  return h("details", { class: "more" },
    h("summary", { id }, t("record_details")),
    h("form", { onsubmit: submit },
      failed.map(({ mark, count, input }) => h("div", { class: "field" }, h("label", { for: input.id }, t("failed_of", { mark, count })), input)),
      h("div", { class: "two" },
        h("div", { class: "field" }, h("label", { for: by.id }, t("run_printer")), by),
        h("div", { class: "field" }, h("label", { for: hours.id }, t("run_hours")), hours)),
      h("div", { class: "field" }, h("label", { for: note.id }, t("note")), note),
      h("button", { type: "submit", id: `${id}-record` }, t("record"))));
}
