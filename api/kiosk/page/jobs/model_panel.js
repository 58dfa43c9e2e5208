// The drawers of a job as models in three dimensions: views, layers taken apart, what a tapped piece is, where a thing lies.

import { button, h, show } from "../elements/dom.js";
import { t } from "../language/messages.js";
import { contentsOf } from "../plan/planned_trays.js";
import { ConnectionLost, request } from "../service/service.js";

/** @typedef {import("../documents").Manifest} Manifest */

/** The documents of a job in this role. @param {Manifest} document @param {string} role */
export const documentsOf = (document, role) => (document.documents ?? []).filter((entry) => entry.role === role);

/**
 * Show the drawers of a job as models.
 * @param {HTMLElement} panel
 * @param {Manifest} document
 * @param {string} job
 * @param {(release: (() => void) | null) => void} whenStaged called with what releases the model that is shown
 */
export async function drawModel(panel, document, job, whenStaged) {
  const models = documentsOf(document, "model");
  if (!models.length) {
    show(panel, h("p", { class: "hint" }, t("no_model")));
    return;
  }
  const canvas = h("div", { class: "stage", id: "stage" });
  const named = h("p", { id: "view-piece", role: "status" });
  /** @type {import("./view.js").Stage | null} */
  let staged = null;
  let apart = false;
  /** @type {import("../documents").DrawerPlan | undefined} */
  let drawer;
  const takeApart = (/** @type {any} */ event) => {
    apart = !apart;
    event.currentTarget.setAttribute("aria-pressed", String(apart));
    staged?.takeApart(apart);
  };
  const lightUp = () => {
    const lit = drawer ? placementsOf(contentsNamed(drawer, search.value)) : /** @type {Set<number>} */ (new Set());
    staged?.light(lit);
    named.textContent = [...lit].map((at) => drawer && describe(drawer, at)).join("; ") || (search.value.trim() && t("nothing_matches", { name: search.value.trim() }));
  };
  const search = h("input", { id: "find-piece", type: "search", maxlength: 80, autocomplete: "off", oninput: lightUp });
  const views = h("div", { class: "choices start", role: "group", "aria-label": t("views") },
    ["front", "above", "side"].map((view) => button(t(`view_${view}`), () => staged?.look(view), { id: `look-${view}`, class: "quiet" })),
    button(t("take_apart"), takeApart, { id: "take-apart", class: "quiet", "aria-pressed": "false" }));
  const pick = models.length > 1 && h("div", { class: "field" }, h("label", { for: "which" }, t("drawer")),
    h("select", { id: "which", onchange: (/** @type {any} */ event) => load(Number(event.target.value)) }, models.map((model, index) => h("option", { value: index }, model.drawer ?? model.title))));
  show(panel, pick, canvas, views, named, h("div", { class: "field" }, h("label", { for: "find-piece" }, t("where_is")), search), h("p", { class: "hint" }, t("view_hint")));
  /** @param {number} index */
  async function load(index) {
    const model = models[index];
    if (!model) return;
    staged?.leave();
    staged = null;
    whenStaged(null);
    try {
      const [{ stage }, answer] = await Promise.all([import("./view.js"), request("GET", `v1/jobs/${job}/files/${model.file.name}`)]);
      drawer = document.drawers.find((entry) => entry.name === model.drawer);
      const shown = drawer;
      const inside = shown ? { width: shown.size[0], depth: shown.size[1], height: shown.size[2] } : null;
      staged = await stage(canvas, await answer.arrayBuffer(), model.title, inside, (at) => {
        if (shown) named.textContent = describe(shown, at);
      });
      if (!canvas.isConnected) { // the panel was left meanwhile
        staged.leave();
        return;
      }
      whenStaged(staged.leave);
      if (apart) staged.takeApart(apart);
      if (search.value.trim()) lightUp(); // typed before the model had arrived
    } catch (error) {
      show(canvas, h("p", { class: "hint" }, t(error instanceof ConnectionLost ? "no_connection" : "no_webgl")));
    }
  }
  await load(0);
}

/**
 * What a drawer holds of things with this name, or part of it; nothing for no name.
 * @param {import("../documents").DrawerPlan} drawer
 * @param {string} name
 */
export function contentsNamed(drawer, name) {
  const query = name.trim().toLowerCase();
  return query ? drawer.contents.filter((content) => content.item.toLowerCase().includes(query)) : [];
}

/** The placements that some contents lie in. @param {import("../documents").Content[]} contents */
export const placementsOf = (contents) => new Set(contents.map((content) => content.placement).filter((at) => at !== null));

/** The mark and name of a placement, and what lies in it. @param {import("../documents").DrawerPlan} drawer @param {number} at */
export function describe(drawer, at) {
  const place = drawer.placements[at];
  return [[place?.mark, place?.name].filter(Boolean).join(" "), contentsOf(drawer, at)].filter(Boolean).join(": ");
}
