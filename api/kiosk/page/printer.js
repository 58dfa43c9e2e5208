// Step 3: the printer, its filament and options of the layout.

import { changed, draft } from "./draft.js";
import { byId, h, show } from "./dom.js";
import { field } from "./measure.js";
import { t } from "./messages.js";
import { mark } from "./problems.js";

const MATERIALS = ["PLA", "PETG", "ABS", "ASA", "TPU"];

export function drawPrinter() {
  const set = (name) => (text) => { draft[name] = text; };
  const check = (name, key) => h("label", { class: "check" },
    h("input", { type: "checkbox", id: name, checked: draft[name], onchange: (event) => { draft[name] = event.target.checked; changed("field"); } }), t(key));
  show(byId("printer"),
    h("fieldset", {}, h("legend", {}, t("bed")), h("div", { class: "three" },
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
