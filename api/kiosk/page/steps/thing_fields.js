// Labelled fields of a thing, and those that say how it is handled.

import { html } from "../elements/html.js";
import { t } from "../language/messages.js";
import { FILL, POSES } from "../draft/thing_shape.js";
import { unitNow } from "../language/units.js";

/** @typedef {import("../draft/draft_format.js").Thing} Thing */

/**
 * A labelled text field.
 * @param {string} id
 * @param {string} label
 * @param {string} value
 * @param {(text: string) => void} set
 * @param {string} [inputmode]
 */
export function text(id, label, value, set, inputmode = "decimal") {
  return html`<div class="field" key=${id}><label for=${id}>${label}</label>
    <input id=${id} value=${value} inputmode=${unitNow() === "in" && inputmode === "decimal" ? "text" : inputmode} autocomplete="off" maxlength="80" onInput=${(/** @type {any} */ event) => set(event.target.value)} /></div>`;
}

/**
 * A labelled choice; the texts of its options begin with a prefix.
 * @param {string} id
 * @param {string} label
 * @param {string[]} options
 * @param {string} value
 * @param {(option: string) => void} set
 * @param {string} prefix
 * @param {string} [none] end of the message for the empty option
 */
export function pick(id, label, options, value, set, prefix, none = "any") {
  return html`<div class="field"><label for=${id}>${label}</label>
    <select id=${id} value=${value} onChange=${(/** @type {any} */ event) => set(event.target.value)}>
      ${options.map((option) => html`<option value=${option}>${t(`${prefix}_${option || none}`)}</option>`)}</select></div>`;
}

/**
 * Pose, nesting and softness of a thing. Things either nest or are soft.
 * @param {{thing: Thing, i: number, set: (fields: Partial<Thing>) => void}} props
 */
export function HandlingFields({ thing, i, set }) {
  const { pose = "", nest = "", soft } = thing;
  const unit = t(`unit_${unitNow()}`);
  const toggle = (/** @type {any} */ event) => set(event.target.checked ? { soft: { fill: FILL, height: "" }, nest: "" } : { soft: undefined });
  const of = (/** @type {"fill" | "height"} */ field) => (/** @type {string} */ value) => { if (soft) set({ soft: { ...soft, [field]: value } }); };
  return html`<div class="three">
      ${pick(`pose-${i}`, t("pose"), POSES, pose, (value) => set({ pose: value }), "pose", "automatic")}
      ${soft ? text(`fill-${i}`, t("soft_fill"), soft.fill, of("fill"), "numeric") : text(`nest-${i}`, `${t("nest")} ${unit}`, nest, (value) => set({ nest: value }))}
      <label class="check"><input type="checkbox" id=${`soft-${i}`} checked=${Boolean(soft)} onChange=${toggle} />${t("soft")}</label>
    </div>
    ${soft && html`<div class="three">${text(`pressed-${i}`, `${t("soft_height")} ${unit}`, soft.height, of("height"))}</div>`}`;
}
