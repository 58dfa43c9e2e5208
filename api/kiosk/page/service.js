// The service: requests, problems, lost connections.

import { t } from "./messages.js";

const KEY = "drawerwright.key";

/** The service did not answer. */
export class Lost extends Error {}

/** The service answered with a problem document. */
export class Refused extends Error {
  constructor(problem) {
    super(problem.detail ?? problem.title ?? "");
    this.problem = problem;
    this.status = problem.status;
  }
}

export const keyNow = () => window.sessionStorage.getItem(KEY) ?? window.localStorage.getItem(KEY) ?? "";

export function keepKey(key, forDevice) {
  window.sessionStorage.setItem(KEY, key);
  if (forDevice) window.localStorage.setItem(KEY, key);
}

export function dropKey() {
  window.sessionStorage.removeItem(KEY);
  window.localStorage.removeItem(KEY);
}

/** Ask the service; the response, or Lost or Refused. */
export async function call(method, path, { body, signal, headers = {} } = {}) {
  const sent = { ...headers };
  if (body !== undefined) sent["Content-Type"] = "application/json";
  if (keyNow()) sent.Authorization = `Bearer ${keyNow()}`;
  let answer;
  try {
    answer = await fetch(path, { method, headers: sent, signal, body: body === undefined ? undefined : JSON.stringify(body) });
  } catch (error) {
    if (error.name === "AbortError") throw error;
    throw new Lost(error.message);
  }
  if (answer.ok) return answer;
  let problem;
  try {
    problem = await answer.json();
  } catch {
    problem = { title: answer.statusText, status: answer.status };
  }
  if (typeof problem !== "object" || problem === null) problem = {};
  throw new Refused({ status: answer.status, ...problem });
}

export const ask = async (method, path, options) => (await call(method, path, options)).json();

/** Save a file of the service under its own name. */
export async function save(path, name) {
  const blob = await (await call("GET", path)).blob();
  const link = document.createElement("a");
  link.href = URL.createObjectURL(blob);
  link.download = name;
  link.click();
  window.setTimeout(() => URL.revokeObjectURL(link.href), 60_000);
}

/** Each thing that a problem document says, as {pointer, text}. */
export function faults(problem) {
  const all = problem.errors?.length ? problem.errors : [problem];
  return all.map((one) => ({
    pointer: one.pointer ?? null,
    text: [one.detail ?? one.title, one.limit && t("limit", { limit: one.limit }), one.remedy].filter(Boolean).join(" "),
  }));
}
