// What a job made: the drawer in 3-D, runs to print and to tick off, the map, the files.

import { button, byId, h, say, show } from "./dom.js";
import { forget } from "./job.js";
import { t } from "./messages.js";
import { picture } from "./plan.js";
import { ask, call, faults, Lost, Refused, save } from "./service.js";

const TABS = ["view", "runs", "map", "files"];

let manifest = null;
let job = "";
let tab = "view";
let record = null;
let leave = null;

export async function drawResult(id) {
  job = id;
  manifest = await ask("GET", `v1/jobs/${id}/manifest`);
  record = null;
  tab = "view";
  drawTabs();
}

/** Stop what a tab keeps running. */
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
      TABS.map((one) => button(t(`tab_${one}`), () => open(one), { role: "tab", id: `tab-${one}`, "aria-selected": String(one === tab), "aria-controls": "panel", tabindex: one === tab ? "0" : "-1" }))),
    h("div", { id: "panel", role: "tabpanel", "aria-labelledby": `tab-${tab}` }),
    h("h3", {}, t("cautions")),
    h("ul", { class: "cautions" }, manifest.cautions.map((one) => h("li", {}, one.text))),
    button(t("new_job"), forget, { id: "new-job" }));
  drawPanel();
}

function open(one) {
  tab = one;
  drawTabs();
  byId(`tab-${one}`).focus();
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

const documents = (role) => (manifest.documents ?? []).filter((one) => one.role === role);

async function drawView(panel) {
  const models = documents("model");
  if (!models.length) {
    show(panel, h("p", { class: "hint" }, t("no_model")));
    return;
  }
  const canvas = h("div", { class: "stage", id: "stage" });
  const pick = models.length > 1 && h("div", { class: "field" }, h("label", { for: "which" }, t("drawer")),
    h("select", { id: "which", onchange: (event) => load(Number(event.target.value)) }, models.map((one, index) => h("option", { value: index }, one.drawer ?? one.title))));
  show(panel, pick, canvas, h("p", { class: "hint" }, t("view_hint")));
  async function load(index) {
    leaveResult();
    try {
      const [{ stage }, answer] = await Promise.all([import("./view.js"), call("GET", `v1/jobs/${job}/files/${models[index].file.name}`)]);
      leave = await stage(canvas, await answer.arrayBuffer(), models[index].title);
    } catch (error) {
      if (error instanceof Lost) show(canvas, h("p", { class: "hint" }, t("lost")));
      else show(canvas, h("p", { class: "hint" }, t("no_webgl")));
    }
  }
  await load(0);
}

async function drawRuns(panel) {
  if (!panel.querySelector(".run")) show(panel, h("p", { class: "hint" }, t("loading")));
  try {
    record = await ask("GET", `v1/jobs/${job}/runs`);
  } catch (error) {
    if (!(error instanceof Refused) && !(error instanceof Lost)) throw error;
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
    await ask("POST", `v1/jobs/${job}/prints`, { body: { outcome, run: number, id: crypto.randomUUID() } });
    say(t(`said_${outcome}`, { number }));
  } catch (error) {
    if (error instanceof Refused) say(faults(error.problem)[0].text);
    else if (error instanceof Lost) say(t("lost"));
    else throw error;
  }
  await drawRuns(byId("panel"));
}

async function drawMap(panel) {
  show(panel, manifest.drawers.map((drawer, index) => {
    const files = documents("map").filter((one) => one.drawer === drawer.name && one.file.media_type !== "image/svg+xml");
    return h("figure", { id: `map-${index}` }, picture(drawer, manifest), h("figcaption", {}, drawer.name, " ",
      files.map((one) => button(t("get_map"), () => get(`v1/jobs/${job}/files/${one.file.name}`, one.file.name), { class: "quiet" }))),
      h("table", { class: "legend" }, h("caption", {}, t("what_is_where")),
        h("thead", {}, h("tr", {}, [t("mark"), t("name"), t("holds")].map((one) => h("th", { scope: "col" }, one)))),
        h("tbody", {}, drawer.placements.map((one, at) => [one, at]).filter(([one]) => one.cell).map(([one, at]) => h("tr", {},
          h("th", { scope: "row" }, one.mark), h("td", {}, one.name ?? ""),
          h("td", {}, (drawer.contents ?? []).filter((thing) => thing.placement === at).map((thing) => `${thing.count} × ${thing.item}`).join(", "))))))); 
  }));
}

function drawFiles(panel) {
  const rows = [
    manifest.bundle && [t("bundle"), manifest.bundle, `v1/jobs/${job}/bundle.zip`],
    ...(manifest.documents ?? []).map((one) => [one.title, one.file, `v1/jobs/${job}/files/${one.file.name}`]),
    ...manifest.parts.flatMap((part) => part.files.map((file) => [`${part.quantity} × ${part.mark} ${part.name}`, file, `v1/jobs/${job}/files/${file.name}`])),
  ].filter(Boolean);
  show(panel, h("ul", { class: "plain files" }, rows.map(([title, file, path]) => h("li", {},
    button([h("span", { class: "what" }, title), h("span", { class: "size" }, `${file.name}, ${kilobytes(file.bytes)}`)], () => get(path, file.name), { id: `file-${file.name}` })))));
}

const kilobytes = (bytes) => (bytes < 1_000_000 ? `${Math.max(1, Math.round(bytes / 1000))} kB` : `${(bytes / 1_000_000).toFixed(1)} MB`);

async function get(path, name) {
  try {
    await save(path, name);
    say(t("saved", { name }));
  } catch (error) {
    if (error instanceof Refused) say(faults(error.problem)[0].text);
    else if (error instanceof Lost) say(t("lost"));
    else throw error;
  }
}
