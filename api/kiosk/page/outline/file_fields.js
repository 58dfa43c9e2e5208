// What the service has to know about a file that it does not say itself.

import { html } from "../elements/html.js";
import { t } from "../language/messages.js";
import { unitNow } from "../language/units.js";
import { options, refusal, setOptions } from "./reading.js";

/** @typedef {import("./reading.js").Options} Options */

const BODIES = /** @type {const} */ (["stepped", "flat", "round"]);
const UNITS = { drawing: ["mm", "cm", "in", "pt", "px"], model: ["mm", "cm", "m", "in", "ft"] };

/** @param {{kind: import("./reading.js").Kind}} props */
export function FileFields({ kind }) {
  const given = options.value;
  const atFault = (/** @type {string} */ name) => refusal.value?.pointer === `/${name}`;
  const mm = t(`unit_${unitNow()}`);
  const text = (/** @type {Exclude<keyof Options, "repair">} */ name, /** @type {string} */ label, /** @type {string} */ hint = "", /** @type {string} */ mode = "decimal") => html`<div class="field">
    <label for=${`outline-${name}`}>${label}</label>
    <input id=${`outline-${name}`} value=${given[name]} inputmode=${mode} autocomplete="off" maxlength="80" aria-invalid=${atFault(name) ? "true" : "false"} aria-describedby=${hint ? `outline-${name}-hint` : null}
      onInput=${(/** @type {any} */ event) => setOptions({ [name]: event.target.value })} />
    ${hint && html`<p class="hint" id=${`outline-${name}-hint`}>${hint}</p>`}</div>`;
  const pick = (/** @type {"body" | "unit"} */ name, /** @type {readonly string[]} */ all, /** @type {(option: string) => string} */ words) => html`<div class="field">
    <label for=${`outline-${name}`}>${t(`outline_${name}`)}</label>
    <select id=${`outline-${name}`} value=${given[name]} aria-invalid=${atFault(name) ? "true" : "false"} onChange=${(/** @type {any} */ event) => setOptions({ [name]: event.target.value })}>
      ${all.map((option) => html`<option value=${option}>${words(option)}</option>`)}</select></div>`;
  if (kind === "photo") {
    return html`${text("thickness", `${t("outline_thickness")} ${mm}`, t("outline_thickness_hint"))}
      ${pick("body", BODIES, (body) => t(`outline_body_${body}`))}
      ${text("bar", `${t("outline_bar")} ${mm}`, t("outline_bar_hint"))}`;
  }
  const unit = pick("unit", ["", ...UNITS[kind]], (name) => name || t("outline_unit_file"));
  if (kind === "drawing") {
    return html`${text("thickness", `${t("high")} ${mm}`)}${unit}
      ${(atFault("outline") || given.outline) && text("outline", t("outline_number"), "", "numeric")}
      ${(atFault("outline") || atFault("layer") || given.layer) && text("layer", t("outline_layer"), "", "text")}
      ${(atFault("outline") || atFault("colour") || given.colour) && text("colour", t("outline_colour"), "", "text")}`;
  }
  return html`${unit}${text("depth", `${t("outline_depth")} ${mm}`, t("outline_depth_hint"))}
    ${(atFault("repair") || given.repair) && html`<label class="check"><input type="checkbox" id="outline-repair" checked=${given.repair} onChange=${(/** @type {any} */ event) => setOptions({ repair: event.target.checked })} />${t("outline_repair")}</label>`}`;
}
