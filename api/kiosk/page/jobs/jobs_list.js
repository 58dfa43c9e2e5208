// The jobs: searched by name, tag and date, opened, tagged and removed.

import { announce, button, byId, find, h, openDialog, show } from "../elements/dom.js";
import { t } from "../language/messages.js";
import { dateText } from "../language/numbers.js";
import { messageOf, requestJson, request } from "../service/service.js";

/** @typedef {import("../documents").Job} Job */

const PAGE = 20;

/** Milliseconds after the last letter before a search begins. */
const PAUSE = 300;

const ENDED = ["succeeded", "failed", "cancelled"];

let drawn = 0;
let timer = 0;
const filter = { name: "", tag: "", from: "", to: "" };

/** The address of a page of jobs. @param {string} after id of the last job on the page before */
function query(after) {
  const fields = new URLSearchParams({ limit: String(PAGE) });
  if (filter.name) fields.set("name", filter.name);
  if (filter.tag) fields.set("tag", filter.tag);
  if (filter.from) fields.set("created_after", new Date(`${filter.from}T00:00`).toISOString());
  if (filter.to) fields.set("created_before", new Date(new Date(`${filter.to}T00:00`).getTime() + 86_400_000).toISOString());
  if (after) fields.set("after", after);
  return `v1/jobs?${fields}`;
}

/** Draw the list into the page's section for lists. */
export function drawJobs() {
  byId("h-household").textContent = t("jobs");
  const input = (/** @type {keyof typeof filter} */ key, /** @type {string} */ type) => h("div", { class: "field" }, h("label", { for: `jobs-${key}` }, t(`jobs_${key}`)),
    h("input", { id: `jobs-${key}`, type, value: filter[key], maxlength: 40, autocomplete: "off", oninput: (/** @type {any} */ event) => {
      filter[key] = event.target.value.trim();
      window.clearTimeout(timer);
      timer = window.setTimeout(refresh, PAUSE);
    } }));
  show(byId("household-body"),
    h("div", { class: "four", role: "search", "aria-label": t("jobs") }, input("name", "search"), input("tag", "search"), input("from", "date"), input("to", "date")),
    h("div", { id: "jobs-body" }, h("p", { class: "hint" }, t("loading"))),
    h("div", { class: "choices" }, button(t("to_planner"), () => { window.location.hash = ""; }, { id: "to-planner" })));
  refresh();
}

async function refresh() {
  const turn = (drawn += 1);
  try {
    const page = await requestJson("GET", query(""));
    if (turn === drawn && find("jobs-body")) drawPage(page);
  } catch (error) {
    const text = messageOf(error);
    if (turn === drawn && find("jobs-body")) show(byId("jobs-body"), h("p", { class: "problems", role: "alert" }, text));
  }
}

/** @param {{jobs: Job[], next: string | null}} page */
function drawPage({ jobs, next }) {
  const filtered = Object.values(filter).some(Boolean);
  show(byId("jobs-body"), jobs.length
    ? h("ul", { class: "plain", id: "jobs-list" }, jobs.map(row))
    : h("p", { id: "no-jobs" }, t(filtered ? "no_jobs_match" : "no_jobs")),
  next && more(jobs.at(-1)?.id ?? ""));
}

/** @param {string} after */
const more = (after) => button(t("more_jobs"), async () => {
  try {
    const { jobs, next } = await requestJson("GET", query(after));
    byId("jobs-list").append(...jobs.map(row));
    byId("more-jobs").remove();
    if (next) byId("jobs-body").append(more(jobs.at(-1)?.id ?? ""));
    if (jobs[0]) byId(`open-${jobs[0].id}`).focus();
  } catch (error) {
    announce(messageOf(error));
  }
}, { id: "more-jobs" });

/** @param {Job} job */
function row(job) {
  return h("li", { class: "row job-row", id: `job-${job.id}` },
    button([h("span", { class: "what" }, job.name), h("span", { class: "size" }, [dateText(job.created), t(`state_${job.state}`), ...job.tags.map((tag) => `#${tag}`)].join(" · "))],
      () => { window.location.hash = `job=${job.id}`; }, { id: `open-${job.id}`, class: "row-name" }),
    button(t("tags"), () => editTags(job), { id: `tags-${job.id}`, class: "quiet", "aria-label": t("tags_of", { name: job.name }) }),
    ENDED.includes(job.state) && button("×", () => remove(job), { id: `remove-job-${job.id}`, class: "quiet danger", "aria-label": t("remove_job_named", { name: job.name }) }));
}

/** @param {Job} job */
async function editTags(job) {
  const input = h("input", { id: "tags", value: job.tags.join(", "), maxlength: 400, autocomplete: "off" });
  const answer = await openDialog(t("tags_of", { name: job.name }), h("div", { class: "field" }, h("label", { for: "tags" }, t("tags_hint")), input), [["", t("leave_it")], ["ok", t("save_tags"), "main"]]);
  if (answer !== "ok") return;
  const tags = [...new Set(input.value.split(",").map((tag) => tag.trim().replace(/^#/, "")).filter(Boolean))];
  await change(() => requestJson("PATCH", `v1/jobs/${job.id}`, { body: { tags } }), t("tags_saved"), `tags-${job.id}`);
}

/** @param {Job} job */
async function remove(job) {
  const answer = await openDialog(t("remove_job_named", { name: job.name }), h("p", {}, t("remove_job_text")), [["no", t("leave_it")], ["yes", t("remove"), "danger"]]);
  if (answer === "yes") await change(() => request("DELETE", `v1/jobs/${job.id}/files`), t("removed", { name: job.name }), "jobs-name");
}

/** @param {() => Promise<any>} send @param {string} success @param {string} focus id of what has the focus then */
async function change(send, success, focus) {
  let text = success;
  try {
    await send();
  } catch (error) {
    text = messageOf(error);
  }
  await refresh();
  announce(text);
  find(focus)?.focus();
}
