// Results of a job: 3-D view, print runs to tick off, map, files.

import { announce, button, byId, h, show } from "./dom.js";
import { leaveJob } from "./job.js";
import { t } from "./messages.js";
import { picture } from "./plan.js";
import { ConnectionLost, faults, randomId, request, requestJson, RequestRefused, save } from "./service.js";

const TABS = ["view", "runs", "map", "files"];

let manifest = null;
let job = "";
let tab = "view";
let record = null;
let leave = null;

export async function drawResult(id) {
  job = id;
  manifest = await requestJson("GET", `v1/jobs/${id}/manifest`);
  record = null;
  tab = "view";
  drawTabs();
}

/** Release the 3-D view. */
export function leaveResult() {
  leave?.();
  leave = null;
}

function drawTabs() {
  leaveResult();
  show(byId("make"),
    h("p", { id: "job-state" }, t("state_succeeded")),
    summary(),
    h("div", { class: "tabs", role: "tablist", "aria-label": t("results"), onkeydown: turn },
      TABS.map((name) => button(t(`tab_${name}`), () => open(name), { role: "tab", id: `tab-${name}`, "aria-selected": String(name === tab), "aria-controls": "panel", tabindex: name === tab ? "0" : "-1" }))),
    h("div", { id: "panel", role: "tabpanel", "aria-labelledby": `tab-${tab}` }),
    h("h3", {}, t("cautions")),
    h("ul", { class: "cautions" }, manifest.cautions.map((caution) => h("li", {}, caution.text))),
    button(t("new_job"), leaveJob, { id: "new-job" }));
  drawPanel();
}

function open(name) {
  tab = name;
  drawTabs();
  byId(`tab-${name}`).focus();
}

function turn(event) {
  const step = { ArrowRight: 1, ArrowLeft: -1 }[event.key];
  if (!step) return;
  event.preventDefault();
  open(TABS[(TABS.indexOf(tab) + step + TABS.length) % TABS.length]);
}

export function duration(seconds) {
  const minutes = Math.round(seconds / 60);
  return minutes < 60 ? t("minutes", { minutes }) : t("hours", { hours: Math.floor(minutes / 60), minutes: String(minutes % 60).padStart(2, "0") });
}

function summary() {
  const { work } = manifest;
  if (!work) return null;
  const facts = [
    [t("sum_pieces"), String(work.pieces)],
    [t("sum_runs"), String(work.runs)],
    work.seconds != null && [t("sum_time"), `${duration(work.seconds)}${work.time_uncertainty ? ` ± ${Math.round(100 * work.time_uncertainty)} %` : ""}`],
    work.grams != null && [t("sum_filament"), `${Math.round(work.grams)} g, ${work.metres.toFixed(0)} m`],
    work.cost != null && [t("sum_cost"), work.cost.toFixed(2)],
  ].filter(Boolean);
  return h("dl", { class: "facts", id: "facts" }, facts.map(([name, value]) => h("div", {}, h("dt", {}, name), h("dd", {}, value))));
}

function drawPanel() {
  const panel = byId("panel");
  if (tab === "view") drawView(panel);
  else if (tab === "runs") drawRuns(panel);
  else if (tab === "map") drawMap(panel);
  else drawFiles(panel);
}

const documents = (role) => (manifest.documents ?? []).filter((entry) => entry.role === role);

async function drawView(panel) {
  const models = documents("model");
  if (!models.length) {
    show(panel, h("p", { class: "hint" }, t("no_model")));
    return;
  }
  const canvas = h("div", { class: "stage", id: "stage" });
  const pick = models.length > 1 && h("div", { class: "field" }, h("label", { for: "which" }, t("drawer")),
    h("select", { id: "which", onchange: (event) => load(Number(event.target.value)) }, models.map((model, index) => h("option", { value: index }, model.drawer ?? model.title))));
  show(panel, pick, canvas, h("p", { class: "hint" }, t("view_hint")));
  async function load(index) {
    leaveResult();
    try {
      const [{ stage }, answer] = await Promise.all([import("./view.js"), request("GET", `v1/jobs/${job}/files/${models[index].file.name}`)]);
      leave = await stage(canvas, await answer.arrayBuffer(), models[index].title);
    } catch (error) {
      if (error instanceof ConnectionLost) show(canvas, h("p", { class: "hint" }, t("lost")));
      else show(canvas, h("p", { class: "hint" }, t("no_webgl")));
    }
  }
  await load(0);
}

