// What can be done with the selected tray: turn, pin, remove, size, what lies inside, and its options.

import { html } from "../elements/html.js";
import { t } from "../language/messages.js";
import { length, shown } from "../language/units.js";
import { edit, remove, resize, selected, togglePin, turn } from "./bench.js";
import { standing, step } from "./standing_trays.js";
import { TrayInside } from "./inside/tray_inside.js";

/** Least and largest height of a tray, mm; the service says more. */
const LEAST = 5;
const MOST = 1000;

/** Most letters of a text on a tray. */
const LONGEST_TEXT = 40;

/** Disc magnets of a common size, mm. */
const MAGNETS = { diameter: 6, depth: 2 };

/** Px that the panel's border and padding take. */
const FRAME = 32;

/** @param {{px: number}} props its width */
export function TrayPanel({ px }) {
  const at = selected.value;
  const tray = at && standing(at.d).find((other) => other.key === at.key);
  if (!at || !tray) return html`<p class="hint" id="bench-keys">${t("bench_keys")}</p>`;
  const { d, key } = at;
  const { box } = tray;
  const size = (/** @type {number} */ w, /** @type {number} */ deep) => () => resize(d, key, w, deep);
  const by = step();
  const { magnets } = tray.tray;
  const columns = (tray.tray.compartments?.[0] ?? 1) + new Set((tray.tray.dividers ?? []).filter((divider) => divider.axis === "x").map((divider) => divider.at)).size;
  const label = (/** @type {number} */ n, /** @type {string} */ text) => set(d, key, {
    labels: Array.from({ length: columns }, (_, m) => (m === n ? text.trim() || null : (tray.tray.labels?.[m] ?? null))),
    ...(tray.tray.text?.face === "ledge" ? { text: null } : {}), // the ledge carries either
  });
  return html`<section class="tray-panel" aria-labelledby="tray-title">
    <h3 id="tray-title">${`${tray.mark} ${tray.text}`.trim()}</h3>
    <div class="tray-tools">
      <button type="button" id="tray-pin" aria-pressed=${tray.pinned ? "true" : "false"} onClick=${() => togglePin(d, key)}>${t("pin")}</button>
      <button type="button" id="tray-turn" onClick=${() => turn(d, key)}>${t("turn")}</button>
      <button type="button" id="tray-remove" class="danger" onClick=${() => remove(d, key)}>${t("remove_tray")}</button>
    </div>
    <div class="tray-tools" role="group" aria-label=${t("tray_size")}>
      <span class="stepper"><button type="button" id="narrower" aria-label=${t("narrower")} onClick=${size(box.w - by, box.d)}>−</button>
        <span>${t("wide_cells", { count: box.w / 2 })}</span><button type="button" id="wider" aria-label=${t("wider")} onClick=${size(box.w + by, box.d)}>+</button></span>
      <span class="stepper"><button type="button" id="shallower" aria-label=${t("shallower")} onClick=${size(box.w, box.d - by)}>−</button>
        <span>${t("deep_cells", { count: box.d / 2 })}</span><button type="button" id="deeper" aria-label=${t("deeper")} onClick=${size(box.w, box.d + by)}>+</button></span>
    </div>
    <${TrayInside} d=${d} tray=${tray} px=${Math.max(0, px - FRAME)} />
    <details>
      <summary>${t("tray_options")}</summary>
      <div class="three">
        <div class="field"><label for="tray-name">${t("tray_name")}</label>
          <input id="tray-name" maxlength="80" autocomplete="off" value=${tray.tray.name} onChange=${(/** @type {any} */ event) => rename(d, key, event.target.value)} /></div>
        <div class="field"><label for="tray-height">${t("tray_height", { now: shown(tray.height) })}</label>
          <input id="tray-height" inputmode="decimal" autocomplete="off" value="" placeholder=${shown(tray.height)} onChange=${(/** @type {any} */ event) => raise(d, key, event.target)} /></div>
        <div class="field"><label for="tray-rim">${t("rim")}</label>
          <select id="tray-rim" value=${tray.tray.rim ?? "stacking"} onChange=${(/** @type {any} */ event) => set(d, key, { rim: event.target.value })}>
            <option value="stacking">${t("rim_stacking")}</option><option value="straight">${t("rim_straight")}</option></select></div>
      </div>
      <label class="check"><input type="checkbox" id="tray-ramp" checked=${hasRamp(tray.tray)} onChange=${(/** @type {any} */ event) => set(d, key, { finger_ramp: event.target.checked })} />${t("ramp")}</label>
      <label class="check"><input type="checkbox" id="tray-ledge" checked=${Boolean(tray.tray.label_ledge)} onChange=${(/** @type {any} */ event) => set(d, key, event.target.checked ? { label_ledge: true } : { label_ledge: null, labels: [], ...(tray.tray.text?.face === "ledge" ? { text: null } : {}) })} />${t("label_ledge")}</label>
      ${Boolean(tray.tray.label_ledge) && html`<div class="three">${Array.from({ length: columns }, (_, n) => html`<div class="field"><label for=${`tray-label-${n}`}>${t("tray_label", { number: n + 1 })}</label>
        <input id=${`tray-label-${n}`} maxlength=${LONGEST_TEXT} autocomplete="off" value=${tray.tray.labels?.[n] ?? ""} onChange=${(/** @type {any} */ event) => label(n, event.target.value)} /></div>`)}</div>`}
      <div class="field"><label for="tray-text">${t("tray_text")}</label>
        <input id="tray-text" maxlength=${LONGEST_TEXT} autocomplete="off" value=${tray.tray.text?.face === "ledge" ? "" : (tray.tray.text?.text ?? "")} onChange=${(/** @type {any} */ event) => set(d, key, { text: event.target.value.trim() ? { ...tray.tray.text, face: "front", text: event.target.value.trim() } : null })} /></div>
      <label class="check"><input type="checkbox" id="tray-magnets" checked=${Boolean(magnets)} onChange=${(/** @type {any} */ event) => set(d, key, { magnets: event.target.checked ? MAGNETS : null })} />${t("magnets")}</label>
      ${magnets && html`<p class="warnings">${t("caution_magnets")}</p><div class="three">${/** @type {const} */ (["diameter", "depth"]).map((side) => html`<div class="field"><label for=${`magnet-${side}`}>${t(`magnet_${side}`)}</label>
        <input id=${`magnet-${side}`} inputmode="decimal" autocomplete="off" value=${magnets[side]} onChange=${(/** @type {any} */ event) => set(d, key, { magnets: { ...magnets, [side]: Number(event.target.value.replace(",", ".")) || MAGNETS[side] } })} /></div>`)}</div>`}
    </details>
  </section>`;
}

/** @param {import("../documents").Tray} tray */
const hasRamp = (tray) => Boolean(tray.finger_ramp) && /** @type {any} */ (tray.finger_ramp).rows !== "none";

/** @param {number} d @param {string} key @param {Partial<import("../documents").Tray>} fields */
const set = (d, key, fields) => edit(d, key, (entry) => ({ ...entry, pinned: true, tray: { ...entry.tray, ...fields, at: entry.tray.at } }));

/** @param {number} d @param {string} key @param {string} text */
function rename(d, key, text) {
  if (text.trim()) set(d, key, { name: text.trim() });
}

/** @param {number} d @param {string} key @param {HTMLInputElement} field */
function raise(d, key, field) {
  const made = length(field.value);
  const mm = typeof made === "number" ? made : Number.parseFloat(made) * 25.4;
  const input = field;
  input.value = "";
  if (mm >= LEAST && mm <= MOST) set(d, key, { height: Number(mm.toFixed(2)) });
}
