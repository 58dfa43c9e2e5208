// Step 2: the things to store, chosen from the catalogue, described, or pasted as a list.

import { signal } from "@preact/signals";
import { render } from "preact";

import { catalogue, categoryName } from "./catalogue.js";
import { announce, byId, find } from "../elements/dom.js";
import { changed, draft, revision } from "../draft/draft.js";
import { freeKey, OWN_KINDS, SIZES, STORAGE } from "../draft/draft_format.js";
import { apart, beside, loose, together } from "../draft/groups.js";
import { html } from "../elements/html.js";
import { sidesText, t } from "../language/messages.js";
import { OutlineEntry } from "../outline/outline_entry.js";
import { mark } from "../elements/problems.js";
import { rove, stopAtFocus } from "../elements/roving.js";
import { HandlingFields, pick, text } from "./thing_fields.js";
import { SIZE_NAMES } from "../draft/thing_shape.js";
import { shown, unitNow } from "../language/units.js";
import { litThing, selected } from "../workbench/bench.js";
import { standing } from "../workbench/standing_trays.js";
import { PasteList } from "./paste_view.js";
import { dropThing, releaseThing } from "../workbench/trays.js";

/** @typedef {import("../draft/draft_format.js").Thing} Thing */
/** @typedef {import("../documents").CatalogueEntry} Entry */

const ACCESS = ["often", "sometimes", "rarely"];
const SHARE = ["group", "like", "any"];

const search = signal("");
const category = signal("");

/** Key of the thing whose fields are shown. */
const opened = signal("");

/** Keys of the things that are chosen to be kept together or apart, in the order of the taps; null while none can be. @type {import("@preact/signals").Signal<string[] | null>} */
const picked = signal(null);

const own = signal({ name: "", kind: /** @type {Exclude<Thing["kind"], "standard">} */ ("box"), sizes: ["", "", ""], rods: "" });

export function beginThings() {
  render(html`<${Things} />`, byId("things"));
}

/** Show the fields of a thing. @param {number} index */
export function openThing(index) {
  opened.value = draft.things[index]?.key ?? "";
}

function Things() {
  const { things } = revision.value >= 0 ? draft : draft;
  window.queueMicrotask(mark);
  const lit = selected.value && standing(selected.value.d).find((tray) => tray.key === selected.value?.key)?.things;
  return html`
    ${things.length > 0 && html`<${Grouping} />`}
    ${things.length
      ? html`<ul class="plain rows" id="rows" onKeyDown=${rove} onFocusIn=${stopAtFocus}>${things.map((thing, i) => html`<${Row} key=${thing.key} thing=${thing} i=${i} lit=${lit?.includes(thing.key)} />`)}</ul>`
      : html`<p class="hint">${t("no_things")}</p>`}
    <${Catalogue} />
    <h3>${t("something_else")}</h3>
    <${OwnForm} />
    <${OutlineEntry} add=${addAll} />
    <${PasteList} add=${addAll} />`;
}

/** What is kept together and what apart: things are chosen by a tap, then what is to be done with them. */
function Grouping() {
  const keys = picked.value;
  const change = (/** @type {(things: Thing[], keys: string[]) => Thing[]} */ make, /** @type {string} */ message) => () => {
    draft.things = make(draft.things, keys ?? []);
    for (const key of keys ?? []) release(key);
    picked.value = [];
    changed("things");
    announce(t(message));
  };
  const solo = () => {
    draft.share = "group"; // only then does nothing of another group come into its tray
    change(apart, "said_apart")();
  };
  const share = (/** @type {any} */ event) => {
    draft.share = event.target.value;
    for (const drawer of draft.drawers) drawer.trays = drawer.trays.filter((entry) => entry.pinned);
    changed("things");
  };
  const enough = keys?.length ?? 0;
  return html`<div class="grouping">
    <button type="button" id="grouping" class="quiet" aria-pressed=${keys ? "true" : "false"} onClick=${() => { picked.value = keys ? null : []; }}>${t("grouping")}</button>
    ${keys && html`<p class="hint" id="grouping-hint">${t("grouping_hint")}</p>
      <div class="tray-tools" role="group" aria-label=${t("grouping")}>
        <button type="button" id="keep-together" disabled=${enough < 2} onClick=${change(together, "said_together")}>${t("keep_together")}</button>
        <button type="button" id="keep-beside" disabled=${enough !== 2} onClick=${change(beside, "said_beside")}>${t("keep_beside")}</button>
        <button type="button" id="keep-apart" disabled=${enough < 1} onClick=${solo}>${t("keep_apart")}</button>
        <button type="button" id="keep-loose" disabled=${enough < 1} onClick=${change(loose, "said_loose")}>${t("keep_loose")}</button>
      </div>
      <div class="field"><label for="share">${t("share")}</label>
        <select id="share" value=${draft.share} onChange=${share}>${SHARE.map((option) => html`<option value=${option}>${t(`share_${option}`)}</option>`)}</select></div>`}
  </div>`;
}

