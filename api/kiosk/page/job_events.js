// Follows a job until it ends: by its events, or by asking again and again where a stream cannot be had.

import { EventParser, readEvents } from "./event_stream.js";
import { ConnectionLost, request, requestJson, RequestRefused } from "./service.js";

/** @typedef {import("./documents").Job} Job */

const PAUSE = 700;
const LONGEST = 5000;

/** Streams that end without an event before the page asks instead: something between buffers or blocks them. */
const MOST_EMPTY = 2;

/** @param {Job} job */
const ended = (job) => ["succeeded", "failed", "cancelled"].includes(job.state);

/** @param {number} milliseconds */
export const pause = (milliseconds) => new Promise((resolve) => { window.setTimeout(resolve, milliseconds); });

/**
 * Follow a job; return it when it has ended, or null when it is no longer to be followed.
 * @param {string} id
 * @param {{take: (job: Job) => void, lost: () => void, signal: AbortSignal}} watcher `take` is called with each state of
 *   the job, `lost` when the connection breaks off
 * @throws {RequestRefused} if the service refuses to tell
 */
export async function followJob(id, { take, lost, signal }) {
  const parser = new EventParser();
  /** @type {Job | null} */
  let job = null;
  let empty = 0;
  let wait = PAUSE;
  while (!signal.aborted) {
    try {
      if (empty < MOST_EMPTY) {
        const before = parser.lastId;
        await stream(id, parser, untilOffline(signal), (next) => {
          job = next;
          wait = PAUSE;
          take(next);
        });
        empty = parser.lastId === before ? empty + 1 : 0;
      } else {
        job = await requestJson("GET", `v1/jobs/${id}`, { signal });
        wait = PAUSE;
        if (job) take(job);
      }
      if (job && ended(job)) return job;
    } catch (error) {
      if (signal.aborted) return null;
      const broken = error instanceof ConnectionLost || (error instanceof Error && error.name === "AbortError");
      if (error instanceof RequestRefused && error.status === 429) empty = MOST_EMPTY; // too many streams are open
      else if (broken) {
        lost();
        wait = Math.min(LONGEST, wait * 2);
      } else throw error;
    }
    await pause(empty >= MOST_EMPTY ? wait : Math.min(wait, parser.retry ?? wait));
  }
  return null;
}

/** A signal that also ends a stream when the network goes: an open one may not notice for minutes. @param {AbortSignal} signal */
function untilOffline(signal) {
  const gone = new AbortController();
  window.addEventListener("offline", () => gone.abort(), { once: true, signal });
  return AbortSignal.any([signal, gone.signal]);
}

/**
 * Read one stream of a job's events, from the last one on.
 * @param {string} id
 * @param {EventParser} parser
 * @param {AbortSignal} signal
 * @param {(job: Job) => void} take
 */
async function stream(id, parser, signal, take) {
  const headers = parser.lastId ? { "Last-Event-ID": parser.lastId } : undefined;
  const answer = await request("GET", `v1/jobs/${id}/events`, { signal, ...(headers ? { headers } : {}) });
  if (!answer.body || answer.status === 204 || !answer.headers.get("Content-Type")?.startsWith("text/event-stream")) return;
  try {
    await readEvents(answer.body, parser, (event) => take(JSON.parse(event.data)));
  } catch (error) {
    if (error instanceof SyntaxError) throw error;
    throw new ConnectionLost(String(error), { cause: error }); // broken off between two events
  }
}
