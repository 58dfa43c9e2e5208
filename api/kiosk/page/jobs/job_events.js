// Follows a job or a silhouette until it ends: by its events, or by asking again where a stream cannot be had.

import { EventParser, readEvents } from "../service/event_stream.js";
import { ConnectionLost, request, requestJson, RequestRefused } from "../service/service.js";

/** @typedef {import("../documents").Job} Job */

const PAUSE = 700;
const LONGEST = 5000;

/** Streams that end without an event before the page asks instead: something between buffers or blocks them. */
const MOST_EMPTY = 2;

/** @param {{state: string}} job */
const ended = (job) => ["succeeded", "failed", "cancelled"].includes(job.state);

/** @param {number} milliseconds */
export const pause = (milliseconds) => new Promise((resolve) => { window.setTimeout(resolve, milliseconds); });

/**
 * @template T
 * @typedef {{take: (job: T) => void, lost: () => void, signal: AbortSignal}} Watcher `take` is called with each state,
 *   `lost` when the connection breaks off
 */

/**
 * Follow a job; return it when it has ended, or null when it is no longer to be followed.
 * @param {string} id
 * @param {Watcher<Job>} watcher
 * @returns {Promise<Job | null>}
 * @throws {RequestRefused} if the service refuses to tell
 */
export const followJob = (id, watcher) => follow(`v1/jobs/${id}`, watcher);

/**
 * Follow what has a state and events, by its path.
 * @template {{state: string}} T
 * @param {string} path
 * @param {Watcher<T>} watcher
 * @returns {Promise<T | null>}
 * @throws {RequestRefused} if the service refuses to tell
 */
export async function follow(path, { take, lost, signal }) {
  const parser = new EventParser();
  /** @type {T | null} */
  let job = null;
  let empty = 0;
  let wait = PAUSE;
  while (!signal.aborted) {
    try {
      if (empty < MOST_EMPTY) {
        const before = parser.lastId;
        await stream(path, parser, untilOffline(signal), (/** @type {T} */ next) => {
          job = next;
          wait = PAUSE;
          take(next);
        });
        empty = parser.lastId === before ? empty + 1 : 0;
      } else {
        job = /** @type {T} */ (await requestJson("GET", path, { signal }));
        wait = PAUSE;
        take(job);
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
 * Read one stream of events, from the last one on.
 * @param {string} path
 * @param {EventParser} parser
 * @param {AbortSignal} signal
 * @param {(job: any) => void} take
 */
async function stream(path, parser, signal, take) {
  const headers = parser.lastId ? { "Last-Event-ID": parser.lastId } : undefined;
  const answer = await request("GET", `${path}/events`, { signal, ...(headers ? { headers } : {}) });
  if (!answer.body || answer.status === 204 || !answer.headers.get("Content-Type")?.startsWith("text/event-stream")) return;
  try {
    await readEvents(answer.body, parser, (event) => take(JSON.parse(event.data)));
  } catch (error) {
    if (error instanceof SyntaxError) throw error;
    throw new ConnectionLost(String(error), { cause: error }); // broken off between two events
  }
}