/** Group of a thing and what it stands beside, in words. @param {Thing} thing */
function companyOf(thing) {
  const near = draft.things.find((other) => other.key === thing.near);
  return [thing.group.trim(), near && t("beside_thing", { name: near.name })].filter(Boolean).join("; ");
}

/** @param {{thing: Thing, i: number, lit: boolean}} props */
function Row({ thing, i, lit }) {
  const { value: version } = revision; // the thing changes in place
  if (version < 0) return null;
  const keys = picked.value;
  if (keys) {
    const chosen = keys.includes(thing.key);
    const toggle = () => { picked.value = chosen ? keys.filter((key) => key !== thing.key) : [...keys, thing.key]; };
    return html`<li class="row field" id=${`row-${i}`}><button type="button" class="row-pick" id=${`pick-${i}`} aria-pressed=${chosen ? "true" : "false"} data-rove=${`${i},0`} tabIndex=${i === 0 ? 0 : -1} onClick=${toggle}>
      <span class="what">${thing.name || "?"}</span> <span class="company">${companyOf(thing)}</span></button></li>`;
  }
  const open = opened.value === thing.key;
  const light = (/** @type {string | null} */ key) => () => { litThing.value = key; };
  const stop = (/** @type {number} */ column) => ({ "data-rove": `${i},${column}`, tabIndex: i === 0 && column === 0 ? 0 : -1 });
  return html`<li class=${`row field ${lit ? "lit" : ""}`} id=${`row-${i}`} onMouseEnter=${light(thing.key)} onMouseLeave=${light(null)} onFocusIn=${light(thing.key)} onFocusOut=${light(null)}>
    <div class="row-head">
      <button type="button" class="row-name" id=${`thing-${i}`} aria-expanded=${open ? "true" : "false"} ...${stop(0)} onClick=${() => { opened.value = open ? "" : thing.key; }}>
        <span class="what">${thing.name || "?"}</span><span class="size">${[sidesText(thing.sizes.filter(Boolean)), companyOf(thing)].filter(Boolean).join(" · ")}</span></button>
      <button type="button" id=${`fewer-${i}`} aria-label=${t("fewer_of_thing", { name: thing.name })} ...${stop(1)} onClick=${() => count(thing, -1)}>−</button>
      <output id=${`count-of-${i}`}>${thing.count}</output>
      <button type="button" id=${`more-${i}`} aria-label=${t("more_of_thing", { name: thing.name })} ...${stop(2)} onClick=${() => count(thing, 1)}>+</button>
      <button type="button" id=${`remove-${i}`} class="quiet danger" aria-label=${t("remove_thing", { name: thing.name })} ...${stop(3)} onClick=${() => remove(i)}>×</button>
    </div>
    ${open && html`<${Fields} thing=${thing} i=${i} />`}
  </li>`;
}

