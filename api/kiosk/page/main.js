// The page: its steps, and who is told when something changes.

import { draft, measured, restore, speak, startOver, watch } from "./draft.js";
import { ask as askPerson, button, byId, h, show } from "./dom.js";
import { watchIdle } from "./idle.js";
import { connection, drawMake, forget, jobNow } from "./job.js";
import { drawMeasure } from "./measure.js";
import { loadMessages, t, translate } from "./messages.js";
import { planSoon } from "./plan.js";
import { drawPrinter } from "./printer.js";
import { firstField, mark } from "./problems.js";
import { leaveResult } from "./result.js";
import { ask, dropKey, keepKey, Lost, Refused } from "./service.js";
import { drawThings, loadCatalogue } from "./things.js";
import { setUnit, unitNow } from "./units.js";

const STEPS = ["measure", "things", "printer", "make"];
const THEME = "drawerwright.theme";
const DRAW = { measure: drawMeasure, things: drawThings, printer: drawPrinter, make: drawMake };

let step = "measure";

function go(next, focus = true) {
  step = next;
  if (next !== "make") leaveResult();
  for (const one of STEPS) byId(`step-${one}`).hidden = one !== next;
  byId("columns").classList.toggle("wide", next === "make" && jobNow() !== null);
  byId("plan").hidden = next === "make" && jobNow() !== null;
  drawSteps();
  DRAW[next]();
  if (focus) {
    byId("main").focus({ preventScroll: true });
    window.scrollTo({ top: 0 });
  }
}

function drawSteps() {
  const done = { measure: draft.drawers.every(measured), things: draft.things.length > 0, printer: false, make: false };
  show(byId("steps"), STEPS.map((one, index) => h("li", {},
    button([h("span", { class: "number", "aria-hidden": "true" }, done[one] ? "✓" : String(index + 1)), t(`step_${one}`)], () => go(one),
      { id: `go-${one}`, "aria-current": one === step ? "step" : null }))));
  const at = STEPS.indexOf(step);
  show(byId("onward"),
    at > 0 && !jobNow() && button(t("back_step"), () => go(STEPS[at - 1]), { id: "previous" }),
    at < STEPS.length - 1 && button(t("next_step"), next, { id: "next", class: "main" }));
}

/** Go on; when something is wrong in this step, lead to it first. */
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

function turnTheme() {
  const dark = (document.documentElement.dataset.theme ?? (window.matchMedia("(prefers-color-scheme: dark)").matches ? "dark" : "light")) === "dark";
  setTheme(dark ? "light" : "dark");
  try {
    window.localStorage.setItem(THEME, dark ? "light" : "dark");
  } catch { /* the theme is a wish */ }
}

async function confirmStartOver() {
  if ((await askPerson(t("start_over"), h("p", {}, t("start_over_text")), [["no", t("go_on")], ["yes", t("start_over"), "danger"]])) === "yes") reset();
}

function reset() {
  startOver();
  if (jobNow()) forget();
  go("measure");
}

async function showJobs() {
  let body;
  try {
    const { jobs } = await ask("GET", "v1/jobs?limit=20");
    body = jobs.length
      ? h("ul", { class: "plain files" }, jobs.map((one) => h("li", {}, button([h("span", { class: "what" }, one.name), h("span", { class: "size" }, t(`state_${one.state}`))],
        () => { byId("dialog").close(""); window.location.hash = `job=${one.id}`; }, { id: `open-${one.id}` }))))
      : h("p", {}, t("no_jobs"));
  } catch (error) {
    body = h("p", {}, error instanceof Lost ? t("lost") : error.message);
  }
  await askPerson(t("jobs"), body, [["", t("close")]]);
}

/** Ask for a key until the service takes one. */
async function unlock() {
  for (;;) {
    try {
      await ask("GET", "v1/jobs?limit=1");
      return;
    } catch (error) {
      if (!(error instanceof Refused) || error.status !== 401) return;
    }
    dropKey();
    const input = h("input", { id: "key", type: "password", autocomplete: "off", maxlength: 200 });
    const forDevice = h("input", { id: "key-device", type: "checkbox" });
    await askPerson(t("key_title"), [h("div", { class: "field" }, h("label", { for: "key" }, t("key")), input), h("label", { class: "check" }, forDevice, t("key_device"))], [["ok", t("key_use"), "main"]]);
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
  for (const unit of ["mm", "in"]) byId(`unit-${unit}`).addEventListener("click", () => speak(unit));
  byId("unit-mm").parentElement.addEventListener("keydown", (event) => {
    if (!["ArrowLeft", "ArrowRight"].includes(event.key)) return;
    const other = unitNow() === "mm" ? "in" : "mm";
    speak(other);
    byId(`unit-${other}`).focus();
  });
  byId("theme").addEventListener("click", turnTheme);
  byId("jobs").addEventListener("click", showJobs);
  byId("again").addEventListener("click", confirmStartOver);
  watch(onChange);
  window.addEventListener("hashchange", () => { if (jobNow()) go("make"); });
  window.addEventListener("forgotten", () => go(step));
  document.querySelector(".skip").addEventListener("click", (event) => {
    event.preventDefault(); // the address keeps the job
    byId("main").focus();
  });
  await unlock();
  try {
    await loadCatalogue();
  } catch (error) {
    if (!(error instanceof Lost) && !(error instanceof Refused)) throw error;
    connection(t("lost"));
  }
  go(jobNow() ? "make" : "measure", false);
  planSoon();
  mark();
  const settings = await (await fetch("kiosk/settings.json")).json();
  const asked = new URLSearchParams(window.location.search).get("idle");
  watchIdle(asked === null ? settings.idle_minutes : Number(asked), reset);
  document.documentElement.dataset.ready = "true";
}

begin();
