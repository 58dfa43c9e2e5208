// Step 3: the printer, its filament and options of the layout.

import { changed, draft } from "./draft.js";
import { button, byId, h, show } from "./dom.js";
import { field } from "./measure.js";
import { t } from "./messages.js";
import { mark } from "./problems.js";
import { shown, typed } from "./units.js";

const MATERIALS = ["PLA", "PETG", "ABS", "ASA", "TPU"];

/** Generic sizes of a bed in mm, taken for all three sides; any other is typed. */
const BED_SIZES = [160, 200, 220, 250, 300];

/** Buttons with the generic sizes of a bed; `prefix` begins their ids, `then` runs after a choice. */
export function bedChoices(prefix, then = () => {}) {
  const choose = (size) => {
    draft.bed = [size, size, size].map(typed);
    changed("all");
    then(size);
  };
  return h("div", { class: "chips", role: "group", "aria-label": t("bed_sizes") }, BED_SIZES.map((size) =>
    button(shown(size), () => choose(size), { id: `${prefix}-${size}`, "aria-pressed": String(draft.bed.every((side) => side === typed(size))) })));
}

export function drawPrinter() {
  const set = (name) => (text) => { draft[name] = text; };
  const check = (name, key) => h("label", { class: "check" },
    h("input", { type: "checkbox", id: name, checked: draft[name], onchange: (event) => { draft[name] = event.target.checked; changed("field"); } }), t(key));
  show(byId("printer"),
    h("fieldset", {}, h("legend", {}, t("bed")), bedChoices("bed-size", (size) => byId(`bed-size-${size}`).focus()), h("div", { class: "three" },
      ["bed_x", "bed_y", "bed_z"].map((key, n) => field(`bed-${n}`, t(key), draft.bed[n], (text) => { draft.bed[n] = text; }, { unit: true })))),
    h("div", { class: "three" },
      field("nozzle", `${t("nozzle")} (mm)`, draft.nozzle, set("nozzle")),
      field("layer", `${t("layer")} (mm)`, draft.layer, set("layer")),
      field("hours", `${t("longest_run")} (${t("optional")})`, draft.hours, set("hours"))),
    h("div", { class: "three" },
      h("div", { class: "field" }, h("label", { for: "material" }, t("material")),
        h("select", { id: "material", onchange: (event) => { draft.material = event.target.value; changed("field"); } },
          MATERIALS.map((name) => h("option", { value: name, selected: name === draft.material }, name)))),
      field("price", `${t("price")} (${t("optional")})`, draft.price, set("price"))),
    check("coupon", "with_coupon"), check("fill", "with_fill"), check("half", "with_halves"));
  mark();
}
