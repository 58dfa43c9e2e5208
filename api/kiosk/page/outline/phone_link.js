// From the screen of a desk to a phone and back: a QR code opens the page there, and what the phone sends is found by the
// code in it.

import { pause } from "../jobs/job_events.js";
import { requestJson } from "../service/service.js";

/** @typedef {{code: string, thickness: string, body: string, bar: string, unit: string}} PhoneLink */

const MARK = "#outline=";

/** Milliseconds between two looks at what has come. */
const PAUSE = 2000;

/** The fragment of the address that a phone opens. @param {PhoneLink} link */
export const fragmentOf = ({ code, ...fields }) => MARK + code + Object.entries(fields).filter(([, value]) => value).map(([key, value]) => `&${key}=${encodeURIComponent(value)}`).join("");

/** What a desk asks for, by the fragment; null if it asks for nothing. @param {string} hash @returns {PhoneLink | null} */
export function linkIn(hash) {
  if (!hash.startsWith(MARK)) return null;
  const fields = new URLSearchParams(`code=${hash.slice(MARK.length)}`);
  const text = (/** @type {string} */ key) => (fields.get(key) ?? "").slice(0, 20);
  const code = fields.get("code") ?? "";
  return /^[0-9a-f]{8,20}$/.test(code) ? { code, thickness: text("thickness"), body: text("body"), bar: text("bar"), unit: text("unit") } : null;
}

/** The tag of what a phone sends. @param {string} code */
export const tagOf = (code) => `phone ${code}`;

/** Whether an address reaches this machine only, so that no phone can open it. @param {string} host */
export const isOwnMachine = (host) => /^(?:localhost|.*\.localhost|127(?:\.\d+){3}|\[?::1\]?)$/.test(host);

/**
 * Wait for what the phone sends; return the id of the first that can be read, or null when it is no longer waited for.
 * @param {string} code
 * @param {(state: string) => void} take is called with the state of the latest one
 * @param {AbortSignal} signal
 */
export async function waitForPhone(code, take, signal) {
  const path = `v1/silhouettes?limit=1&tag=${encodeURIComponent(tagOf(code))}`;
  while (!signal.aborted) {
    try {
      const [latest] = (await requestJson("GET", path, { signal })).silhouettes;
      if (latest) take(latest.state);
      if (latest?.state === "succeeded") return /** @type {string} */ (latest.id);
    } catch (error) {
      if (signal.aborted) return null;
      if (!(error instanceof Error)) throw error; // else the next look may be answered
    }
    await pause(PAUSE);
  }
  return null;
}
