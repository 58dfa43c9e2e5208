// A job: submitted, followed, and found again after a reload.

import { ready, specOf } from "./draft.js";
import { ask as askPerson, button, byId, h, say, show } from "./dom.js";
import { t } from "./messages.js";
import { planNow } from "./plan.js";
import { tell } from "./problems.js";
import { drawResult } from "./result.js";
import { ask, faults, Lost, Refused } from "./service.js";

const PAUSE = 700;
const LONGEST = 5000;

let following = 0;

export const jobNow = () => /^#job=([0-9a-z]{26})$/.exec(window.location.hash)?.[1] ?? null;

export function forget() {
  following += 1;
  window.history.replaceState(null, "", window.location.pathname + window.location.search);
  window.dispatchEvent(new Event("forgotten"));
}

/** The step before a job: what will be made, and the button. */
export function drawMake() {
  if (jobNow()) {
    follow(jobNow());
    return;
  }
  show(byId("make"),
    h("p", {}, t("make_hint")),
    h("ul", { class: "cautions" }, ["caution_fumes", "caution_attend", "caution_children"].map((key) => h("li", {}, t(key)))),
    button(t("make"), submit, { id: "submit", class: "main", disabled: !ready() }),
    !ready() && h("p", { class: "hint" }, t("plan_waits")));
}

async function submit() {
  byId("submit").disabled = true;
  if (!(await planNow())) {
    byId("submit").disabled = false;
    return;
  }
  const { spec, where } = specOf();
  // the same press sent twice, as over a connection that was lost, is one job
  const once = crypto.randomUUID();
  for (let tries = 0; ; tries += 1) {
    try {
      const job = await ask("POST", "v1/jobs", { body: spec, headers: { "Idempotency-Key": once } });
      connection(null);
      window.location.hash = `job=${job.id}`;
      return;
    } catch (error) {
      if (error instanceof Lost && tries < 5) {
        connection(t("lost"));
        await pause(Math.min(LONGEST, PAUSE * 2 ** tries));
        continue;
      }
      if (error instanceof Refused) tell(faults(error.problem), where);
      else if (error instanceof Lost) connection(t("lost"));
      byId("submit").disabled = false;
      return;
    }
  }
}

const pause = (milliseconds) => new Promise((resolve) => { window.setTimeout(resolve, milliseconds); });

/** Say that the connection is lost, or that it is back. */
export function connection(text) {
  const node = byId("connection");
  if (!node.hidden && text === null) say(t("back"));
  node.hidden = text === null;
  node.textContent = text ?? "";
}

/** Follow a job until it has ended, over lost connections too. */
export async function follow(id) {
  const mine = (following += 1);
  let wait = PAUSE;
  for (;;) {
    try {
      const job = await ask("GET", `v1/jobs/${id}`);
      if (mine !== following) return;
      connection(null);
      wait = PAUSE;
      if (job.state === "succeeded") {
        say(t("job_succeeded"));
        await drawResult(id);
        return;
      }
      if (job.state === "failed" || job.state === "cancelled") {
        drawEnded(job);
        return;
      }
      drawProgress(job);
    } catch (error) {
      if (mine !== following) return;
      if (error instanceof Refused) {
        show(byId("make"), h("div", { class: "problems", role: "alert" }, faults(error.problem).map((one) => h("p", {}, one.text))), button(t("new_job"), forget, { id: "new-job" }));
        return;
      }
      if (!(error instanceof Lost)) throw error;
      connection(t("lost"));
      wait = Math.min(LONGEST, wait * 2);
    }
    await pause(wait);
    if (mine !== following) return;
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

function drawEnded(job) {
  const told = job.problem ? faults(job.problem) : [];
  show(byId("make"),
    h("div", { class: "problems", role: "alert" }, h("p", {}, t(`state_${job.state}`)), told.map((one) => h("p", {}, one.text))),
    button(t("new_job"), forget, { id: "new-job" }));
}

async function stop(id) {
  if ((await askPerson(t("cancel_title"), h("p", {}, t("cancel_text")), [["no", t("go_on")], ["yes", t("cancel"), "danger"]])) !== "yes") return;
  try {
    await ask("DELETE", `v1/jobs/${id}`);
  } catch (error) {
    if (!(error instanceof Refused) && !(error instanceof Lost)) throw error;
  }
}
