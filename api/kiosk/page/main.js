// Entry point: the steps of the page, the toolbar, and the redraws after changes of the draft.

import { bedGiven, draft, measured, restore, startOver, switchUnit, watch } from "./draft.js";
import { button, byId, h, openDialog, show } from "./dom.js";
import { drawHousehold, householdNow, leaveHousehold } from "./household.js";
import { watchIdle } from "./idle.js";
import { connection, drawMake, jobNow, leaveJob } from "./job.js";
import { drawMeasure } from "./measure.js";
import { loadMessages, t, translate } from "./messages.js";
import { planSoon } from "./plan.js";
import { drawPrinter } from "./printer.js";
import { firstField, mark } from "./problems.js";
import { leaveResult } from "./result.js";
import { ConnectionLost, dropKey, keepKey, requestJson, RequestRefused } from "./service.js";
import { drawThings, loadCatalogue } from "./things.js";
import { setUnit, unitNow } from "./units.js";

const STEPS = ["measure", "things", "printer", "make"];
const THEME = "drawerwright.theme";
const DRAW = { measure: drawMeasure, things: drawThings, printer: drawPrinter, make: drawMake };

let step = "measure";

function go(next, focus = true) {
  step = next;
  showHousehold(false);
  if (next !== "make") leaveResult();
  for (const name of STEPS) byId(`step-${name}`).hidden = name !== next;
  byId("columns").classList.toggle("wide", next === "make" && jobNow() !== null);
  byId("plan").hidden = next === "make" && jobNow() !== null;
  drawSteps();
  DRAW[next]();
  if (focus) focusMain();
}

function focusMain() {
  byId("main").focus({ preventScroll: true });
  window.scrollTo({ top: 0 });
}

/** Show the household instead of the steps, or these again. */
function showHousehold(shown) {
  byId("household").hidden = !shown;
  byId("columns").hidden = shown;
  byId("nav-steps").hidden = shown;
  if (!shown) leaveHousehold();
}

/** Show what the address names: the household, a job, or the step as it was. */
function follow(focus = true) {
  if (householdNow()) {
    leaveResult();
    showHousehold(true);
    drawHousehold();
    if (focus) focusMain();
  } else go(jobNow() ? "make" : step, focus);
}

function drawSteps() {
  const done = { measure: draft.drawers.every(measured), things: draft.things.length > 0, printer: bedGiven(), make: false };
  show(byId("steps"), STEPS.map((name, index) => h("li", {},
    button([h("span", { class: "number", "aria-hidden": "true" }, done[name] ? "✓" : String(index + 1)), t(`step_${name}`)], () => go(name),
      { id: `go-${name}`, "aria-current": name === step ? "step" : null }))));
  const at = STEPS.indexOf(step);
  show(byId("onward"),
    at > 0 && !jobNow() && button(t("back_step"), () => go(STEPS[at - 1]), { id: "previous" }),
    at < STEPS.length - 1 && button(t("next_step"), next, { id: "next", class: "main" }));
}

/** Go to the next step, or focus the first invalid field of this one. */
function next() {
  const field = firstField();
  if (field && byId(`step-${step}`).contains(field)) {
    field.focus();
    return;
  }
  go(STEPS[STEPS.indexOf(step) + 1]);
}

function drawUnits() {
  for (const unit of ["mm", "in"]) {
    byId(`unit-${unit}`).setAttribute("aria-checked", String(unitNow() === unit));
    byId(`unit-${unit}`).tabIndex = unitNow() === unit ? 0 : -1;
  }
}

function onChange(what) {
  if (what === "field") drawSteps();
  else {
    drawUnits();
    drawSteps();
    DRAW[step]();
  }
  planSoon();
}

function setTheme(theme) {
  if (theme) document.documentElement.dataset.theme = theme;
}

