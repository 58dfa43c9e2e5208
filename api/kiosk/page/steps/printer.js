// Step 3: the printer, its filament and options of the layout.

import { calendarFields, spoolFields } from "./calendar_fields.js";
import { calibrationList } from "./calibration_list.js";
import { changed, draft } from "../draft/draft.js";
import { button, byId, h, show } from "../elements/dom.js";
import { field } from "./measure.js";
import { t } from "../language/messages.js";
import { mark } from "../elements/problems.js";
import { shown, typed } from "../language/units.js";

const MATERIALS = ["PLA", "PETG", "ABS", "ASA", "TPU"];

/** Generic sizes of a bed in mm, taken for all three sides; any other is typed. */
export const BED_SIZES = [160, 200, 220, 250, 300];

/** @param {number} size */
export function chooseBed(size) {
  draft.bed = [size, size, size].map(typed);
  changed("all");
}

function bedChoices() {
  const choose = (/** @type {number} */ size) => {
    chooseBed(size);
    byId(`bed-size-${size}`).focus();
  };
  return h("div", { class: "chips", role: "group", "aria-label": t("bed_sizes") }, BED_SIZES.map((size) =>
    button(shown(size), () => choose(size), { id: `bed-size-${size}`, "aria-pressed": String(draft.bed.every((side) => side === typed(size))) })));
}

export function drawPrinter() {
  const set = (/** @type {"nozzle" | "layer" | "hours" | "price"} */ key) => (/** @type {string} */ text) => { draft[key] = text; };
  const check = (/** @type {"coupon" | "fill" | "half"} */ key, /** @type {string} */ label) => h("label", { class: "check" },
    h("input", { type: "checkbox", id: key, checked: draft[key], onchange: (/** @type {any} */ event) => { draft[key] = event.target.checked; changed("field"); } }), t(label));
  const { printers } = draft.rest;
  const useOne = () => {
    delete draft.rest.printers;
    changed("field");
    drawPrinter();
    byId("bed-0").focus();
  };
  show(byId("printer"),
    printers && h("div", { class: "welcome" },
      h("p", { id: "printers-kept" }, t("printers_kept", { names: printers.map((printer) => printer.name).join(", ") })),
      button(t("use_one_printer"), useOne, { id: "single-printer", class: "quiet" })),
    !printers && h("fieldset", {}, h("legend", {}, t("bed")), bedChoices(), h("div", { class: "three" },
      ["bed_x", "bed_y", "bed_z"].map((key, n) => field(`bed-${n}`, t(key), draft.bed[n] ?? "", (text) => { draft.bed[n] = text; }, { unit: true })))),
    h("div", { class: "three" },
      !printers && field("nozzle", `${t("nozzle")} (mm)`, draft.nozzle, set("nozzle")),
      !printers && field("layer", `${t("layer")} (mm)`, draft.layer, set("layer")),
      field("hours", `${t("longest_run")} (${t("optional")})`, draft.hours, set("hours"))),
    h("div", { class: "three" },
      h("div", { class: "field" }, h("label", { for: "material" }, t("material")),
        h("select", { id: "material", onchange: (/** @type {any} */ event) => { draft.material = event.target.value; changed("field"); } },
          MATERIALS.map((material) => h("option", { value: material, selected: material === draft.material }, material)))),
      field("price", `${t("price")} (${t("optional")})`, draft.price, set("price"))),
    spoolFields(),
    calibrationList(drawPrinter),
    calendarFields(drawPrinter),
    check("coupon", "with_coupon"), check("fill", "with_fill"), check("half", "with_halves"));
  mark();
}
