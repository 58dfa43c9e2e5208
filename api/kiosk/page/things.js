// Step 2: the items to store, chosen from the catalogue or described.

import { changed, draft } from "./draft.js";
import { announce, button, byId, h, show } from "./dom.js";
import { field } from "./measure.js";
import { t } from "./messages.js";
import { mark } from "./problems.js";
import { requestJson } from "./service.js";
import { shown, unitNow } from "./units.js";

const ACCESS = ["often", "sometimes", "rarely"];
const STORAGE = ["", "rows", "upright", "loose", "pocket"];

let catalogue = [];
let search = "";
let category = "";
const own = { name: "", kind: "box", sizes: ["", "", ""], count: 1 };

export async function loadCatalogue() {
  catalogue = (await requestJson("GET", "v1/catalogue")).things;
}

export function drawThings() {
  show(byId("things"),
    h("div", { class: "chosen" },
      draft.things.length ? h("ul", { class: "plain" }, draft.things.map(chosen)) : h("p", { class: "hint" }, t("no_things"))),
    h("h3", {}, t("from_catalogue")),
    h("div", { class: "field" }, h("label", { for: "search" }, t("search")),
      h("input", { id: "search", type: "search", value: search, autocomplete: "off", oninput: (event) => { search = event.target.value; drawMatches(); } })),
    h("div", { class: "chips", role: "group", "aria-label": t("categories") },
      ["", ...new Set(catalogue.map((entry) => entry.category))].map((name) =>
        button(name === "" ? t("all") : name, () => { category = name; drawThings(); }, { "aria-pressed": String(name === category), id: `category-${name || "all"}` }))),
    h("ul", { class: "matches plain", id: "matches" }),
    h("h3", {}, t("something_else")),
    ownForm());
  drawMatches();
  mark();
}

function drawMatches() {
  const words = search.toLowerCase().split(/\s+/).filter(Boolean);
  const fits = (entry) => (!category || entry.category === category) && words.every((word) => `${entry.name} ${entry.category} ${entry.id}`.toLowerCase().includes(word));
  const matches = catalogue.filter(fits);
  show(byId("matches"), matches.length ? matches.map((entry) =>
    h("li", {}, button([h("span", { class: "what" }, entry.name), h("span", { class: "size" }, sizeOf(entry.shape))], () => addStandard(entry), { id: `add-${entry.id}`, title: entry.source })))
    : h("li", { class: "hint" }, t("no_matches")));
}

function sizeOf(shape) {
  if (shape.kind === "box") return shape.size.map(shown).join(" × ");
  if (shape.kind === "cylinder") return `⌀ ${shown(shape.diameter)} × ${shown(shape.length)}`;
  if (shape.kind === "screw") return t("any_length");
  return "";
}

function free(name) {
  const names = new Set(draft.things.map((thing) => thing.name));
  if (!names.has(name)) return name;
  let number = 2;
  while (names.has(`${name} ${number}`)) number += 1;
  return `${name} ${number}`;
}

function add(thing) {
  draft.things.push({ count: 1, access: "sometimes", storage: "", group: "", label: false, sizes: [], ...thing, name: free(thing.name) });
  changed("things");
  announce(t("added", { name: thing.name }));
}

function addStandard(entry) {
  const there = draft.things.find((thing) => thing.id === entry.id);
  if (there && entry.shape.kind !== "screw") {
    there.count = Number(there.count) + 1;
    changed("things");
    announce(t("now_count", { name: there.name, count: there.count }));
    return;
  }
  add({ kind: "standard", id: entry.id, name: entry.name, sizes: entry.shape.kind === "screw" ? [unitNow() === "mm" ? "16" : "5/8"] : [] });
}

