// The reference sheet to print.

import { signal } from "@preact/signals";

import { html } from "../elements/html.js";
import { t } from "../language/messages.js";
import { messageOf, save } from "../service/service.js";

const SIZES = ["a4", "letter"];
const TINTS = ["green", "pink"];

const chosen = signal({ size: "a4", tint: "green" });
const problem = signal("");

export function SheetOffer() {
  const { size, tint } = chosen.value;
  const load = async () => {
    problem.value = "";
    try {
      await save(`v1/reference-sheet.pdf?size=${size}&tint=${tint}`, `reference-sheet-${size}-${tint}.pdf`);
    } catch (error) {
      problem.value = messageOf(error);
    }
  };
  const pick = (/** @type {"size" | "tint"} */ name, /** @type {string[]} */ all) => html`<div class="field"><label for=${`sheet-${name}`}>${t(`sheet_${name}`)}</label>
    <select id=${`sheet-${name}`} value=${chosen.value[name]} onChange=${(/** @type {any} */ event) => { chosen.value = { ...chosen.value, [name]: event.target.value }; }}>
      ${all.map((option) => html`<option value=${option}>${t(`sheet_${option}`)}</option>`)}</select></div>`;
  return html`<details id="sheet-offer"><summary>${t("sheet_title")}</summary>
    <p class="hint">${t("sheet_hint")}</p>
    <div class="two">${pick("size", SIZES)}${pick("tint", TINTS)}</div>
    <button type="button" id="sheet-save" onClick=${load}>${t("sheet_save")}</button>
    ${problem.value && html`<p class="problems" role="alert">${problem.value}</p>`}
  </details>`;
}
