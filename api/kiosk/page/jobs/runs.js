// The print runs of a job: those to print, ticked off with time to take it back, and those that were recorded.

import { bedOf, bedPicture } from "./bed_picture.js";
import { calibrationForm } from "./calibration_form.js";
import { couponForm } from "./coupon_form.js";
import { detailsForm } from "./details_form.js";
import { announce, button, byId, find, h, show } from "../elements/dom.js";
import { counts, hasCoupon, pieces } from "./run_pieces.js";
import { t } from "../language/messages.js";
import { dateText, duration, gramsText } from "../language/numbers.js";
import { dropUnsent, keepUnsent, sendUnsent, unsent } from "../service/outbox.js";
import { ConnectionLost, keyNow, messageOf, randomId, requestJson, save } from "../service/service.js";

/** @typedef {import("../documents").Manifest} Manifest */
/** @typedef {import("../documents").Run} Run */
/** @typedef {"printed" | "failed"} Outcome */
/** @typedef {{job: string, run: number, outcome: Outcome, id: string, timer: number}} Tick */
/** @typedef {{number: number, state: string, failed: Record<string, number>, pieces: number}} RunProgress */
/** @typedef {{run: number, printer: string, begin: string, end: string}} ScheduleStep */
/** @typedef {{number: number, outcome: string, run: number | null, note: string | null, seconds?: number | null, withdrawn_by: number | null}} PrintEvent */

/** Milliseconds in which a tick can be taken back. */
const GRACE = 6000;

/** Ticks that are not recorded yet, by run. @type {Map<number, Tick>} */
const ticks = new Map();

/** @param {Tick} made */
const eventOf = ({ outcome, run, id }) => ({ outcome, run, id });

/** @type {{panel: HTMLElement, job: string, manifest: Manifest, spec: any} | null} `spec` is the job's, for its beds */
let view = null;

/** Record what was ticked, at once: the page or the list of runs is left. */
export function flush() {
  for (const made of [...ticks.values()]) record(made);
  view = null;
}

window.addEventListener("online", () => (view ? redraw() : sendWaiting()));

/** Send what could not be sent before, and say what came of it. */
async function sendWaiting() {
  const { sent, refused } = await sendUnsent();
  if (sent || refused.length) announce([sent && t("sent_later", { count: sent }), ...refused].filter(Boolean).join(" "));
}

window.addEventListener("pagehide", () => {
  for (const made of ticks.values()) {
    window.clearTimeout(made.timer);
    const key = keyNow();
    fetch(`v1/jobs/${made.job}/prints`, {
      method: "POST",
      keepalive: true,
      headers: { "Content-Type": "application/json", ...(key ? { Authorization: `Bearer ${key}` } : {}) },
      body: JSON.stringify(eventOf(made)),
    }).catch(() => keepUnsent(made.job, eventOf(made)));
  }
  ticks.clear();
});

/** @param {HTMLElement} panel @param {string} job @param {Manifest} manifest */
export async function drawRuns(panel, job, manifest) {
  view = { panel, job, manifest, spec: null };
  if (!panel.querySelector(".run")) show(panel, h("p", { class: "hint" }, t("loading")));
  await redraw();
}

