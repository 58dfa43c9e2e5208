// The floor of a drawer in half cells: what is there, what stands where, and whether a tray fits. Numbers only.

/** @typedef {import("../documents").DrawerPlan} DrawerPlan */
/** @typedef {{x: number, y: number, w: number, d: number}} Box in half cells, from the front left corner of the grid */
/** @typedef {{w: number, d: number, cells: Uint8Array}} Floor `cells` has a 1 where there is floor, row by row from the front */
/** @typedef {{key: string, box: Box, pinned: boolean}} Standing */
/**
 * @typedef {{kind: "free"} | {kind: "swap", other: string} | {kind: "room", others: string[]} |
 *   {kind: "blocked", why: "edge" | "pinned"}} Verdict
 * `room`: these trays have to move; `blocked`: it cannot stand there.
 */

/**
 * @param {[number, number]} at in cells
 * @param {[number, number]} cells
 * @returns {Box}
 */
export const boxOf = (at, cells) => ({ x: Math.round(at[0] * 2), y: Math.round(at[1] * 2), w: Math.round(cells[0] * 2), d: Math.round(cells[1] * 2) });

/** @param {Box} a @param {Box} b */
export const overlap = (a, b) => a.x < b.x + b.w && b.x < a.x + a.w && a.y < b.y + b.d && b.y < a.y + a.d;

/**
 * Return the floor on which these boxes stand or are free.
 * @param {Box[]} boxes
 * @returns {Floor}
 */
export function floorOf(boxes) {
  const w = Math.max(0, ...boxes.map((box) => box.x + box.w));
  const d = Math.max(0, ...boxes.map((box) => box.y + box.d));
  const cells = new Uint8Array(w * d);
  for (const box of boxes) for (let y = box.y; y < box.y + box.d; y += 1) cells.fill(1, y * w + box.x, y * w + box.x + box.w);
  return { w, d, cells };
}

/** @param {Floor} floor @param {Box} box */
export function onFloor(floor, box) {
  if (box.x < 0 || box.y < 0 || box.x + box.w > floor.w || box.y + box.d > floor.d) return false;
  for (let y = box.y; y < box.y + box.d; y += 1) {
    for (let x = box.x; x < box.x + box.w; x += 1) if (!floor.cells[y * floor.w + x]) return false;
  }
  return true;
}

/**
 * Return a place on the grid for a position in half cells, no further out than the grid's edges.
 * @param {Floor} floor
 * @param {Box} box its position may be fractional
 * @param {number} step 2 for whole cells, 1 where trays may stand on half cells
 * @returns {Box}
 */
export function snapped(floor, box, step) {
  const within = (/** @type {number} */ at, /** @type {number} */ most) => Math.min(Math.max(0, Math.round(at / step) * step), Math.max(0, most - (most % step)));
  return { ...box, x: within(box.x, floor.w - box.w), y: within(box.y, floor.d - box.d) };
}

/**
 * Say what happens if a tray stands in a box.
 * @param {Floor} floor
 * @param {Standing[]} others the other trays
 * @param {Box} box
 * @param {Box | null} from where it stood; null for a new tray
 * @returns {Verdict}
 */
export function judge(floor, others, box, from) {
  if (!onFloor(floor, box)) return { kind: "blocked", why: "edge" };
  const hit = others.filter((other) => overlap(other.box, box));
  if (!hit.length) return { kind: "free" };
  const [only] = hit;
  if (hit.length === 1 && only && from && !only.pinned) {
    const back = { ...only.box, x: from.x, y: from.y };
    const clear = others.every((other) => other === only || !overlap(other.box, back));
    if (clear && !overlap(back, box) && onFloor(floor, back)) return { kind: "swap", other: only.key };
  }
  if (hit.some((other) => other.pinned)) return { kind: "blocked", why: "pinned" };
  return { kind: "room", others: hit.map((other) => other.key) };
}

/**
 * Return the tray that is nearest in a direction, or null.
 * @param {Standing[]} trays
 * @param {Box} from
 * @param {[number, number]} direction a unit step; y grows to the back
 */
export function neighbour(trays, from, [dx, dy]) {
  const middle = (/** @type {Box} */ box) => [box.x + box.w / 2, box.y + box.d / 2];
  const [fx = 0, fy = 0] = middle(from);
  let best = null;
  let least = Infinity;
  for (const tray of trays) {
    const [x = 0, y = 0] = middle(tray.box);
    const along = (x - fx) * dx + (y - fy) * dy;
    const across = Math.abs((x - fx) * dy) + Math.abs((y - fy) * dx);
    if (along <= 0) continue;
    if (along + 2 * across < least) {
      least = along + 2 * across;
      best = tray;
    }
  }
  return best;
}

/**
 * Return the first free place for a box of this size, front row first, or null.
 * @param {Floor} floor
 * @param {Standing[]} trays
 * @param {{w: number, d: number}} size
 * @param {number} step
 * @returns {Box | null}
 */
export function freePlace(floor, trays, size, step) {
  for (let y = 0; y + size.d <= floor.d; y += step) {
    for (let x = 0; x + size.w <= floor.w; x += step) {
      const box = { x, y, ...size };
      if (onFloor(floor, box) && !trays.some((tray) => overlap(tray.box, box))) return box;
    }
  }
  return null;
}
