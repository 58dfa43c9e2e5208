// A job: submit it, follow it, and return to it after a reload (its id is in the address).

import { effect } from "@preact/signals";
import { render } from "preact";

import { bedGiven, draft, ready } from "../draft/draft.js";
import { announce, button, byId, find, h, openDialog, show } from "../elements/dom.js";
import { followJob, pause } from "./job_events.js";
import { html } from "../elements/html.js";
import { t } from "../language/messages.js";
import { OfferView, SearchView } from "../plan/offer_view.js";
import { fresh, holdPlan, latest, planNow, state } from "../plan/plan.js";
import { hasProblems, mark, showProblems } from "../elements/problems.js";
import { drawResult, leaveResult } from "./result.js";
import { ConnectionLost, faults, randomId, requestJson, RequestRefused } from "../service/service.js";
import { specOf } from "../draft/spec_of.js";
import { changeFacts } from "../plan/changes_view.js";

/** @typedef {import("../documents").Job} Job */

const PAUSE = 700;
const LONGEST = 5000;

/** Ends the following of the job that is on show. @type {AbortController | null} */
let following = null;

export const jobNow = () => /^#job=([0-9a-z]{26})$/.exec(window.location.hash)?.[1] ?? null;

export function leaveJob() {
  following?.abort();
  window.history.pushState(null, "", window.location.pathname + window.location.search);
  window.dispatchEvent(new Event("job-left"));
}

/** Ends the watching of the plan for the submit button. */
let unwatch = () => {};

/** Draw the last step: the cautions and the submit button, or the progress of the job in the address. */
export function drawMake() {
  const id = jobNow();
  following?.abort(); // whatever job was followed before
  unwatch();
  leaveResult();
  if (id) {
    follow(id);
    return;
  }
  const others = h("div", { id: "make-others" });
  render(html`<${OfferView} id="make-offer" /><${SearchView} />`, others);
  show(byId("make"),
    h("p", {}, t("make_hint")),
    changeSummary(),
    others,
    h("ul", { class: "cautions" }, ["caution_fumes", "caution_attend", "caution_children"].map((key) => h("li", {}, t(key)))),
    button(t("make"), submit, { id: "submit", class: "main", disabled: !ready() || !bedGiven() }),
    !ready() && h("p", { class: "hint" }, t("plan_waits")),
    ready() && !bedGiven() && h("p", { class: "hint" }, t("bed_ask")));
  unwatch = effect(() => enable((fresh.value || !["ready", "planning"].includes(state.value)) && ready() && bedGiven()));
  mark();
}

/** What stays, moves, is printed and is retired, if something is printed already. */
function changeSummary() {
  const changes = latest.value?.document.changes;
  return changes && h("p", { id: "make-changes", class: "sum" }, changeFacts(changes).map(([, title, pieces]) => `${title}: ${pieces}`).join(", "));
}

/** @param {boolean} on */
function enable(on) {
  const node = /** @type {HTMLButtonElement | null} */ (find("submit"));
  if (node) node.disabled = !on;
}

/** Have the plan on show made: the job is the request that this plan is the answer to. */
async function submit() {
  enable(false);
  const shown = latest.value;
  if (!shown || !fresh.value) {
    await showPlan();
    enable(true);
    return;
  }
  holdPlan();
  const { where } = specOf(draft);
  const idempotencyKey = randomId(); // retries after a lost connection create one job only
  for (let tries = 0; ; tries += 1) {
    try {
      const job = await requestJson("POST", "v1/jobs", { body: shown.body, headers: { "Idempotency-Key": idempotencyKey } });
      connection(null);
      window.location.hash = `job=${job.id}`;
      return;
    } catch (error) {
      if (error instanceof ConnectionLost && tries < 5) {
        connection(t("lost"));
        await pause(Math.min(LONGEST, PAUSE * 2 ** tries));
        continue;
      }
      if (error instanceof RequestRefused) showProblems(faults(error.problem), where);
      else if (error instanceof ConnectionLost) connection(t("lost"));
      enable(true);
      return;
    }
  }
}

/** Show a plan of the draft as it is now, or why there is none: nobody has seen it yet, so it is not made. */
async function showPlan() {
  if (await planNow()) announce(t("plan_renewed"));
  else if (hasProblems()) byId("general").scrollIntoView({ block: "nearest" });
  else if (state.value === "lost") connection(t("lost"));
}

/** Show a connection notice; null hides it and announces that the connection is back. @param {string | null} text */
export function connection(text) {
  const node = byId("connection");
  if (!node.hidden && text === null) announce(t("back"));
  node.hidden = text === null;
  node.textContent = text ?? "";
}

/** Follow a job until it has ended, also after lost connections. @param {string} id */
export async function follow(id) {
  following?.abort();
  const follower = new AbortController();
  following = follower;
  let job;
  try {
    job = await followJob(id, {
      signal: follower.signal,
      take: (now) => {
        connection(null);
        if (now.state === "queued" || now.state === "running") drawProgress(now);
      },
      lost: () => connection(t("lost")),
    });
  } catch (error) {
    if (follower.signal.aborted) return;
    if (!(error instanceof RequestRefused)) throw error;
    show(byId("make"), h("div", { class: "problems", role: "alert" }, faults(error.problem).map((fault) => h("p", {}, fault.text))), button(t("new_job"), leaveJob, { id: "new-job" }));
    return;
  }
  if (!job || follower.signal.aborted) return;
  if (job.state === "succeeded") {
    announce(t("job_succeeded"));
    await showResult(id, follower.signal);
  } else drawFailure(job);
}

/** Draw the result as soon as the service can be reached. @param {string} id @param {AbortSignal} signal */
async function showResult(id, signal) {
  for (let wait = PAUSE; !signal.aborted; wait = Math.min(LONGEST, wait * 2)) {
    try {
      await drawResult(id);
      connection(null);
      return;
    } catch (error) {
      if (!(error instanceof ConnectionLost)) throw error;
      connection(t("lost"));
    }
    await pause(wait);
  }
}

/** @param {Job} job */
function drawProgress(job) {
  const { done, total, now } = job.progress;
  show(byId("make"),
    h("p", { id: "job-state" }, t(`state_${job.state}`)),
    h("progress", { id: "progress", "aria-label": t("progress"), max: total || 1, value: total ? done : 0 }),
    h("p", { class: "hint" }, total ? t("step_of", { done: Math.min(done + 1, total), total, now: now ?? "" }) : ""),
    button(t("cancel"), () => stop(job.id), { id: "cancel", class: "quiet danger" }));
}

/** @param {Job} job */
function drawFailure(job) {
  const reasons = job.problem ? faults(job.problem) : [];
  show(byId("make"),
    h("div", { class: "problems", role: "alert" }, h("p", {}, t(`state_${job.state}`)), reasons.map((fault) => h("p", {}, fault.text))),
    button(t("new_job"), leaveJob, { id: "new-job" }));
}

/** @param {string} id */
async function stop(id) {
  if ((await openDialog(t("cancel_title"), h("p", {}, t("cancel_text")), [["no", t("keep_running")], ["yes", t("cancel"), "danger"]])) !== "yes") return;
  try {
    await requestJson("DELETE", `v1/jobs/${id}`);
  } catch (error) {
    if (!(error instanceof RequestRefused) && !(error instanceof ConnectionLost)) throw error;
  }
}
