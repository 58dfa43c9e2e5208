// Entry point: the steps of the page, the toolbar, and the redraws after changes of the draft.

import { loadCatalogue } from "./steps/catalogue.js";
import { bedGiven, choose, draft, measured, replaceDraft, restore, startOver, switchUnit, watch } from "./draft/draft.js";
import { announce, button, byId, find, h, openDialog, show } from "./elements/dom.js";
import { drawList, householdNow, jobsNow, leaveList } from "./household/lists.js";
import { watchIdle } from "./elements/idle.js";
import { connection, drawMake, jobNow, leaveJob } from "./jobs/job.js";
import { drawMeasure } from "./steps/measure.js";
import { chooseLanguage, LANGUAGES, languageNow, loadMessages, t, translate } from "./language/messages.js";
import { keepForOffline } from "./service/offline.js";
import { phoneAsked } from "./outline/outline_entry.js";
import { busy, planSoon } from "./plan/plan.js";
import { drawPrinter } from "./steps/printer.js";
import { firstField, mark, whenFollowed } from "./elements/problems.js";
import { leaveResult } from "./jobs/result.js";
import { dropKey, keepKey, messageOf, requestJson, RequestRefused } from "./service/service.js";
import { beginSharing } from "./draft/share.js";
import { specIn } from "./draft/share_link.js";
import { draftOf } from "./draft/spec_to_draft.js";
import { beginThings, openThing } from "./steps/things.js";
import { unitNow } from "./language/units.js";
import { beginPlan, historyKeys } from "./workbench/plan_panel.js";

/** @typedef {"measure" | "things" | "printer" | "make"} Step */

/** @type {Step[]} */
const STEPS = ["measure", "things", "printer", "make"];
const THEME = "drawerwright.theme";
const DRAW = { measure: drawMeasure, things: () => mark(), printer: drawPrinter, make: drawMake };

/** @type {Step} */
let step = "measure";

/** The step that a field belongs to, by the start of its id. @type {[RegExp, Step][]} */
const STEP_OF_FIELD = [
  [/^(?:width|depth|height|name|corner|copies|obstacle)-\d/, "measure"],
  [/^(?:thing|count|size|storage|group|access)-\d/, "things"],
  [/^(?:bed-|nozzle|layer|material|price|hours)/, "printer"],
];

/** @param {string} id */
const stepOfField = (id) => STEP_OF_FIELD.find(([pattern]) => pattern.test(id))?.[1];

/** Bring a field on show, whatever step, drawer or thing it belongs to, and focus it. @param {string} id */
function goToField(id) {
  const place = stepOfField(id);
  const index = Number(/^[a-z]+-(\d+)/.exec(id)?.[1] ?? 0);
  if (place === "measure") choose(index);
  if (place === "things" && !id.startsWith("thing-")) openThing(index);
  if (place) go(place, false);
  window.requestAnimationFrame(() => {
    const details = find(id)?.closest("details");
    if (details) details.open = true;
    find(id)?.focus();
  });
}

/** @param {Step} next */
function go(next, focus = true) {
  step = next;
  showHousehold(false);
  if (next !== "make") leaveResult();
  for (const name of STEPS) byId(`step-${name}`).hidden = name !== next;
  byId("columns").classList.toggle("wide", next === "make" && jobNow() !== null);
  byId("plan").hidden = next === "make" && jobNow() !== null;
  drawSteps();
  DRAW[next]();
  mark();
  if (focus) focusMain();
}

function focusMain() {
  byId("main").focus({ preventScroll: true });
  window.scrollTo({ top: 0 });
}

/** Show the household instead of the steps, or these again. @param {boolean} shown */
function showHousehold(shown) {
  byId("household").hidden = !shown;
  byId("columns").hidden = shown;
  byId("nav-steps").hidden = shown;
  if (!shown) leaveList();
}

/** Show what the address names: the household, a job, or the step as it was. */
function follow(focus = true) {
  if (phoneAsked()) step = "things";
  if (householdNow() || jobsNow()) {
    leaveResult();
    showHousehold(true);
    drawList();
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
    at > 0 && !jobNow() && button(t("back_step"), () => go(STEPS[at - 1] ?? "measure"), { id: "previous" }),
    at < STEPS.length - 1 && button(t("next_step"), goOn, { id: "next", class: "main" }));
}

/** Go to the next step, or focus the first invalid field of this one. */
function goOn() {
  const field = firstField();
  if (field && byId(`step-${step}`).contains(field)) {
    field.focus();
    return;
  }
  go(STEPS[STEPS.indexOf(step) + 1] ?? step);
}

function drawUnits() {
  for (const unit of /** @type {const} */ (["mm", "in"])) {
    byId(`unit-${unit}`).setAttribute("aria-checked", String(unitNow() === unit));
    byId(`unit-${unit}`).tabIndex = unitNow() === unit ? 0 : -1;
  }
}

/** @param {import("./draft/draft.js").Change} what */
function onChange(what) {
  if (what === "field" || what === "trays") drawSteps();
  else {
    drawUnits();
    drawSteps();
    DRAW[step]();
  }
  planSoon();
}

/** @param {string | null} theme */
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
  if (jobNow() || householdNow() || jobsNow()) leaveJob();
  go("measure");
}

