// Step 1: the form for the tape readings, and a drawing that shows where to measure.

import { addDrawer, changed, choose, copyDrawer, current, draft, drawerNow, dropDrawer, isBlank, replaceDraft } from "../draft/draft.js";
import { button, byId, find, h, s, show } from "../elements/dom.js";
import { exampleDraft } from "../draft/example.js";
import { t } from "../language/messages.js";
import { mark } from "../elements/problems.js";
import { unitNow } from "../language/units.js";

/** @typedef {import("../draft/draft_format.js").DrawerDraft} DrawerDraft */

/** Whether the user opened the rare fields. */
let more = false;

const WIDTHS = ["front", "middle", "back"];
const DEPTHS = ["left", "middle", "right"];

export function drawMeasure() {
  const drawer = drawerNow();
  const d = current;
  const drop = () => {
    dropDrawer(d);
    byId(`drawer-${current}`).focus();
  };
  show(byId("measure"),
    isBlank() && h("div", { class: "welcome", id: "welcome" }, h("p", {}, t("first_run")), button(t("example"), () => replaceDraft(exampleDraft()), { id: "example-first", class: "main" })),
    h("div", { class: "tabs", role: "group", "aria-label": t("drawers") },
      draft.drawers.map((entry, index) => button(entry.name || "?", () => choose(index), { "aria-pressed": String(index === current), id: `drawer-${index}` })),
      button(t("add_drawer"), addDrawer, { id: "add-drawer", class: "quiet" })),
    h("p", { class: "hint" }, t("measure_hint")),
    h("div", { class: "measuring" },
      h("div", { class: "fields" },
        field(`name-${d}`, t("drawer_name"), drawer.name, (text) => { drawer.name = text; byId(`drawer-${d}`).textContent = text || "?"; }, { inputmode: "text" }),
        h("fieldset", {}, h("legend", {}, `${t("widths")} (${t(`unit_${unitNow()}`)})`), h("div", { class: "three" }, WIDTHS.map((place, i) => reading(drawer, "width", i, place)))),
        h("fieldset", {}, h("legend", {}, `${t("depths")} (${t(`unit_${unitNow()}`)})`), h("div", { class: "three" }, DEPTHS.map((place, i) => reading(drawer, "depth", i, place)))),
        field(`height-${d}`, t("height"), drawer.height, (text) => { drawer.height = text; }, { unit: true, line: "height" }),
        h("details", { open: more || Boolean(drawer.corner || drawer.obstacles.length || drawer.copies !== 1 || drawer.bare), ontoggle: (/** @type {any} */ event) => { more = event.target.open; } },
          h("summary", {}, t("more")),
          field(`corner-${d}`, t("corner"), drawer.corner, (text) => { drawer.corner = text; }, { unit: true }),
          field(`copies-${d}`, t("copies"), String(drawer.copies), (text) => { drawer.copies = /^\d+$/.test(text.trim()) ? Number(text) : text; }, { inputmode: "numeric" }),
          h("div", { class: "obstacles" }, drawer.obstacles.map((item, o) => obstacle(drawer, item, d, o))),
          h("label", { class: "check" }, h("input", { type: "checkbox", id: `bare-${d}`, checked: drawer.bare, onchange: (/** @type {any} */ event) => { drawer.bare = event.target.checked; changed("field"); } }), t("bare")),
          button(t("add_obstacle"), () => { drawer.obstacles.push({ x: "", y: "", w: "", d: "" }); changed("drawer"); }, { class: "quiet", id: "add-obstacle" }),
          button(t("copy_drawer"), () => copyDrawer(d), { class: "quiet", id: "copy-drawer" }),
          draft.drawers.length > 1 && button(t("drop_drawer"), drop, { class: "quiet danger", id: "drop-drawer" }))),
      drawing(d)));
  mark();
}

/** @param {DrawerDraft} drawer @param {"width" | "depth"} side @param {number} index @param {string} place */
function reading(drawer, side, index, place) {
  const set = (/** @type {string} */ text) => { drawer[side][index] = text; };
  return field(`${side}-${current}-${index}`, t(`place_${place}`), drawer[side][index] ?? "", set, { length: true, line: `${side}-${index}` });
}

