// The trays of a plan as they stand in a drawer, and what lies in them. Data in, data out.

/** @typedef {import("../documents").Plan} Plan */
/** @typedef {import("../documents").DrawerPlan} DrawerPlan */
/** @typedef {import("../documents").Tray} Tray */
/** @typedef {import("../draft/draft_format.js").HeldThing} HeldThing */
/** @typedef {{index: number, mark: string, name: string, at: [number, number], cells: [number, number], height: number, size: [number, number, number], corner: [number, number, number], tray: Tray}} PlannedTray */

/** Gap on each side of a tray, and thickness of its walls where its spec does not say, mm. */
export const GAP = 0.25;
export const WALL = 1.2;

/**
 * Return the key of the thing that a place of a plan is for; undefined where it is not one of the list's.
 * @param {{pointer: string}} content
 * @param {string[]} keys of the things, in the order of the plan's items
 */
export const thingIn = (content, keys) => keys[Number(/^\/items\/(\d+)$/.exec(content.pointer)?.[1] ?? NaN)];

/**
 * Return the trays of a drawer of a plan; a jointed one once, by its first piece.
 * @param {Plan} plan
 * @param {DrawerPlan} drawer
 * @returns {PlannedTray[]}
 */
export function plannedTrays(plan, drawer) {
  const parts = new Map(plan.parts.map((part) => [part.mark, part]));
  const jointed = new Map(drawer.jointed.map((tray) => [tray.pieces[0], tray]));
  const later = new Set(drawer.jointed.flatMap((tray) => tray.pieces.slice(1)));
  /** @type {PlannedTray[]} */
  const trays = [];
  drawer.placements.forEach((placement, index) => {
    const part = parts.get(placement.mark);
    const at = jointed.get(index)?.cell ?? placement.cell;
    if (!part?.tray || !at || later.has(index)) return;
    const size = part.piece?.tray_size ?? part.size;
    const stood = asItStands(part.tray, size, placement.turn);
    trays.push({
      index,
      mark: placement.mark,
      name: placement.name ?? part.tray.name,
      at,
      cells: stood.tray.cells,
      height: part.tray.height,
      size: stood.size,
      corner: placement.at,
      tray: stood.tray,
    });
  });
  return trays;
}

/**
 * Return a tray and its size as it stands in the drawer: turned by quarters, counter-clockwise from above.
 * @param {Tray} tray
 * @param {[number, number, number]} size
 * @param {number} degrees
 * @returns {{tray: Tray, size: [number, number, number]}}
 */
function asItStands(tray, size, degrees) {
  if (degrees % 360 === 0) return { tray, size };
  const deep = size[1] - 2 * (tray.wall ?? WALL);
  const mirrored = (/** @type {number} */ at) => Number((deep - at).toFixed(3));
  /** @type {Tray} */
  const made = { ...tray, cells: [tray.cells[1], tray.cells[0]] };
  if (tray.compartments) made.compartments = [tray.compartments[1], tray.compartments[0]];
  if (tray.dividers) {
    made.dividers = tray.dividers.map((divider) => {
      if (divider.axis === "y") return { ...divider, axis: "x", at: mirrored(divider.at) };
      return { ...divider, axis: "y", ...(divider.span ? { span: [mirrored(divider.span[1]), mirrored(divider.span[0])] } : {}) };
    });
  }
  return asItStands(made, [size[1], size[0], size[2]], degrees - 90);
}

/**
 * Return where the dividers of a tray are along an axis, from its inner face, as if each were of full length.
 * @param {Tray} tray
 * @param {"x" | "y"} axis
 * @param {number} inner length of the tray inside along the axis, mm
 */
function lines(tray, axis, inner) {
  const even = tray.compartments?.[axis === "x" ? 0 : 1] ?? 1;
  if (even > 1) return Array.from({ length: even - 1 }, (_, n) => (inner * (n + 1)) / even);
  return [...new Set((tray.dividers ?? []).filter((divider) => divider.axis === axis).map((divider) => divider.at))].sort((a, b) => a - b);
}

/**
 * Return what a tray of a plan holds: thing, count and compartment.
 * @param {DrawerPlan} drawer
 * @param {PlannedTray} planned
 * @param {string[]} keys of the things, in the order of the plan's items
 * @returns {HeldThing[]}
 */
export function heldIn(drawer, planned, keys) {
  const wall = planned.tray.wall ?? WALL;
  const xs = lines(planned.tray, "x", planned.size[0] - 2 * wall);
  const ys = lines(planned.tray, "y", planned.size[1] - 2 * wall);
  /** @type {Map<string, HeldThing>} */
  const held = new Map();
  for (const content of drawer.contents) {
    const thing = thingIn(content, keys);
    if (content.placement !== planned.index || thing === undefined) continue;
    const x = content.at[0] + content.size[0] / 2 - planned.corner[0] - wall;
    const y = content.at[1] + content.size[1] / 2 - planned.corner[1] - wall;
    /** @type {[number, number]} */
    const compartment = [xs.filter((line) => line < x).length, ys.filter((line) => line < y).length];
    const id = `${thing} ${compartment.join()}`;
    held.set(id, { thing, compartment, count: content.count + (held.get(id)?.count ?? 0) });
  }
  return [...held.values()];
}

/**
 * What a tray holds, in words.
 * @param {DrawerPlan} drawer
 * @param {number} index of its placement
 */
export const contentsOf = (drawer, index) => drawer.contents
  .filter((content) => content.placement === index).map((content) => `${content.count} × ${content.item}`).join(", ");

/**
 * Return the keys of trays whose things lay elsewhere before, by what they hold.
 * @param {{key: string, hold: string, at: [number, number]}[]} before
 * @param {{key: string, hold: string, at: [number, number]}[]} now
 */
export function movedTrays(before, now) {
  const places = new Map(before.map((tray) => [tray.hold, tray.at]));
  return new Set(now.filter((tray) => {
    const at = tray.hold ? places.get(tray.hold) : undefined;
    return at !== undefined && (at[0] !== tray.at[0] || at[1] !== tray.at[1]);
  }).map((tray) => tray.key));
}
