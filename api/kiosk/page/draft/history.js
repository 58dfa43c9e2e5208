// Undo and redo: whole snapshots, as text. Keystrokes in one field within a short time are one step.

/** Milliseconds within which changes of the same field are one step. */
const SAME_STEP = 1500;

export class History {
  /** @param {string} snapshot the state at the start */
  constructor(snapshot) {
    this.now = snapshot;
    /** @type {string[]} */
    this.past = [];
    /** @type {string[]} */
    this.future = [];
    this.field = "";
    this.time = -Infinity;
  }

  /**
   * Add the state after a change.
   * @param {string} snapshot
   * @param {string} field the field that was typed in, or "" for any other change
   * @param {number} time in milliseconds
   */
  add(snapshot, field = "", time = 0) {
    if (snapshot === this.now) return;
    const same = field !== "" && field === this.field && time - this.time < SAME_STEP;
    if (!same) this.past.push(this.now);
    this.now = snapshot;
    this.future = [];
    this.field = field;
    this.time = time;
  }

  /** @returns {string | null} the state before the last change */
  undo() {
    const before = this.past.pop();
    if (before === undefined) return null;
    this.future.push(this.now);
    return this.#at(before);
  }

  /** @returns {string | null} the state that was undone */
  redo() {
    const after = this.future.pop();
    if (after === undefined) return null;
    this.past.push(this.now);
    return this.#at(after);
  }

  /** @param {string} snapshot */
  #at(snapshot) {
    this.now = snapshot;
    this.field = "";
    return snapshot;
  }
}
