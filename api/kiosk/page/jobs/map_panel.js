// The maps of a finished job: where each thing lies, in the tints of its group.

import { render } from "preact";

import { draftOf } from "../draft/spec_to_draft.js";
import { button, find, h, show } from "../elements/dom.js";
import { html } from "../elements/html.js";
import { t } from "../language/messages.js";
import { DrawerMap, widthOf } from "../plan/drawer_map.js";
import { GroupList } from "../plan/group_list.js";
import { groupsOf, tintsOf, trayTints } from "../plan/group_tints.js";
import { contentsOf } from "../plan/planned_trays.js";
import { saveFile } from "../service/saving.js";
import { ConnectionLost, requestJson, RequestRefused } from "../service/service.js";
import { categories } from "../steps/catalogue.js";
import { contentsNamed, documentsOf, placementsOf } from "./model_panel.js";

/** @typedef {import("../documents").Manifest} Manifest */

/**
 * Draw the maps of a job's drawers with a search for things.
 * @param {HTMLElement} panel
 * @param {Manifest} document
 * @param {string} job
 * @returns {() => void} what ends the watching of the panel
 */
export function drawMap(panel, document, job) {
  const search = h("input", { id: "find-item", type: "search", maxlength: 80, autocomplete: "off", oninput: () => draw() });
  const answer = h("p", { id: "item-places", role: "status" });
  show(panel, h("div", { class: "field" }, h("label", { for: "find-item" }, t("where_is")), search), answer, document.drawers.map((drawer, index) => {
    const files = documentsOf(document, "map").filter((map) => map.drawer === drawer.name && map.file.media_type !== "image/svg+xml");
    return h("figure", { id: `map-${index}` }, h("div", { class: "drawing", id: `drawing-${index}` }), h("div", { id: `groups-${index}` }), h("figcaption", {}, drawer.name, " ",
      files.map((map) => button(t("get_map"), () => saveFile(`v1/jobs/${job}/files/${map.file.name}`, map.file.name), { class: "quiet" }))),
      h("table", { class: "legend" }, h("caption", {}, t("what_is_where")),
        h("thead", {}, h("tr", {}, ["mark", "name", "holds"].map((title) => h("th", { scope: "col" }, t(title))))),
        h("tbody", {}, drawer.placements.map((placement, at) => placement.cell && h("tr", {},
          h("th", { scope: "row" }, placement.mark), h("td", {}, placement.name ?? ""), h("td", {}, contentsOf(drawer, at)))))));
  }));
  let groups = new Map();
  let tints = new Map();
  const draw = () => {
    const query = search.value.trim().toLowerCase();
    /** @type {string[]} */
    const places = [];
    document.drawers.forEach((drawer, index) => {
      const node = find(`drawing-${index}`);
      const matching = contentsNamed(drawer, query);
      const lit = placementsOf(matching);
      for (const content of matching) {
        if (content.placement === null) places.push(`${drawer.name}, ${drawer.lanes[content.lane ?? -1]?.name ?? ""}: ${content.count} × ${content.item}`);
      }
      for (const at of lit) places.push(`${drawer.name}, ${drawer.placements[at]?.mark}: ${contentsOf(drawer, at)}`);
      if (node) render(html`<${DrawerMap} plan=${document} drawer=${drawer} px=${widthOf(drawer, node.clientWidth)} lit=${lit} tints=${trayTints(drawer, groups, tints)} />`, node);
      const list = find(`groups-${index}`);
      if (list) render(html`<${GroupList} tints=${tints} />`, list);
    });
    answer.textContent = query ? places.join("; ") || t("nothing_matches", { name: search.value.trim() }) : "";
  };
  const watcher = new ResizeObserver(draw);
  watcher.observe(panel);
  draw();
  groupsIn(job).then((named) => {
    groups = named;
    tints = tintsOf(groups);
    draw();
  });
  return () => watcher.disconnect();
}

/** The groups of a job's things by their names; none if its spec cannot be had. @param {string} job */
async function groupsIn(job) {
  /** @type {Map<string, string>} */
  const groups = new Map();
  try {
    const things = draftOf(await requestJson("GET", `v1/jobs/${job}/spec`))?.draft.things ?? [];
    const byKey = groupsOf(things, categories.value);
    for (const thing of things) groups.set(thing.name, byKey.get(thing.key) ?? "");
  } catch (error) {
    if (!(error instanceof RequestRefused) && !(error instanceof ConnectionLost)) throw error;
  }
  return new Map([...groups].filter(([, group]) => group));
}