function chosen(thing, i) {
  const pick = (id, label, options, value, set, prefix) => h("div", { class: "field" }, h("label", { for: id }, label),
    h("select", { id, onchange: (event) => { set(event.target.value); changed("field"); } },
      options.map((option) => h("option", { value: option, selected: option === value }, t(`${prefix}_${option || "any"}`)))));
  const count = (by) => { thing.count = Math.max(1, Number(thing.count) + by || 1); changed("things"); };
  return h("li", { class: "thing" },
    h("div", { class: "thing-head" },
      h("input", { id: `thing-${i}`, value: thing.name, "aria-label": t("thing_name"), maxlength: 80, autocomplete: "off", oninput: (event) => { thing.name = event.target.value; changed("field"); } }),
      h("div", { class: "counter field", role: "group", "aria-label": t("count_of", { name: thing.name }) },
        button("−", () => count(-1), { "aria-label": t("fewer"), id: `fewer-${i}` }),
        h("input", { id: `count-${i}`, value: String(thing.count), inputmode: "numeric", "aria-label": t("count"), maxlength: 5, oninput: (event) => { thing.count = /^\d+$/.test(event.target.value.trim()) ? Number(event.target.value) : event.target.value; changed("field"); } }),
        button("+", () => count(1), { "aria-label": t("more_of"), id: `more-${i}` })),
      button("×", () => { draft.things.splice(i, 1); changed("things"); }, { class: "quiet danger", "aria-label": t("remove_thing", { name: thing.name }), id: `remove-${i}` })),
    h("details", { open: thing.open, ontoggle: (event) => { thing.open = event.target.open; } },
      h("summary", {}, t("how_kept")),
      h("div", { class: "three" },
        pick(`access-${i}`, t("access"), ACCESS, thing.access, (value) => { thing.access = value; }, "access"),
        pick(`storage-${i}`, t("storage"), STORAGE, thing.storage, (value) => { thing.storage = value; }, "storage"),
        field(`group-${i}`, t("group"), thing.group, (text) => { thing.group = text; }, { inputmode: "text" })),
      h("div", { class: "three" }, thing.sizes.map((size, n) => field(`size-${i}-${n}`, sizeName(thing, n), size, (text) => { thing.sizes[n] = text; }, { unit: true }))),
      h("label", { class: "check" }, h("input", { type: "checkbox", checked: thing.label, onchange: (event) => { thing.label = event.target.checked; changed("field"); } }), t("label_ledge"))));
}

function sizeName(thing, n) {
  if (thing.kind === "box") return t(["long", "wide", "high"][n]);
  return thing.kind === "cylinder" ? t(["across", "long"][n]) : t("under_head");
}

function ownForm() {
  const sizes = own.kind === "box" ? 3 : 2;
  const kind = (value) => h("label", { class: "check" },
    h("input", { type: "radio", name: "own-kind", id: `own-${value}`, checked: own.kind === value, onchange: () => { own.kind = value; drawThings(); } }), t(`kind_${value}`));
  const quiet = (set) => (text) => set(text);
  return h("form", { class: "own", onsubmit: (event) => { event.preventDefault(); addOwn(); } },
    field("own-name", t("thing_name"), own.name, quiet((text) => { own.name = text; }), { inputmode: "text" }),
    h("fieldset", {}, h("legend", {}, t("shape")), kind("box"), kind("cylinder")),
    h("div", { class: "three" }, own.sizes.slice(0, sizes).map((size, n) => field(`own-size-${n}`, sizeName(own, n), size, quiet((text) => { own.sizes[n] = text; }), { unit: true }))),
    h("button", { type: "submit", id: "own-add" }, t("add_thing")));
}

function addOwn() {
  const sizes = own.sizes.slice(0, own.kind === "box" ? 3 : 2);
  const empty = own.name.trim() ? sizes.findIndex((size) => !size.trim()) : -2;
  if (empty !== -1) {
    byId(empty === -2 ? "own-name" : `own-size-${empty}`).focus();
    announce(t("fill_in"));
    return;
  }
  add({ kind: own.kind, name: own.name.trim(), sizes });
  Object.assign(own, { name: "", sizes: ["", "", ""] });
  drawThings();
}
