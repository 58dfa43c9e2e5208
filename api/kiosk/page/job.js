// A job: submit it, follow it, and return to it after a reload (its id is in the address).

import { bedGiven, ready, specOf } from "./draft.js";
import { announce, button, byId, h, openDialog, show } from "./dom.js";
import { t } from "./messages.js";
import { planNow } from "./plan.js";
import { showProblems } from "./problems.js";
import { drawResult } from "./result.js";
import { ConnectionLost, faults, randomId, requestJson, RequestRefused } from "./service.js";

const PAUSE = 700;
const LONGEST = 5000;

let following = 0;

export const jobNow = () => /^#job=([0-9a-z]{26})$/.exec(window.location.hash)?.[1] ?? null;

export function leaveJob() {
  following += 1;
  window.history.replaceState(null, "", window.location.pathname + window.location.search);
  window.dispatchEvent(new Event("job-left"));
}

/** Draw the last step: the cautions and the submit button, or the progress of the job in the address. */
export function drawMake() {
  if (jobNow()) {
    follow(jobNow());
    return;
  }
  show(byId("make"),
    h("p", {}, t("make_hint")),
    h("ul", { class: "cautions" }, ["caution_fumes", "caution_attend", "caution_children"].map((key) => h("li", {}, t(key)))),
    button(t("make"), submit, { id: "submit", class: "main", disabled: !ready() || !bedGiven() }),
    !ready() && h("p", { class: "hint" }, t("plan_waits")),
    ready() && !bedGiven() && h("p", { class: "hint" }, t("bed_ask")));
}

async function submit() {
  byId("submit").disabled = true;
  if (!(await planNow())) {
    byId("submit").disabled = false;
    return;
  }
  const { spec, where } = specOf();
  const idempotencyKey = randomId(); // retries after a lost connection create one job only
  for (let tries = 0; ; tries += 1) {
    try {
      const job = await requestJson("POST", "v1/jobs", { body: spec, headers: { "Idempotency-Key": idempotencyKey } });
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
      byId("submit").disabled = false;
      return;
    }
  }
}

const pause = (milliseconds) => new Promise((resolve) => { window.setTimeout(resolve, milliseconds); });

/** Show a connection notice; null hides it and announces that the connection is back. */
export function connection(text) {
  const node = byId("connection");
  if (!node.hidden && text === null) announce(t("back"));
  node.hidden = text === null;
  node.textContent = text ?? "";
}

/** Poll a job until it has ended, retrying after lost connections. */
export async function follow(id) {
  const follower = (following += 1);
  let wait = PAUSE;
  for (;;) {
    try {
      const job = await requestJson("GET", `v1/jobs/${id}`);
      if (follower !== following) return;
      connection(null);
      wait = PAUSE;
      if (job.state === "succeeded") {
        announce(t("job_succeeded"));
        await drawResult(id);
        return;
      }
      if (job.state === "failed" || job.state === "cancelled") {
        drawFailure(job);
        return;
      }
      drawProgress(job);
    } catch (error) {
      if (follower !== following) return;
      if (error instanceof RequestRefused) {
        show(byId("make"), h("div", { class: "problems", role: "alert" }, faults(error.problem).map((fault) => h("p", {}, fault.text))), button(t("new_job"), leaveJob, { id: "new-job" }));
        return;
      }
      if (!(error instanceof ConnectionLost)) throw error;
      connection(t("lost"));
      wait = Math.min(LONGEST, wait * 2);
    }
    await pause(wait);
    if (follower !== following) return;
  }
}

function drawProgress(job) {
  const { done, total, now } = job.progress;
  show(byId("make"),
    h("p", { id: "job-state" }, t(`state_${job.state}`)),
    h("progress", { id: "progress", "aria-label": t("progress"), max: total || 1, value: total ? done : 0 }),
    h("p", { class: "hint" }, total ? t("step_of", { done: Math.min(done + 1, total), total, now: now ?? "" }) : ""),
    button(t("cancel"), () => stop(job.id), { id: "cancel", class: "quiet danger" }));
}

function drawFailure(job) {
  const reasons = job.problem ? faults(job.problem) : [];
  show(byId("make"),
    h("div", { class: "problems", role: "alert" }, h("p", {}, t(`state_${job.state}`)), reasons.map((fault) => h("p", {}, fault.text))),
    button(t("new_job"), leaveJob, { id: "new-job" }));
}

async function stop(id) {
  if ((await openDialog(t("cancel_title"), h("p", {}, t("cancel_text")), [["no", t("keep_running")], ["yes", t("cancel"), "danger"]])) !== "yes") return;
  try {
    await requestJson("DELETE", `v1/jobs/${id}`);
  } catch (error) {
    if (!(error instanceof RequestRefused) && !(error instanceof ConnectionLost)) throw error;
  }
}