async function redraw() {
  const now = view;
  if (!now) return;
  const { panel, job, manifest } = now;
  let runs = manifest.runs ?? [];
  /** @type {RunProgress[]} */
  let recorded = [];
  /** @type {PrintEvent[]} */
  let events = [];
  let fault = "";
  /** @type {{work?: import("../documents").Work, clearance?: number | null, refit?: string | null, schedule?: {finish: string | null, steps: ScheduleStep[]} | null}} */
  let progress = {};
  try {
    await sendWaiting();
    const spec = now.spec ?? requestJson("GET", `v1/jobs/${job}/spec`);
    const [left, prints, given] = await Promise.all([requestJson("GET", `v1/jobs/${job}/runs`), requestJson("GET", `v1/jobs/${job}/prints`), spec]);
    now.spec = given;
    runs = left.runs;
    progress = { work: left.work, schedule: left.schedule, clearance: prints.clearance, refit: prints.refit };
    events = prints.events;
    recorded = prints.runs.filter((/** @type {RunProgress} */ run) => run.state === "printed" || run.state === "failed");
  } catch (error) {
    fault = messageOf(error);
  }
  if (view !== now) return;
  const steps = new Map((progress.schedule?.steps ?? []).map((step) => [step.run, step]));
  const waiting = new Map(unsent().filter((entry) => entry.job === job && entry.event.run != null).map(({ event }) => [event.run, event]));
  show(panel,
    fault && h("p", { class: "problems", role: "alert" }, fault),
    runs.length ? h("p", { class: "hint" }, t("runs_hint")) : h("p", { id: "all-printed" }, t("all_printed")),
    runs.length > 0 && progress.work && h("p", { id: "remaining", class: "sum" }, remaining(progress.work)),
    progress.schedule?.finish && h("p", { id: "finish" }, t("schedule_finish", { when: dateText(progress.schedule.finish) })),
    manifest.parts.some((part) => part.kind === "coupon") && !fault && couponForm(job, { ...progress, printed: recorded.some((run) => run.state === "printed" && hasCoupon(run.number, manifest)) }, send),
    h("ol", { class: "plain runs" }, runs.map((run) => {
      const event = waiting.get(run.number);
      if (event) return heldRun(run, event);
      return ticks.has(run.number) ? ticked(run) : openRun(run, job, steps.get(run.number));
    })),
    recorded.length > 0 && [h("h3", {}, t("recorded_runs")), h("ul", { class: "plain runs", id: "recorded" }, recorded.map((run) => done(run, manifest, events)))]);
}

/** @param {import("../documents").Work} work */
const remaining = (work) => [t("left_to_print", { count: work.runs }), work.seconds != null && duration(work.seconds), work.grams != null && gramsText(work.grams)].filter(Boolean).join(", ");

/** @param {Run} run @param {string} job @param {ScheduleStep | undefined} step when it is to be printed */
function openRun(run, job, step) {
  const get = async (/** @type {string} */ kind, /** @type {string} */ name) => {
    try {
      await save(`v1/jobs/${job}/runs/${run.number}.${kind}`, name);
      announce(t("saved", { name }));
    } catch (error) {
      announce(messageOf(error));
    }
  };
  return h("li", { class: "run", id: `run-${run.number}` },
    h("h3", {}, t("run", { number: run.number })),
    view && bedPicture(run, view.manifest.parts, bedOf(view.spec, run.printers ?? [])),
    h("p", {}, pieces(run.pieces)),
    step && h("p", { id: `when-${run.number}` }, t("run_when", { begin: dateText(step.begin), end: dateText(step.end), printer: step.printer })),
    h("p", { class: "hint" }, [run.material, run.seconds && duration(run.seconds), run.grams && gramsText(run.grams)].filter(Boolean).join(", ")),
    h("div", { class: "choices" },
      run.file && button(t("get_file"), () => get("3mf", run.file ?? ""), { id: `get-${run.number}` }),
      button(t("get_sheet"), () => get("pdf", `run-${run.number}.pdf`), { id: `sheet-${run.number}` }),
      button(t("is_printed"), () => tick(run.number, "printed"), { id: `printed-${run.number}`, class: "main" }),
      button(t("has_failed"), () => tick(run.number, "failed"), { id: `failed-${run.number}`, class: "quiet danger" })),
    detailsForm(run, step?.printer ?? "", (body) => send(job, body, t("recorded_printed", { number: run.number }))));
}

/** @param {Run} run */
function ticked(run) {
  const outcome = ticks.get(run.number)?.outcome ?? "printed";
  return h("li", { class: "run ticked", id: `run-${run.number}` },
    h("h3", {}, t("run", { number: run.number })),
    h("p", {}, t(`ticked_${outcome}`)),
    h("div", { class: "choices" }, button(t("take_back"), () => takeBack(run.number), { id: `take-back-${run.number}` })));
}

