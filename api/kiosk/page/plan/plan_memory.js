// Plans that were shown, by what was asked for: a draft that is undone has its plan back, whatever came between.

/** @typedef {{document: import("../documents").Plan, body: Record<string, any>, continued: boolean}} Made
 * `body` is the request that this plan is the answer to, and the job that makes just this; `continued` says whether it
 * continues another plan.
 */

/** Plans that are remembered; one of 60 things takes 0.2 MB. */
const MOST = 60;

/** The plans of the last requests, each by its key. */
export class PlanMemory {
  /** @param {number} [most] how many are remembered */
  constructor(most = MOST) {
    this.most = most;
    /** @type {Map<string, Made>} */
    this.made = new Map();
  }

  /** @param {string} key */
  get(key) {
    return this.made.get(key);
  }

  /** @param {string} key @param {Made} made */
  add(key, made) {
    this.made.delete(key); // the last one asked for is forgotten last
    this.made.set(key, made);
    const [oldest] = this.made.keys();
    if (this.made.size > this.most && oldest !== undefined) this.made.delete(oldest);
  }
}
