// Results of a job: 3-D view, print runs to tick off, map, files.

import { announce, button, byId, h, show } from "../elements/dom.js";
import { leaveJob } from "./job.js";
import { t } from "../language/messages.js";
import { drawMap } from "./map_panel.js";
import { drawModel } from "./model_panel.js";
import { duration, gramsText, kilobytes, moneyText, numberText } from "../language/numbers.js";
import { changeJob } from "../plan/previous.js";
import { drawRuns, flush } from "./runs.js";
import { saveFile } from "../service/saving.js";
import { messageOf, requestJson } from "../service/service.js";

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
  else if (tab === "map") leave = drawMap(panel, document, job);
  else drawFiles(panel, document);
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
    button([h("span", { class: "what" }, title), h("span", { class: "size" }, `${file.name}, ${kilobytes(file.bytes)}`)], () => saveFile(path, file.name), { id: `file-${file.name}` })))));
}