/** A run whose record waits for the connection. @param {Run} run @param {import("../service/outbox.js").PrintEvent} event */
function heldRun(run, event) {
  const drop = () => {
    dropUnsent(event.id);
    announce(t("taken_back", { number: run.number }));
    redraw();
  };
  return h("li", { class: "run ticked", id: `run-${run.number}` },
    h("h3", {}, t("run", { number: run.number })),
    h("p", {}, t("kept_for_later")),
    h("div", { class: "choices" }, button(t("take_back"), drop, { id: `drop-${run.number}` })));
}

/** @param {RunProgress} run @param {Manifest} manifest @param {PrintEvent[]} events the latest events of the job */
function done(run, manifest, events) {
  const planned = manifest.runs.find((other) => other.number === run.number);
  const own = events.filter((event) => event.run === run.number && event.withdrawn_by == null);
  const failed = Object.entries(run.failed).map(([mark, count]) => (count > 1 ? `${count} × ${mark}` : mark)).join(", ");
  return h("li", { class: "run recorded", id: `recorded-${run.number}` },
    h("h3", {}, `${run.state === "printed" ? "✓" : "×"} ${t("run", { number: run.number })}`),
    h("p", {}, t(`run_was_${run.state}`), " ", planned && pieces(planned.pieces)),
    run.state === "printed" && failed && h("p", {}, t("failed_pieces", { pieces: failed })),
    run.state === "printed" && !failed && planned && calibrationForm(planned, manifest.work, own.find((event) => event.seconds != null)?.seconds ?? null),
    own.map((event) => event.note && h("p", { class: "hint" }, event.note)),
    h("div", { class: "choices" },
      run.state === "printed" && planned && button(t("print_again"), () => again(planned), { id: `again-${run.number}`, class: "quiet" }),
      own[0] && button(t("withdraw"), () => withdraw(run.number, own[0]), { id: `withdraw-${run.number}`, class: "quiet" })));
}

/** Take back what was recorded by mistake. @param {number} run @param {PrintEvent | undefined} event */
async function withdraw(run, event) {
  if (view && event) await send(view.job, { outcome: "withdrawn", event: event.number, id: randomId() }, t("withdrawn", { number: run }));
}

/** @param {number} run @param {Outcome} outcome */
function tick(run, outcome) {
  if (!view) return;
  const made = { job: view.job, run, outcome, id: randomId(), timer: 0 };
  made.timer = window.setTimeout(() => record(made), GRACE);
  ticks.set(run, made);
  announce(t(`ticked_${outcome}`));
  redraw().then(() => find(`take-back-${run}`)?.focus());
}

/** @param {number} run */
function takeBack(run) {
  window.clearTimeout(ticks.get(run)?.timer);
  ticks.delete(run);
  announce(t("taken_back", { number: run }));
  redraw().then(() => find(`printed-${run}`)?.focus());
}

/** @param {Tick} made */
async function record(made) {
  window.clearTimeout(made.timer);
  ticks.delete(made.run);
  await send(made.job, eventOf(made), t(`recorded_${made.outcome}`, { number: made.run }));
}

/** Record that the pieces of a printed run have to be printed again. @param {Run} run */
async function again(run) {
  for (const [mark, count] of counts(run.pieces)) {
    if (!view) return;
    await send(view.job, { outcome: "failed", mark, count, id: randomId(), note: t("note_again", { number: run.number }) }, t("recorded_failed", { number: run.number }));
  }
}

/** @param {string} job @param {import("../service/outbox.js").PrintEvent} body @param {string} success */
async function send(job, body, success) {
  let text = success;
  try {
    await requestJson("POST", `v1/jobs/${job}/prints`, { body });
  } catch (error) {
    text = error instanceof ConnectionLost && keepUnsent(job, body) ? t("kept_for_later") : messageOf(error);
  }
  announce(text);
  const focus = document.activeElement?.closest(".run") !== null;
  await redraw();
  if (focus && document.activeElement === document.body) (find("all-printed") ? byId("tab-runs") : byId("panel").querySelector("button"))?.focus();
}
