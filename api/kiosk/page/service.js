// HTTP client of the service: requests, problem documents, lost connections, the API key.

import { t } from "./messages.js";

const KEY = "drawerwright.key";

/** The service did not answer. */
export class ConnectionLost extends Error {}

/** The service answered with a problem document. */
export class RequestRefused extends Error {
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

/** A random id. `crypto.randomUUID` exists in secure contexts only, which a page on plain HTTP in a LAN is not. */
export const randomId = () => Array.from(crypto.getRandomValues(new Uint8Array(16)), (byte) => byte.toString(16).padStart(2, "0")).join("");

/** Send a request; return the response, or throw ConnectionLost or RequestRefused. */
export async function request(method, path, { body, signal, headers = {} } = {}) {
  const sent = { ...headers };
  if (body !== undefined) sent["Content-Type"] = "application/json";
  if (keyNow()) sent.Authorization = `Bearer ${keyNow()}`;
  let answer;
  try {
    answer = await fetch(path, { method, headers: sent, signal, body: body === undefined ? undefined : JSON.stringify(body) });
  } catch (error) {
    if (error.name === "AbortError") throw error;
    throw new ConnectionLost(error.message);
  }
  if (answer.ok) return answer;
  let problem;
  try {
    problem = await answer.json();
  } catch {
    problem = { title: answer.statusText, status: answer.status };
  }
  if (typeof problem !== "object" || problem === null) problem = {};
  throw new RequestRefused({ status: answer.status, ...problem });
}

export const requestJson = async (method, path, options) => (await request(method, path, options)).json();

/** Download a file of the service under its own name. */
export async function save(path, name) {
  const blob = await (await request("GET", path)).blob();
  const link = document.createElement("a");
  link.href = URL.createObjectURL(blob);
  link.download = name;
  link.click();
  window.setTimeout(() => URL.revokeObjectURL(link.href), 60_000);
}

/** List the errors of a problem document (RFC 9457) as {pointer, text}. */
export function faults(problem) {
  const all = problem.errors?.length ? problem.errors : [problem];
  return all.map((fault) => ({
    pointer: fault.pointer ?? null,
    text: [fault.detail ?? fault.title, fault.limit && t("limit", { limit: fault.limit }), fault.remedy].filter(Boolean).join(" "),
  }));
}