/** @param {DrawerDraft} drawer @param {import("../draft/draft_format.js").Obstacle} item @param {number} d @param {number} o */
function obstacle(drawer, item, d, o) {
  /** @type {[side: "x" | "y" | "w" | "d", key: string][]} */
  const sides = [["x", "obstacle_x"], ["y", "obstacle_y"], ["w", "obstacle_w"], ["d", "obstacle_d"]];
  const drop = () => {
    drawer.obstacles.splice(o, 1);
    changed("drawer");
    byId("add-obstacle").focus();
  };
  return h("fieldset", {}, h("legend", {}, t("obstacle", { number: o + 1 })),
    h("div", { class: "four" },
      sides.map(([side, key]) => field(`obstacle-${d}-${o}-${side}`, t(key), item[side], (text) => { Object.assign(item, { [side]: text }); }, { unit: true }))),
    button(t("remove"), drop, { class: "quiet", id: `remove-obstacle-${o}` }));
}

/**
 * Create a labelled text field; `line` names the tape of the drawing that is highlighted with it.
 * @param {string} id
 * @param {string} label
 * @param {string} value
 * @param {(text: string) => void} set
 * @param {{unit?: boolean, length?: boolean, line?: string, inputmode?: string}} [options]
 */
export function field(id, label, value, set, { unit = false, length = unit, line = "", inputmode = "decimal" } = {}) {
  const light = (/** @type {boolean} */ on) => line && find(`tape-${line}`)?.classList.toggle("active", on);
  const input = h("input", {
    id, value, inputmode: unitNow() === "in" && length ? "text" : inputmode, autocomplete: "off", type: "text", maxlength: 80,
    oninput: (/** @type {any} */ event) => { set(event.target.value); changed("field"); },
    onfocus: () => light(true), onblur: () => light(false),
  });
  return h("div", { class: "field" }, h("label", { for: id }, label, unit ? h("span", { class: "unit" }, ` ${t(`unit_${unitNow()}`)}`) : null), input);
}

/** Draw the drawer from above, front at the bottom, and in section for the height; a tap on a tape focuses its field. @param {number} d */
function drawing(d) {
  const to = (/** @type {string} */ id) => ({ class: "tape", onclick: () => find(id)?.focus() });
  const across = [188, 120, 52].map((y, i) => tape(`width-${i}`, [40, y], [260, y], t(`place_${WIDTHS[i] ?? ""}`), to(`width-${d}-${i}`)));
  const deep = [70, 150, 230].map((x, i) => tape(`depth-${i}`, [x, 210], [x, 30], t(`place_${DEPTHS[i] ?? ""}`), to(`depth-${d}-${i}`)));
  return h("figure", { class: "where" },
    s("svg", { viewBox: "0 0 300 330", role: "img", "aria-label": t("drawing_label") },
      s("rect", { x: 30, y: 20, width: 240, height: 200, class: "board" }),
      s("rect", { x: 40, y: 30, width: 220, height: 180, class: "inside" }),
      s("rect", { x: 22, y: 220, width: 256, height: 12, class: "board" }),
      s("text", { x: 150, y: 247, class: "caption", "text-anchor": "middle" }, t("front_of_drawer")),
      across, deep,
      s("path", { d: "M40 262 V318 H260 V262", class: "side" }),
      tape("height", [150, 318], [150, 266], t("height_short"), to(`height-${d}`))),
    h("figcaption", {}, t("drawing_caption")));
}

/** @param {string} name @param {[number, number]} from @param {[number, number]} to @param {string} text @param {Record<string, any>} attributes */
function tape(name, [x1, y1], [x2, y2], text, attributes) {
  const upright = x1 === x2;
  return s("g", { id: `tape-${name}`, ...attributes },
    s("line", { x1, y1, x2, y2, class: "touch" }),
    s("line", { x1, y1, x2, y2, class: "line" }),
    /** @type {[number, number][]} */ ([[x1, y1], [x2, y2]]).map(([x, y]) => upright ? s("line", { x1: x - 5, y1: y, x2: x + 5, y2: y, class: "line" }) : s("line", { x1: x, y1: y - 5, x2: x, y2: y + 5, class: "line" })),
    upright
      ? s("text", { x: x1 + 4, y: y2 + (name === "height" ? 30 : 12), class: "tape-name" }, text)
      : s("text", { x: x1 + 60, y: y1 - 4, class: "tape-name" }, text));
}