/** @param {{thing: Thing, i: number}} props */
function Fields({ thing, i }) {
  const set = (/** @type {Partial<Thing>} */ fields) => {
    Object.assign(thing, fields);
    if (!("name" in fields)) release(thing.key);
    changed("field");
  };
  const whole = (/** @type {string} */ value) => (/^\d+$/.test(value.trim()) ? Number(value) : value);
  const size = (/** @type {number} */ n) => (/** @type {string} */ value) => set({ sizes: thing.sizes.map((other, m) => (m === n ? value : other)) });
  return html`<div class="row-fields">
    <div class="three">
      ${text(`name-of-${i}`, t("thing_name"), thing.name, (name) => set({ name }), "text")}
      ${text(`count-${i}`, t("count"), String(thing.count), (value) => set({ count: whole(value) }), "numeric")}
      ${text(`group-${i}`, t("group"), thing.group, (group) => set({ group }), "text")}
    </div>
    <div class="three">${thing.sizes.map((value, n) => (thing.kind !== "outline" || n === 2) && text(`size-${i}-${n}`, `${sizeName(thing.kind, n)} ${t(`unit_${unitNow()}`)}`, value, size(n)))}${thing.kind === "bundle" && text(`rods-${i}`, t("rods"), thing.rods ?? "", (rods) => set({ rods }), "numeric")}</div>
    <div class="three">
      ${pick(`access-${i}`, t("access"), ACCESS, thing.access, (access) => set({ access }), "access")}
      ${pick(`storage-${i}`, t("storage"), STORAGE, thing.storage, (storage) => set({ storage }), "storage")}
      <label class="check"><input type="checkbox" id=${`label-${i}`} checked=${thing.label} onChange=${(/** @type {any} */ event) => set({ label: event.target.checked })} />${t("label_ledge")}</label>
    </div>
    <${HandlingFields} thing=${thing} i=${i} set=${set} />
  </div>`;
}

/** @param {string} kind @param {number} n */
const sizeName = (kind, n) => t(SIZE_NAMES[kind]?.[n] ?? "long");

/** Give the trays that hold a thing a new place, as far as they may move. @param {string} key */
function release(key) {
  for (const drawer of draft.drawers) drawer.trays = releaseThing(drawer.trays, key);
}

/** @param {Thing} thing @param {number} by */
function count(thing, by) {
  const now = Number(thing.count);
  const next = Number.isInteger(now) ? Math.max(1, now + by) : 1;
  Object.assign(thing, { count: next });
  release(thing.key);
  changed("things");
  announce(t("now_count", { name: thing.name, count: next }));
}

/** @param {number} i */
function remove(i) {
  const [gone] = draft.things.splice(i, 1);
  if (!gone) return;
  for (const drawer of draft.drawers) drawer.trays = dropThing(drawer.trays, gone.key);
  for (const thing of draft.things) if (thing.near === gone.key) thing.near = "";
  litThing.value = null;
  changed("things");
  announce(t("removed", { name: gone.name }));
  window.requestAnimationFrame(() => (find(`remove-${Math.min(i, draft.things.length - 1)}`) ?? byId("search")).focus());
}

/** @param {string} name */
function free(name) {
  const names = new Set(draft.things.map((thing) => thing.name));
  let number = 2;
  while (names.has(`${name} ${number}`)) number += 1;
  return names.has(name) ? `${name} ${number}` : name;
}

/** @param {Partial<Thing> & {name: string}} thing */
function place(thing) {
  draft.things.push({
    kind: "box", id: "", count: 1, access: "sometimes", storage: "", group: "", near: "", label: false, sizes: [],
    ...thing, key: freeKey(draft.things, "t"), name: free(thing.name),
  });
}

/** @param {(Partial<Thing> & {name: string})[]} things */
function addAll(things) {
  things.forEach(place);
  changed("things");
  announce(t("added_count", { count: things.length }));
}

/** @param {Entry} entry */
function addStandard(entry) {
  const there = draft.things.find((thing) => thing.id === entry.id);
  if (there && entry.shape.kind !== "screw") {
    count(there, 1);
    return;
  }
  place({ kind: "standard", id: entry.id, name: entry.name, sizes: entry.shape.kind === "screw" ? [unitNow() === "mm" ? "16" : "5/8"] : [] });
  changed("things");
  announce(t("added", { name: entry.name }));
}

/** @param {Entry["shape"]} shape */
function sizeOf(shape) {
  if (shape.kind === "box") return sidesText(shape.size.map(shown));
  if (shape.kind === "tapered") return sidesText([`⌀ ${shown(shape.diameter)}–${shown(shape.end_diameter ?? 0)}`, shown(shape.length)]);
  if (shape.kind === "bundle") return sidesText([shape.rods ?? "", `⌀ ${shown(shape.diameter)}`, shown(shape.length)]);
  if (shape.kind === "coil") return sidesText([`⌀ ${shown(shape.diameter)}, ${shown(shape.length)}`, `⌀ ${shown(shape.cable ?? 0)}`]);
  if (shape.kind === "cylinder") return sidesText([`⌀ ${shown(shape.diameter)}`, shown(shape.length)]);
  return shape.kind === "screw" ? t("any_length") : "";
}

