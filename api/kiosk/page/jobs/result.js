// Results of a job: 3-D view, print runs to tick off, map, files.

import { render } from "preact";

import { announce, button, byId, find, h, show } from "../elements/dom.js";
import { html } from "../elements/html.js";
import { leaveJob } from "./job.js";
import { t } from "../language/messages.js";
import { contentsNamed, documentsOf, drawModel, placementsOf } from "./model_panel.js";
import { duration, gramsText, kilobytes, moneyText, numberText } from "../language/numbers.js";
import { contentsOf } from "../plan/planned_trays.js";
import { changeJob } from "../plan/previous.js";
import { drawRuns, flush } from "./runs.js";
import { messageOf, requestJson, save } from "../service/service.js";
import { DrawerMap } from "../plan/drawer_map.js";

/** @typedef {import("../documents").Manifest} Manifest */

const TABS = ["view", "runs", "map", "files"];

/** @type {Manifest | null} */
let manifest = null;
let job = "";
let tab = "view";
/** @type {(() => void) | null} */
let leave = null;

/** @param {string} id */
export async function drawResult(id) {
  job = id;
  manifest = await requestJson("GET", `v1/jobs/${id}/manifest`);
  tab = "view";
  drawTabs();
}

/** Release the 3-D view and the watchers of the map, and record what was ticked. */
export function leaveResult() {
  leave?.();
  leave = null;
  flush();
}

function drawTabs() {
  leaveResult();
  if (!manifest) return;
  show(byId("make"),
    h("p", { id: "job-state" }, t("state_succeeded")),
    summary(manifest),
    h("div", { class: "choices start" }, button(t("change_job"), change, { id: "change-job" })),
    h("div", { class: "tabs", role: "tablist", "aria-label": t("results"), onkeydown: turn },
      TABS.map((key) => button(t(`tab_${key}`), () => open(key), { role: "tab", id: `tab-${key}`, "aria-selected": String(key === tab), "aria-controls": "panel", tabindex: key === tab ? "0" : "-1" }))),
    h("div", { id: "panel", role: "tabpanel", "aria-labelledby": `tab-${tab}` }),
    h("h3", {}, t("cautions")),
    h("ul", { class: "cautions" }, manifest.cautions.map((caution) => h("li", {}, caution.text))),
    button(t("new_job"), leaveJob, { id: "new-job" }));
  drawPanel(manifest);
}

/** Go on with this job's drawers: what is printed is used again. */
async function change() {
  try {
    const left = await changeJob(job);
    leaveJob();
    window.dispatchEvent(new CustomEvent("draft-opened", { detail: left }));
  } catch (error) {
    announce(messageOf(error));
  }
}

/** @param {string} key */
function open(key) {
  tab = key;
  drawTabs();
  byId(`tab-${key}`).focus();
}

/** @param {KeyboardEvent} event */
function turn(event) {
  const key = { ArrowRight: 1, ArrowLeft: -1 }[event.key];
  if (!key) return;
  const step = document.dir === "rtl" ? -key : key;
  event.preventDefault();
  open(TABS[(TABS.indexOf(tab) + step + TABS.length) % TABS.length] ?? tab);
}

/** @param {Manifest} document */
function summary({ work }) {
  if (!work) return null;
  const facts = [
    [t("sum_pieces"), String(work.pieces)],
    [t("sum_runs"), String(work.runs)],
    work.seconds != null && [t("sum_time"), `${duration(work.seconds)}${work.time_uncertainty ? ` ± ${Math.round(100 * work.time_uncertainty)} %` : ""}`],
    work.grams != null && [t("sum_filament"), `${gramsText(work.grams)}, ${numberText(work.metres ?? 0)} m`],
    work.cost != null && [t("sum_cost"), moneyText(work.cost)],
  ];
  return h("dl", { class: "facts", id: "facts" }, facts.map((fact) => fact && h("div", {}, h("dt", {}, fact[0]), h("dd", {}, fact[1]))));
}

/** @param {Manifest} document */
function drawPanel(document) {
  const panel = byId("panel");
  if (tab === "view") drawModel(panel, document, job, (release) => { leave = release; });
  else if (tab === "runs") drawRuns(panel, job, document);
  else if (tab === "map") drawMap(panel, document);
  else drawFiles(panel, document);
}

/** @param {HTMLElement} panel @param {Manifest} document */
function drawMap(panel, document) {
  const search = h("input", { id: "find-item", type: "search", maxlength: 80, autocomplete: "off", oninput: () => draw() });
  const answer = h("p", { id: "item-places", role: "status" });
  show(panel, h("div", { class: "field" }, h("label", { for: "find-item" }, t("where_is")), search), answer, document.drawers.map((drawer, index) => {
    const files = documentsOf(document, "map").filter((map) => map.drawer === drawer.name && map.file.media_type !== "image/svg+xml");
    return h("figure", { id: `map-${index}` }, h("div", { class: "drawing", id: `drawing-${index}` }), h("figcaption", {}, drawer.name, " ",
      files.map((map) => button(t("get_map"), () => get(`v1/jobs/${job}/files/${map.file.name}`, map.file.name), { class: "quiet" }))),
      h("table", { class: "legend" }, h("caption", {}, t("what_is_where")),
        h("thead", {}, h("tr", {}, ["mark", "name", "holds"].map((title) => h("th", { scope: "col" }, t(title))))),
        h("tbody", {}, drawer.placements.map((placement, at) => placement.cell && h("tr", {},
          h("th", { scope: "row" }, placement.mark), h("td", {}, placement.name ?? ""), h("td", {}, contentsOf(drawer, at)))))));
  }));
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
      if (node) render(html`<${DrawerMap} plan=${document} drawer=${drawer} px=${node.clientWidth} lit=${lit} />`, node);
    });
    answer.textContent = query ? places.join("; ") || t("nothing_matches", { name: search.value.trim() }) : "";
  };
  const watcher = new ResizeObserver(draw);
  watcher.observe(panel);
  draw();
  leave = () => watcher.disconnect();
}

/** @param {HTMLElement} panel @param {Manifest} document */
function drawFiles(panel, document) {
  /** @type {[string, {name: string, bytes: number}, string][]} */
  const rows = [
    ...(document.documents ?? []).map((entry) => /** @type {[string, {name: string, bytes: number}, string]} */ ([entry.title, entry.file, `v1/jobs/${job}/files/${entry.file.name}`])),
    ...document.parts.flatMap((part) => part.files.map((file) => /** @type {[string, {name: string, bytes: number}, string]} */ ([`${part.quantity} × ${part.mark} ${part.name}`, file, `v1/jobs/${job}/files/${file.name}`]))),
  ];
  if (document.bundle) rows.unshift([t("bundle"), document.bundle, `v1/jobs/${job}/bundle.zip`]);
  show(panel, h("ul", { class: "plain files" }, rows.map(([title, file, path]) => h("li", {},
    button([h("span", { class: "what" }, title), h("span", { class: "size" }, `${file.name}, ${kilobytes(file.bytes)}`)], () => get(path, file.name), { id: `file-${file.name}` })))));
}

/** @param {string} path @param {string} file */
async function get(path, file) {
  try {
    await save(path, file);
    announce(t("saved", { name: file }));
  } catch (error) {
    announce(messageOf(error));
  }
}