/** If the service requires an API key, prompt for one until it is accepted. */
async function unlock() {
  for (let tries = 0; ; tries += 1) {
    try {
      await requestJson("GET", "v1/jobs?limit=1");
      return;
    } catch (error) {
      if (!(error instanceof RequestRefused) || error.status !== 401) return;
    }
    dropKey();
    const input = h("input", { id: "key", type: "password", autocomplete: "off", maxlength: 200 });
    const forDevice = h("input", { id: "key-device", type: "checkbox" });
    const refused = tries > 0 && h("p", { class: "problems", role: "alert", id: "key-refused" }, t("key_refused"));
    await openDialog(t("key_title"), [refused, h("div", { class: "field" }, h("label", { for: "key" }, t("key")), input), h("label", { class: "check" }, forDevice, t("key_device"))], [["ok", t("key_use"), "main"]]);
    keepKey(input.value.trim(), forDevice.checked);
  }
}

/** @param {Event} event */
async function openSpec(event) {
  const input = /** @type {HTMLInputElement} */ (event.target);
  const file = input.files?.[0];
  input.value = ""; // the same file can be opened again
  if (!file) return;
  let read;
  try {
    read = draftOf(JSON.parse(await file.text()));
  } catch {
    read = null;
  }
  if (!read) {
    await openDialog(t("open_spec"), h("p", {}, t("not_a_spec", { name: file.name })), [["", t("close")]]);
    return;
  }
  replaceDraft(read.draft);
  go("measure");
  if (read.left.length) await sayLeft(read.left);
  else announce(t("opened", { name: file.name }));
}

/** Say which parts of an opened spec the page has no field for. @param {string[]} left JSON Pointers */
async function sayLeft(left) {
  if (left.length) await openDialog(t("open_spec"), [h("p", {}, t("left_out")), h("ul", {}, left.map((field) => h("li", {}, field)))], [["", t("close")]]);
}

/** Open the spec in the address, if there is one; the draft before can be had again by undo. */
async function openLink() {
  let read;
  try {
    const spec = await specIn(window.location.hash);
    if (!spec) return;
    read = draftOf(spec);
  } catch {
    read = null;
  }
  window.history.replaceState(null, "", window.location.pathname + window.location.search);
  if (!read) {
    await openDialog(t("open_spec"), h("p", {}, t("not_a_link")), [["", t("close")]]);
    return;
  }
  replaceDraft(read.draft);
  announce(t("opened", { name: read.draft.drawers[0]?.name ?? "" }));
  if (read.left.length) sayLeft(read.left);
}

async function begin() {
  await loadMessages();
  translate();
  document.title = `Drawerwright: ${t("tagline")}`;
  try {
    setTheme(window.localStorage.getItem(THEME));
  } catch { /* as above */ }
  await restore();
  drawUnits();
  beginPlan();
  beginThings();
  whenFollowed({ go: goToField, title: (id) => t(`step_${stepOfField(id) ?? step}`) });
  busy.subscribe((now) => byId("plan").setAttribute("aria-busy", String(now)));
  window.addEventListener("keydown", historyKeys);
  beginSharing();
  byId("open-spec").addEventListener("click", () => byId("spec-file").click());
  byId("spec-file").addEventListener("change", openSpec);
  for (const unit of /** @type {const} */ (["mm", "in"])) byId(`unit-${unit}`).addEventListener("click", () => switchUnit(unit));
  byId("unit-mm").parentElement?.addEventListener("keydown", (event) => {
    if (!["ArrowLeft", "ArrowRight"].includes(event.key)) return;
    const other = unitNow() === "mm" ? "in" : "mm";
    switchUnit(other);
    byId(`unit-${other}`).focus();
  });
  byId("theme").addEventListener("click", toggleTheme);
  byId("drawers").addEventListener("click", () => { window.location.hash = "drawers"; });
  byId("jobs").addEventListener("click", () => { window.location.hash = "jobs"; });
  const language = byId("language");
  language.append(...Object.entries(LANGUAGES).map(([value, text]) => h("option", { value, lang: value, selected: value === languageNow() }, text)));
  language.addEventListener("change", () => chooseLanguage(/** @type {HTMLSelectElement} */ (language).value));
  byId("again").addEventListener("click", confirmStartOver);
  watch(onChange);
  window.addEventListener("hashchange", async () => {
    await openLink();
    follow();
  });
  window.addEventListener("job-left", () => go(step));
  window.addEventListener("draft-opened", (event) => {
    go("things");
    sayLeft(/** @type {CustomEvent} */ (event).detail);
  });
  document.querySelector(".skip")?.addEventListener("click", (event) => {
    event.preventDefault(); // a hash would replace the job's id in the address
    byId("main").focus();
  });
  await unlock();
  try {
    await loadCatalogue();
  } catch (error) {
    connection(messageOf(error));
  }
  await openLink();
  follow(false);
  planSoon();
  mark();
  const settings = await (await fetch("kiosk/settings.json")).json();
  const idleParameter = new URLSearchParams(window.location.search).get("idle");
  watchIdle(idleParameter === null ? settings.idle_minutes : Number(idleParameter), reset);
  document.documentElement.dataset.ready = "true";
  await keepForOffline();
}

begin();