function toggleTheme() {
  const dark = (document.documentElement.dataset.theme ?? (window.matchMedia("(prefers-color-scheme: dark)").matches ? "dark" : "light")) === "dark";
  setTheme(dark ? "light" : "dark");
  try {
    window.localStorage.setItem(THEME, dark ? "light" : "dark");
  } catch { /* without storage the theme lasts until a reload */ }
}

async function confirmStartOver() {
  if ((await openDialog(t("start_over"), h("p", {}, t("start_over_text")), [["no", t("keep_entries")], ["yes", t("start_over"), "danger"]])) === "yes") reset();
}

function reset() {
  startOver();
  if (jobNow() || householdNow()) leaveJob();
  go("measure");
}

async function showJobs() {
  let body;
  try {
    const { jobs } = await requestJson("GET", "v1/jobs?limit=20");
    body = jobs.length
      ? h("ul", { class: "plain files" }, jobs.map((job) => h("li", {}, button([h("span", { class: "what" }, job.name), h("span", { class: "size" }, t(`state_${job.state}`))],
        () => { byId("dialog").close(""); window.location.hash = `job=${job.id}`; }, { id: `open-${job.id}` }))))
      : h("p", {}, t("no_jobs"));
  } catch (error) {
    body = h("p", {}, error instanceof ConnectionLost ? t("lost") : error.message);
  }
  await openDialog(t("jobs"), body, [["", t("close")]]);
}

/** If the service requires an API key, prompt for one until it is accepted. */
async function unlock() {
  for (;;) {
    try {
      await requestJson("GET", "v1/jobs?limit=1");
      return;
    } catch (error) {
      if (!(error instanceof RequestRefused) || error.status !== 401) return;
    }
    dropKey();
    const input = h("input", { id: "key", type: "password", autocomplete: "off", maxlength: 200 });
    const forDevice = h("input", { id: "key-device", type: "checkbox" });
    await openDialog(t("key_title"), [h("div", { class: "field" }, h("label", { for: "key" }, t("key")), input), h("label", { class: "check" }, forDevice, t("key_device"))], [["ok", t("key_use"), "main"]]);
    keepKey(input.value.trim(), forDevice.checked);
  }
}

async function begin() {
  await loadMessages();
  translate();
  document.title = `Drawerwright: ${t("tagline")}`;
  try {
    setTheme(window.localStorage.getItem(THEME));
  } catch { /* as above */ }
  restore();
  setUnit(draft.unit);
  drawUnits();
  for (const unit of ["mm", "in"]) byId(`unit-${unit}`).addEventListener("click", () => switchUnit(unit));
  byId("unit-mm").parentElement.addEventListener("keydown", (event) => {
    if (!["ArrowLeft", "ArrowRight"].includes(event.key)) return;
    const other = unitNow() === "mm" ? "in" : "mm";
    switchUnit(other);
    byId(`unit-${other}`).focus();
  });
  byId("theme").addEventListener("click", toggleTheme);
  byId("drawers").addEventListener("click", () => { window.location.hash = "drawers"; });
  byId("jobs").addEventListener("click", showJobs);
  byId("again").addEventListener("click", confirmStartOver);
  watch(onChange);
  window.addEventListener("hashchange", () => follow());
  window.addEventListener("job-left", () => go(step));
  document.querySelector(".skip").addEventListener("click", (event) => {
    event.preventDefault(); // a hash would replace the job's id in the address
    byId("main").focus();
  });
  await unlock();
  try {
    await loadCatalogue();
  } catch (error) {
    if (!(error instanceof ConnectionLost) && !(error instanceof RequestRefused)) throw error;
    connection(t("lost"));
  }
  follow(false);
  planSoon();
  mark();
  const settings = await (await fetch("kiosk/settings.json")).json();
  const idleParameter = new URLSearchParams(window.location.search).get("idle");
  watchIdle(idleParameter === null ? settings.idle_minutes : Number(idleParameter), reset);
  document.documentElement.dataset.ready = "true";
}

begin();
