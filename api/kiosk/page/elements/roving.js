// One Tab stop for a group of buttons: the arrow keys move between them, Home and End to the first and last.

/**
 * Handle a key in a group whose buttons carry `data-rove="row,column"`; the focused button becomes the Tab stop.
 * @param {KeyboardEvent} event
 */
export function rove(event) {
  const group = /** @type {HTMLElement} */ (event.currentTarget);
  const from = /** @type {HTMLElement} */ (event.target);
  const [row, column] = placeOf(from);
  const nodes = /** @type {HTMLElement[]} */ ([...group.querySelectorAll("[data-rove]")]);
  if (row === undefined || column === undefined || !nodes.length) return;
  const rows = nodes.map((node) => placeOf(node)[0] ?? 0);
  const last = Math.max(...rows);
  const on = document.dir === "rtl" ? -1 : 1; // columns run as the text does
  /** @type {Record<string, [number, number]>} */
  const steps = { ArrowDown: [row + 1, column], ArrowUp: [row - 1, column], ArrowLeft: [row, column - on], ArrowRight: [row, column + on], Home: [0, column], End: [last, column] };
  const to = steps[event.key];
  if (!to) return;
  const other = nodes.find((node) => node.dataset.rove === to.join()) ?? nodes.find((node) => placeOf(node)[0] === to[0]);
  if (!other || (to[0] === row && other === from)) return;
  event.preventDefault();
  stopAt(group, other);
  other.focus();
}

/** Make a button of a group its Tab stop. @param {HTMLElement} group @param {HTMLElement} node */
export function stopAt(group, node) {
  for (const other of group.querySelectorAll("[data-rove]")) /** @type {HTMLElement} */ (other).tabIndex = other === node ? 0 : -1;
}

/** Make the button that gets the focus the Tab stop of its group. @param {FocusEvent} event */
export function stopAtFocus(event) {
  const node = /** @type {HTMLElement} */ (event.target);
  if (node.dataset.rove) stopAt(/** @type {HTMLElement} */ (event.currentTarget), node);
}

/** @param {HTMLElement} node */
const placeOf = (node) => (node.dataset.rove ?? "").split(",").map(Number);
