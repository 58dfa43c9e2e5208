// HTTP client of the service: requests, problem documents, lost connections, the API key.

import { t } from "../language/messages.js";

/** @typedef {import("../documents").Problem} Problem */
/** @typedef {{body?: unknown, signal?: AbortSignal, headers?: Record<string, string>}} Options */

const KEY = "drawerwright.key";

/** The service did not answer. */
export class ConnectionLost extends Error {}

/** The service answered with a problem document. */
export class RequestRefused extends Error {
  /** @param {Problem} problem */
  constructor(problem) {
    super(problem.detail ?? problem.title ?? "");
    this.problem = problem;
    this.status = problem.status;
  }
}

export const keyNow = () => window.sessionStorage.getItem(KEY) ?? window.localStorage.getItem(KEY) ?? "";

/**
 * @param {string} key
 * @param {boolean} forDevice
 */
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

/**
 * Send a request; return the response, or throw ConnectionLost or RequestRefused.
 * @param {string} method
 * @param {string} path
 * @param {Options} [options]
 */
export async function request(method, path, { body, signal, headers = {} } = {}) {
  /** @type {Record<string, string>} */
  const sent = { ...headers };
  const isForm = body instanceof FormData; // the browser says its type
  if (body !== undefined && !isForm) sent["Content-Type"] = "application/json";
  if (keyNow()) sent.Authorization = `Bearer ${keyNow()}`;
  let answer;
  try {
    answer = await fetch(path, { method, headers: sent, signal: signal ?? null, body: isForm || body === undefined ? /** @type {FormData | undefined} */ (body) ?? null : JSON.stringify(body) });
  } catch (error) {
    if (error instanceof Error && error.name === "AbortError") throw error;
    throw new ConnectionLost(String(error), { cause: error });
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

/**
 * @param {string} method
 * @param {string} path
 * @param {Options} [options]
 * @returns {Promise<any>} the JSON document
 */
export const requestJson = async (method, path, options) => (await request(method, path, options)).json();

/**
 * What to show of an error of a request; any other error is thrown again.
 * @param {unknown} error
 * @param {string} lost the text for a lost connection
 */
export function messageOf(error, lost = t("no_connection")) {
  if (error instanceof ConnectionLost) return lost;
  if (error instanceof RequestRefused) return faults(error.problem).map((fault) => fault.text).join(" ");
  throw error;
}

/**
 * Let the browser save data as a file.
 * @param {Blob} blob
 * @param {string} name
 */
export function saveBlob(blob, name) {
  const link = document.createElement("a");
  link.href = URL.createObjectURL(blob);
  link.download = name;
  link.click();
  window.setTimeout(() => URL.revokeObjectURL(link.href), 60_000);
}

/**
 * Download a file of the service under its own name.
 * @param {string} path
 * @param {string} name
 */
export async function save(path, name) {
  saveBlob(await (await request("GET", path)).blob(), name);
}

/**
 * List the errors of a problem document (RFC 9457).
 * @param {Problem} problem
 * @returns {import("../documents").Fault[]}
 */
export function faults(problem) {
  const all = problem.errors?.length ? problem.errors : [problem];
  return all.map((fault) => ({
    pointer: fault.pointer ?? null,
    text: [fault.detail ?? fault.title, fault.limit && t("limit", { limit: fault.limit }), fault.remedy].filter(Boolean).join(" "),
  }));
}