function Catalogue() {
  const words = search.value.toLowerCase().split(/\s+/).filter(Boolean);
  const fits = (/** @type {Entry} */ entry) => (!category.value || entry.category === category.value)
    && words.every((word) => `${entry.name} ${entry.category} ${categoryName(entry.category)} ${entry.id}`.toLowerCase().includes(word));
  const matches = catalogue.value.filter(fits);
  const enter = (/** @type {any} */ event) => {
    if (event.key !== "Enter" || !matches[0]) return;
    event.preventDefault();
    addStandard(matches[0]);
    search.value = "";
  };
  return html`<h3>${t("from_catalogue")}</h3>
    <div class="field"><label for="search">${t("search")}</label>
      <input id="search" type="search" value=${search.value} autocomplete="off" aria-describedby="search-hint" onInput=${(/** @type {any} */ event) => { search.value = event.target.value; }} onKeyDown=${enter} />
      <p class="hint" id="search-hint">${t("search_hint")}</p></div>
    <div class="chips" role="group" aria-label=${t("categories")} onKeyDown=${rove} onFocusIn=${stopAtFocus}>
      ${["", ...new Set(catalogue.value.map((entry) => entry.category))].map((name, n) => html`<button type="button" id=${`category-${name || "all"}`} data-rove=${`0,${n}`}
        tabIndex=${n === 0 ? 0 : -1} aria-pressed=${name === category.value ? "true" : "false"} onClick=${() => { category.value = name; }}>${name ? categoryName(name) : t("all")}</button>`)}</div>
    <ul class="matches plain" id="matches" onKeyDown=${rove} onFocusIn=${stopAtFocus}>${matches.length
      ? matches.map((entry, n) => html`<li key=${entry.id}><button type="button" id=${`add-${entry.id}`} title=${entry.source} data-rove=${`${n},0`} tabIndex=${n === 0 ? 0 : -1} onClick=${() => addStandard(entry)}>
          <span class="what">${entry.name}</span><span class="size">${sizeOf(entry.shape)}</span></button></li>`)
      : html`<li class="hint">${t("no_matches")}</li>`}</ul>`;
}

function OwnForm() {
  const { name, kind, sizes, rods } = own.value;
  const fields = sizes.slice(0, SIZES[kind]);
  const set = (/** @type {Partial<typeof own.value>} */ part) => { own.value = { ...own.value, ...part }; };
  const radio = (/** @type {typeof kind} */ value) => html`<label class="check"><input type="radio" name="own-kind" id=${`own-${value}`} checked=${kind === value} onChange=${() => set({ kind: value })} />${t(`kind_${value}`)}</label>`;
  const submit = (/** @type {Event} */ event) => {
    event.preventDefault();
    const empty = name.trim() ? fields.findIndex((size) => !size.trim()) : -2;
    if (empty !== -1) {
      byId(empty === -2 ? "own-name" : `own-size-${empty}`).focus();
      announce(t("fill_in"));
      return;
    }
    if (kind === "bundle" && !rods.trim()) {
      byId("own-rods").focus();
      announce(t("fill_in"));
      return;
    }
    place({ kind, name: name.trim(), sizes: fields, ...(kind === "bundle" ? { rods } : {}) });
    own.value = { name: "", kind, sizes: ["", "", ""], rods: "" };
    changed("things");
    announce(t("added", { name: name.trim() }));
    byId("own-name").focus();
  };
  return html`<form class="own" onSubmit=${submit}>
    ${text("own-name", t("thing_name"), name, (value) => set({ name: value }), "text")}
    <fieldset><legend>${t("shape")}</legend>${OWN_KINDS.map(radio)}</fieldset>
    <div class="three">${fields.map((size, n) => text(`own-size-${n}`, `${sizeName(kind, n)} ${t(`unit_${unitNow()}`)}`, size, (value) => set({ sizes: sizes.map((other, m) => (m === n ? value : other)) })))}
      ${kind === "bundle" && text("own-rods", t("rods"), rods, (value) => set({ rods: value }), "numeric")}</div>
    <button type="submit" id="own-add">${t("add_thing")}</button>
  </form>`;
}
