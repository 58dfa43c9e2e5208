// Print events that could not be sent: kept in this browser, each under a key of its own, and sent once the service
// answers again. Each has an id, so that one that had arrived after all counts once.

import { ConnectionLost, RequestRefused, messageOf, requestJson } from "./service.js";

/** @typedef {{outcome: string, run?: number, id: string} & Record<string, unknown>} PrintEvent */
/** @typedef {{job: string, event: PrintEvent, since: number}} Unsent */

const PREFIX = "drawerwright.print.";

/** Keep an event for later; false if this browser keeps nothing. @param {string} job @param {PrintEvent} event */
export function keepUnsent(job, event) {
  try {
    window.localStorage.setItem(PREFIX + event.id, JSON.stringify({ job, event, since: Date.now() }));
    return true;
  } catch {
    return false;
  }
}

/** Forget an event, as it was sent or taken back. @param {string} id */
export const dropUnsent = (id) => window.localStorage.removeItem(PREFIX + id);

/** @returns {Unsent[]} the events that wait, the earliest first */
export function unsent() {
  const texts = Object.keys(window.localStorage).filter((key) => key.startsWith(PREFIX)).map((key) => window.localStorage.getItem(key));
  return texts.flatMap((text) => {
    try {
      return text === null ? [] : [/** @type {Unsent} */ (JSON.parse(text))];
    } catch {
      return []; // not written by this page
    }
  }).sort((a, b) => a.since - b.since);
}

/**
 * Send what waits, in order, until the connection is lost again.
 * @returns {Promise<{sent: number, refused: string[]}>} how many arrived, and why others were refused
 */
export async function sendUnsent() {
  let sent = 0;
  /** @type {string[]} */
  const refused = [];
  for (const { job, event } of unsent()) {
    try {
      await requestJson("POST", `v1/jobs/${job}/prints`, { body: event });
      sent += 1;
    } catch (error) {
      if (error instanceof ConnectionLost || (error instanceof RequestRefused && mayPass(error.status))) break;
      refused.push(messageOf(error));
    }
    dropUnsent(event.id);
  }
  return { sent, refused };
}

/** Whether a refusal says nothing about the event: no key yet, too many requests, a fault of the service. @param {number | undefined} status */
const mayPass = (status) => status === undefined || status === 401 || status === 429 || status >= 500;