async function drawRuns(panel) {
  if (!panel.querySelector(".run")) show(panel, h("p", { class: "hint" }, t("loading")));
  try {
    record = await requestJson("GET", `v1/jobs/${job}/runs`);
  } catch (error) {
    if (!(error instanceof RequestRefused) && !(error instanceof ConnectionLost)) throw error;
    record = null;
  }
  if (tab !== "runs") return;
  const runs = record?.runs ?? manifest.runs ?? [];
  if (!runs.length) {
    show(panel, h("p", { id: "all-printed" }, t("all_printed")));
    return;
  }
  show(panel,
    h("p", { class: "hint" }, t("runs_hint")),
    h("ol", { class: "plain runs" }, runs.map((run) => h("li", { class: "run", id: `run-${run.number}` },
      h("h3", {}, t("run", { number: run.number })),
      h("p", {}, pieces(run)),
      h("p", { class: "hint" }, [run.material, run.seconds && duration(run.seconds), run.grams && `${Math.round(run.grams)} g`].filter(Boolean).join(", ")),
      h("div", { class: "choices" },
        run.file && button(t("get_file"), () => get(`v1/jobs/${job}/runs/${run.number}.3mf`, run.file), { id: `get-${run.number}` }),
        button(t("is_printed"), () => tick(run.number, "printed"), { id: `printed-${run.number}`, class: "main" }),
        button(t("has_failed"), () => tick(run.number, "failed"), { id: `failed-${run.number}`, class: "quiet danger" }))))));
}

function pieces(run) {
  const counts = new Map();
  for (const piece of run.pieces) counts.set(piece.mark, (counts.get(piece.mark) ?? 0) + 1);
  return [...counts].map(([mark, count]) => (count > 1 ? `${count} × ${mark}` : mark)).join(", ");
}

async function tick(number, outcome) {
  try {
    await requestJson("POST", `v1/jobs/${job}/prints`, { body: { outcome, run: number, id: randomId() } });
    announce(t(`recorded_${outcome}`, { number }));
  } catch (error) {
    if (error instanceof RequestRefused) announce(faults(error.problem)[0].text);
    else if (error instanceof ConnectionLost) announce(t("lost"));
    else throw error;
  }
  await drawRuns(byId("panel"));
}

async function drawMap(panel) {
  show(panel, manifest.drawers.map((drawer, index) => {
    const files = documents("map").filter((map) => map.drawer === drawer.name && map.file.media_type !== "image/svg+xml");
    return h("figure", { id: `map-${index}` }, picture(drawer, manifest), h("figcaption", {}, drawer.name, " ",
      files.map((map) => button(t("get_map"), () => get(`v1/jobs/${job}/files/${map.file.name}`, map.file.name), { class: "quiet" }))),
      h("table", { class: "legend" }, h("caption", {}, t("what_is_where")),
        h("thead", {}, h("tr", {}, [t("mark"), t("name"), t("holds")].map((title) => h("th", { scope: "col" }, title)))),
        h("tbody", {}, drawer.placements.map((placement, at) => [placement, at]).filter(([placement]) => placement.cell).map(([placement, at]) => h("tr", {},
          h("th", { scope: "row" }, placement.mark), h("td", {}, placement.name ?? ""),
          h("td", {}, (drawer.contents ?? []).filter((thing) => thing.placement === at).map((thing) => `${thing.count} × ${thing.item}`).join(", "))))))); 
  }));
}

function drawFiles(panel) {
  const rows = [
    manifest.bundle && [t("bundle"), manifest.bundle, `v1/jobs/${job}/bundle.zip`],
    ...(manifest.documents ?? []).map((entry) => [entry.title, entry.file, `v1/jobs/${job}/files/${entry.file.name}`]),
    ...manifest.parts.flatMap((part) => part.files.map((file) => [`${part.quantity} × ${part.mark} ${part.name}`, file, `v1/jobs/${job}/files/${file.name}`])),
  ].filter(Boolean);
  show(panel, h("ul", { class: "plain files" }, rows.map(([title, file, path]) => h("li", {},
    button([h("span", { class: "what" }, title), h("span", { class: "size" }, `${file.name}, ${kilobytes(file.bytes)}`)], () => get(path, file.name), { id: `file-${file.name}` })))));
}

const kilobytes = (bytes) => (bytes < 1_000_000 ? `${Math.max(1, Math.round(bytes / 1000))} kB` : `${(bytes / 1_000_000).toFixed(1)} MB`);

async function get(path, name) {
  try {
    await save(path, name);
    announce(t("saved", { name }));
  } catch (error) {
    if (error instanceof RequestRefused) announce(faults(error.problem)[0].text);
    else if (error instanceof ConnectionLost) announce(t("lost"));
    else throw error;
  }
}
