// An outline from a photo, a drawing or a model: from the file to a thing of the list.

import { signal } from "@preact/signals";
import { useRef } from "preact/hooks";

import { announce, byId, find } from "../elements/dom.js";
import { isBlank, watch } from "../draft/draft.js";
import { html } from "../elements/html.js";
import { sidesText, t } from "../language/messages.js";
import { messageOf } from "../service/service.js";
import { plain, shown, typed, unitNow } from "../language/units.js";
import { CameraView, hasCamera } from "./camera_view.js";
import { corners, corrected, fault, size } from "./editor.js";
import { OutlineEditor } from "./editor_view.js";
import { FileFields } from "./file_fields.js";
import { link } from "./outline_entry.js";
import { PhoneCode } from "./phone_code.js";
import { tagOf } from "./phone_link.js";
import { ACCEPTED, closeReading, files, kindOf, openReading, options, phase, picture, read, refusal, send, setOptions, storeCorrected, takeFile } from "./reading.js";
import { SheetOffer } from "./sheet_offer.js";

/** @typedef {import("./outline_entry.js").Add} Add */

const PROGRESS = { choose: 0, sending: 0.5, queued: 1, running: 2, shown: 3 };

/** What is open beside the fields: the camera for the first or second photo, or the code for a phone. */
const open = signal(/** @type {"" | "camera" | "second" | "phone"} */ (""));

const count = signal("1");
const height = signal("");
const problem = signal("");

// what was typed at the desk
link.subscribe((incoming) => {
  if (!incoming) return;
  const { thickness, bar, body, unit } = incoming;
  const typedThere = (/** @type {string} */ text) => (unit === "in" && unitNow() === "mm" && plain(text) !== null ? `${text} in` : text);
  setOptions({ thickness: typedThere(thickness), bar: typedThere(bar), ...(body === "flat" || body === "round" ? { body } : {}) });
});

// a shared screen that starts over forgets the photo too
watch((what) => {
  if (what === "all" && isBlank() && !link.value) closeReading();
});

read.subscribe((made) => {
  if (!made) return;
  const depth = made.outline?.depth ?? null;
  height.value = depth === null ? options.value.thickness : typed(depth);
  [open.value, problem.value] = ["", ""];
});

/** @param {{add: Add}} props */
export function OutlinePanel({ add }) {
  return html`${link.value && html`<p class="notice" id="outline-for-desk">${t("outline_for_desk")}</p>`}
    ${phase.value === "shown" ? html`<${Result} add=${add} />` : html`<${Choose} />`}`;
}

function Choose() {
  const photo = useRef(/** @type {HTMLInputElement | null} */ (null));
  const file = useRef(/** @type {HTMLInputElement | null} */ (null));
  const second = useRef(/** @type {HTMLInputElement | null} */ (null));
  const [first] = files.value;
  const kind = first ? kindOf(first) : null;
  const busy = phase.value !== "choose";
  const chosen = (/** @type {number} */ n) => (/** @type {any} */ event) => {
    const [made] = event.target.files;
    Object.assign(event.target, { value: "" }); // the same file can be chosen again
    if (made) takeFile(made, n);
    open.value = "";
  };
  const shot = (/** @type {File} */ made) => {
    takeFile(made, open.value === "second" ? 1 : 0);
    open.value = "";
    window.requestAnimationFrame(() => find("outline-thickness")?.focus());
  };
  const toggle = (/** @type {"camera" | "second" | "phone"} */ what) => () => { open.value = open.value === what ? "" : what; };
  const submit = async (/** @type {Event} */ event) => {
    event.preventDefault();
    if (kind === "photo" && !options.value.thickness.trim()) {
      byId("outline-thickness").focus();
      announce(t("fill_in"));
      return;
    }
    await send(link.value ? [tagOf(link.value.code)] : []);
    if (refusal.value) find("outline-refusal")?.focus();
    else if (read.value) announce(t("outline_found", { width: shown(size.value.width), depth: shown(size.value.depth) }));
  };
  return html`<p class="hint">${t("outline_hint")}</p>
    <${SheetOffer} />
    <ul class="cautions"><li>${t("outline_caution_edges")}</li><li>${t("outline_caution_standing")}</li><li>${t("outline_caution_check")}</li></ul>
    <input type="file" ref=${photo} id="outline-capture" accept="image/*" capture="environment" hidden onChange=${chosen(0)} />
    <input type="file" ref=${file} id="outline-file" accept=${ACCEPTED} hidden onChange=${chosen(0)} />
    <input type="file" ref=${second} id="outline-second-file" accept="image/*" hidden onChange=${chosen(1)} />
    <div class="choices start">
      <button type="button" class="main" id="outline-take" disabled=${busy} onClick=${() => photo.current?.click()}>${t("outline_take")}</button>
      ${hasCamera() && html`<button type="button" id="outline-live" disabled=${busy} aria-pressed=${open.value === "camera" ? "true" : "false"} onClick=${toggle("camera")}>${t("outline_live")}</button>`}
      <button type="button" id="outline-choose" disabled=${busy} onClick=${() => file.current?.click()}>${t("outline_choose")}</button>
      ${!link.value && html`<button type="button" id="outline-phone" disabled=${busy} aria-pressed=${open.value === "phone" ? "true" : "false"} onClick=${toggle("phone")}>${t("outline_phone")}</button>`}
    </div>
    ${(open.value === "camera" || open.value === "second") && html`<${CameraView} take=${shot} close=${toggle(open.value)} />`}
    ${open.value === "phone" && html`<${PhoneCode} arrived=${(/** @type {string} */ id) => { open.value = ""; openReading(id); }} />`}
    ${first && !kind && html`<p class="problems" role="alert" id="outline-unknown">${t("outline_unknown", { name: first.name })}</p>`}
    ${first && kind && html`<form onSubmit=${submit}>
      <ol class="outline-files" id="outline-files">${files.value.map((entry) => html`<li>${entry.name || t("outline_kind_photo")} <span class="size">${t(`outline_kind_${kind}`)}</span></li>`)}</ol>
      ${kind === "photo" && files.value.length === 1 && html`<p class="hint">${t("outline_second_hint")}</p><div class="choices start">
        <button type="button" id="outline-second" disabled=${busy} onClick=${() => second.current?.click()}>${t("outline_second")}</button>
        ${hasCamera() && html`<button type="button" id="outline-second-live" disabled=${busy} onClick=${toggle("second")}>${t("outline_second_live")}</button>`}</div>`}
      <${FileFields} kind=${kind} />
      ${refusal.value && html`<div class="problems" role="alert" id="outline-refusal" tabindex="-1"><h3>${t("outline_refused")}</h3><p>${refusal.value.text}</p></div>`}
      <button type="submit" class="main" id="outline-send" disabled=${busy}>${t("outline_send")}</button>
    </form>`}
    ${!first && refusal.value && html`<div class="problems" role="alert" id="outline-refusal" tabindex="-1"><p>${refusal.value.text}</p></div>`}
    ${busy && html`<div role="status" id="outline-progress"><p>${t(`outline_${phase.value}`)}</p><progress aria-label=${t("outline_progress")} max="3" value=${PROGRESS[phase.value]}></progress></div>`}`;
}

/** @param {{add: Add}} props */
function Result({ add }) {
  const made = read.value;
  const again = (/** @type {boolean} */ all) => () => {
    closeReading(all);
    window.requestAnimationFrame(() => find("outline-take")?.focus());
  };
  if (!made?.outline) return null;
  const { warnings, uncertainty } = made.outline;
  const notes = html`<p class="hint" id="outline-uncertainty">${t("outline_uncertainty", { by: shown(uncertainty) })}</p>
    ${warnings.length > 0 && html`<ul class="warnings" id="outline-warnings">${warnings.map((text) => html`<li>${text}</li>`)}</ul>`}`;
  if (link.value) {
    return html`<p class="sum" id="outline-arrived">${t("outline_arrived")}</p>
      ${picture.value && html`<img class="outline-picture" src=${picture.value.url} alt=${t("outline_picture", { width: shown(size.value.width), depth: shown(size.value.depth) })} />`}
      <p class="sum">${shown(size.value.width)} × ${shown(size.value.depth)}</p>${notes}
      <button type="button" id="outline-again" onClick=${again(false)}>${t("outline_again")}</button>`;
  }
  const submit = async (/** @type {Event} */ event) => {
    event.preventDefault();
    const called = options.value.name.trim();
    const many = Number(count.value);
    const empty = [[!called, "outline-name"], [!height.value.trim(), "outline-height"], [!(Number.isInteger(many) && many > 0), "outline-count"]].find(([is]) => is);
    if (empty) {
      byId(String(empty[1])).focus();
      announce(t("fill_in"));
      return;
    }
    const { width, depth } = size.value;
    const high = plain(height.value);
    const mm = high === null ? null : high * (unitNow() === "in" ? 25.4 : 1);
    try {
      const id = corrected.value ? await storeCorrected(corners(), called, mm) : made.id;
      add([{ kind: "outline", id, name: called, count: many, storage: "pocket", sizes: [typed(width), typed(depth), height.value] }]);
    } catch (error) {
      problem.value = messageOf(error);
      return;
    }
    count.value = "1";
    again(false)();
  };
  const field = (/** @type {string} */ id, /** @type {string} */ label, /** @type {string} */ value, /** @type {(text: string) => void} */ set, /** @type {string} */ mode) => html`<div class="field"><label for=${id}>${label}</label>
    <input id=${id} value=${value} inputmode=${mode} autocomplete="off" maxlength="80" onInput=${(/** @type {any} */ event) => set(event.target.value)} /></div>`;
  return html`${notes}
    ${made.poses.length > 1 && files.value.length > 0 && html`<div class="field"><label for="outline-pose">${t("outline_pose")}</label>
      <select id="outline-pose" value=${options.value.pose} onChange=${(/** @type {any} */ event) => { setOptions({ pose: event.target.value }); send(); }}>
        <option value="">${t("outline_pose_file")}</option>
        ${made.poses.map(({ pose, size: sides }) => html`<option value=${String(pose)}>${sidesText(sides.map((side) => shown(side)))}</option>`)}</select></div>`}
    <${OutlineEditor} picture=${picture.value} />
    <form onSubmit=${submit}>
      <div class="three">
        ${field("outline-name", t("thing_name"), options.value.name, (name) => setOptions({ name }), "text")}
        ${field("outline-height", `${t("high")} ${t(`unit_${unitNow()}`)}`, height.value, (value) => { height.value = value; }, "decimal")}
        ${field("outline-count", t("count"), count.value, (value) => { count.value = value; }, "numeric")}
      </div>
      ${problem.value && html`<p class="problems" role="alert" id="outline-problem">${problem.value}</p>`}
      <div class="choices start">
        <button type="submit" class="main" id="outline-add-thing" disabled=${fault.value !== null}>${t("add_thing")}</button>
        <button type="button" id="outline-again" class="quiet" onClick=${again(false)}>${t("outline_discard")}</button>
      </div>
    </form>`;
}

