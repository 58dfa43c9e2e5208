// Inside a tray: its dividers, the compartments between them, and what lies in each. Data in, data out.

import { GAP, WALL } from "../../plan/planned_trays.js";

/** @typedef {import("../../documents").Tray} Tray */
/** @typedef {import("../../documents").Divider} Divider */
/** @typedef {import("../../draft/draft_format.js").FixedTray} FixedTray */
/** @typedef {import("../../draft/draft_format.js").HeldThing} HeldThing */
/** @typedef {[number, number]} Inner width and depth of a tray inside, mm */
/**
 * @typedef {{x: [number, number], y: [number, number], cells: [number, number][], id: string}} Compartment
 * Its bounds between the middles of dividers, mm; `cells` are the columns and rows that name it, and `id` says which
 * dividers surround it.
 */

/** Least room between two dividers, mm: narrower ones hold nothing. */
const LEAST = 8;

/** Air around a thing whose size a divider is snapped to, mm. */
const AIR = 1;

/** Most equal parts that a divider is snapped to. */
const MOST_PARTS = 6;

const NEAR = 0.01;

/** @param {Tray} tray @param {number} pitch of the grid, mm @returns {Inner} */
export const innerOf = (tray, pitch) => {
  const side = (/** @type {number} */ cells) => cells * pitch - 2 * (GAP + (tray.wall ?? WALL));
  return [side(tray.cells[0]), side(tray.cells[1])];
};

/** @param {"x" | "y"} axis */
const index = (axis) => (axis === "x" ? 0 : 1);

/** @param {number} mm */
const rounded = (mm) => Number(mm.toFixed(2));

/**
 * Return a tray whose equal compartments are dividers, which can be moved one by one.
 * @template {Tray} T
 * @param {T} tray
 * @param {Inner} inner
 * @returns {T}
 */
export function divided(tray, inner) {
  const dividers = [...(tray.dividers ?? [])];
  for (const axis of /** @type {const} */ (["x", "y"])) {
    const count = tray.compartments?.[index(axis)] ?? 1;
    for (let n = 1; n < count; n += 1) dividers.push({ axis, at: rounded((inner[index(axis)] * n) / count) });
  }
  return { ...tray, compartments: null, dividers };
}

/**
 * Return where the lines of a tray's dividers are; those in line with each other count once, as the service counts.
 * @param {Tray} tray without equal compartments
 * @param {"x" | "y"} axis
 */
function lines(tray, axis) {
  const wall = tray.wall ?? WALL;
  /** @type {number[]} */
  const made = [];
  let reached = 0;
  for (const at of (tray.dividers ?? []).filter((divider) => divider.axis === axis).map((divider) => divider.at).sort((a, b) => a - b)) {
    if (at - wall / 2 > reached) made.push(at);
    reached = at + wall / 2;
  }
  return made;
}

/** Whether a divider reaches a place along its length. @param {Divider} divider @param {number} place */
const covers = (divider, place) => !divider.span || (divider.span[0] - NEAR <= place && place <= divider.span[1] + NEAR);

/**
 * Return the compartments of a tray, front row first.
 * @param {Tray} tray without equal compartments
 * @param {Inner} inner
 * @returns {Compartment[]}
 */
export function compartmentsOf(tray, inner) {
  const wall = tray.wall ?? WALL;
  const edges = [[0, ...lines(tray, "x"), inner[0]], [0, ...lines(tray, "y"), inner[1]]];
  const [xs = [], ys = []] = edges;
  const [columns, rows] = [xs.length - 1, ys.length - 1];
  const dividers = tray.dividers ?? [];
  const middle = (/** @type {number[]} */ all, /** @type {number} */ n) => ((all[n] ?? 0) + (all[n + 1] ?? 0)) / 2;
  const between = (/** @type {"x" | "y"} */ axis, /** @type {number} */ line, /** @type {number} */ place) =>
    dividers.findIndex((divider) => divider.axis === axis && Math.abs(divider.at - line) <= wall && covers(divider, place));
  /** @type {Compartment[]} */
  const made = [];
  const seen = new Set();
  for (let row = 0; row < rows; row += 1) {
    for (let column = 0; column < columns; column += 1) {
      if (seen.has(`${column},${row}`)) continue;
      /** @type {[number, number][]} */
      const cells = [];
      /** @type {Set<string>} */
      const around = new Set();
      /** @type {[number, number][]} */
      const open = [[column, row]];
      seen.add(`${column},${row}`);
      for (let next = open.pop(); next; next = open.pop()) {
        const [c, r] = next;
        cells.push([c, r]);
        for (const [dc, dr] of /** @type {const} */ ([[1, 0], [-1, 0], [0, 1], [0, -1]])) {
          const [oc, or] = [c + dc, r + dr];
          if (oc < 0 || or < 0 || oc >= columns || or >= rows) continue;
          const wallThere = dc ? between("x", xs[Math.max(c, oc)] ?? 0, middle(ys, r)) : between("y", ys[Math.max(r, or)] ?? 0, middle(xs, c));
          if (wallThere >= 0) around.add(`${dc},${dr}:${wallThere}`);
          else if (!seen.has(`${oc},${or}`)) {
            seen.add(`${oc},${or}`);
            open.push([oc, or]);
          }
        }
      }
      const span = (/** @type {number[]} */ all, /** @type {0 | 1} */ n) => /** @type {[number, number]} */ ([
        all[Math.min(...cells.map((cell) => cell[n]))] ?? 0, all[Math.max(...cells.map((cell) => cell[n])) + 1] ?? 0]);
      made.push({ x: span(xs, 0), y: span(ys, 1), cells, id: [...around].sort().join(" ") });
    }
  }
  return made;
}

/** @param {Compartment[]} all @param {[number, number]} cell */
export const compartmentAt = (all, [column, row]) => all.findIndex((room) => room.cells.some(([c, r]) => c === column && r === row));

/** @param {Compartment} room @param {[number, number]} point */
const contains = (room, [x, y]) => room.x[0] <= x && x <= room.x[1] && room.y[0] <= y && y <= room.y[1];

/**
 * Return the compartment at a point, mm from the inner front left corner, or -1.
 * @param {Compartment[]} all
 * @param {[number, number]} point
 */
export const compartmentUnder = (all, point) => all.findIndex((room) => contains(room, point));

/** @param {Compartment} room @returns {[number, number]} */
const centre = (room) => [(room.x[0] + room.x[1]) / 2, (room.y[0] + room.y[1]) / 2];

/**
 * Return an entry with other dividers: what lies in it stays in its compartment, or where the middle of that was.
 * @param {FixedTray} entry without equal compartments
 * @param {Divider[]} dividers
 * @param {Inner} inner
 * @returns {FixedTray}
 */
function withDividers(entry, dividers, inner) {
  const before = compartmentsOf(entry.tray, inner);
  const tray = { ...entry.tray, dividers };
  const after = compartmentsOf(tray, inner);
  const same = dividers.length === (entry.tray.dividers ?? []).length;
  const place = (/** @type {[number, number]} */ cell) => {
    const old = before[compartmentAt(before, cell)] ?? before[0];
    const kept = same ? after.find((room) => room.id === old?.id) : undefined;
    const there = kept ?? after[old ? compartmentUnder(after, centre(old)) : 0] ?? after[0];
    return there?.cells[0] ?? /** @type {[number, number]} */ ([0, 0]);
  };
  if (!same && tray.labels?.length) tray.labels = []; // room for each column: the columns are others now
  return { ...entry, pinned: true, tray, hold: joined(entry.hold.map((held) => ({ ...held, compartment: place(held.compartment) }))) };
}

/** What lies in one compartment is listed once. @param {HeldThing[]} hold @returns {HeldThing[]} */
function joined(hold) {
  /** @type {Map<string, HeldThing>} */
  const made = new Map();
  for (const held of hold) {
    const id = `${held.thing} ${held.compartment.join()}`;
    const there = made.get(id);
    made.set(id, there ? { ...held, count: there.count === null || held.count === null ? null : there.count + held.count } : held);
  }
  return [...made.values()];
}

/** @param {Divider} a @param {Divider} b */
const overlapping = (a, b) => {
  const [from, to] = a.span ?? [-Infinity, Infinity];
  const [start, end] = b.span ?? [-Infinity, Infinity];
  return from < end - NEAR && start < to - NEAR;
};

/**
 * Return between which places a divider can be moved: up to its neighbours or the walls.
 * @param {Tray} tray without equal compartments
 * @param {number} n of the divider
 * @param {Inner} inner
 * @returns {{least: number, most: number, from: number, to: number}} `from` and `to` are the neighbours
 */
export function bounds(tray, n, inner) {
  const wall = tray.wall ?? WALL;
  const divider = tray.dividers?.[n];
  const whole = divider ? inner[index(divider.axis)] : 0;
  let [from, to] = [-wall / 2, whole + wall / 2];
  for (const [m, other] of (tray.dividers ?? []).entries()) {
    if (!divider || m === n || other.axis !== divider.axis || !overlapping(divider, other)) continue;
    if (other.at <= divider.at) from = Math.max(from, other.at);
    else to = Math.min(to, other.at);
  }
  const clear = LEAST + wall;
  return { least: rounded(Math.min(from + clear, divider?.at ?? 0)), most: rounded(Math.max(to - clear, divider?.at ?? 0)), from, to };
}

/**
 * Return the nearest place that makes equal parts or just holds a thing, within reach; else the place itself, in whole mm.
 * @param {Tray} tray without equal compartments
 * @param {number} n of the divider
 * @param {Inner} inner
 * @param {number} at
 * @param {number} reach mm
 * @param {number[]} sizes of things beside it along its axis, mm
 */
export function snappedDivider(tray, n, inner, at, reach, sizes) {
  const wall = tray.wall ?? WALL;
  const { least, most, from, to } = bounds(tray, n, inner);
  const divider = tray.dividers?.[n];
  const whole = divider ? inner[index(divider.axis)] : 0;
  const places = [(from + to) / 2];
  for (let parts = 2; parts <= MOST_PARTS; parts += 1) {
    for (let k = 1; k < parts; k += 1) places.push((whole * k) / parts);
  }
  for (const size of sizes) places.push(from + size + 2 * AIR + wall, to - size - 2 * AIR - wall);
  const held = Math.min(Math.max(at, least), most);
  const near = places.filter((place) => place >= least && place <= most && Math.abs(place - held) <= reach).sort((a, b) => Math.abs(a - held) - Math.abs(b - held));
  return rounded(near[0] ?? Math.min(Math.max(Math.round(at), least), most));
}

/**
 * Return an entry with a divider at another place; those that end at it follow.
 * @param {FixedTray} entry without equal compartments
 * @param {number} n of the divider
 * @param {number} to
 * @param {Inner} inner
 */
export function moveDivider(entry, n, to, inner) {
  const all = entry.tray.dividers ?? [];
  const divider = all[n];
  if (!divider) return entry;
  const { least, most } = bounds(entry.tray, n, inner);
  const at = rounded(Math.min(Math.max(to, least), most));
  const dividers = all.map((other, m) => {
    if (m === n) return { ...other, at };
    if (other.axis === divider.axis || !other.span || !covers(divider, other.at)) return other;
    const end = (/** @type {number} */ place) => (Math.abs(place - divider.at) <= NEAR ? at : place);
    return { ...other, span: /** @type {[number, number]} */ ([end(other.span[0]), end(other.span[1])]) };
  });
  return withDividers(entry, dividers, inner);
}

/**
 * Return an entry with a divider through the middle of the largest compartment, or null if none is large enough.
 * @param {FixedTray} entry without equal compartments
 * @param {"x" | "y"} axis
 * @param {Inner} inner
 */
export function addDivider(entry, axis, inner) {
  const wall = entry.tray.wall ?? WALL;
  const [along, across] = axis === "x" ? /** @type {const} */ (["x", "y"]) : /** @type {const} */ (["y", "x"]);
  const other = inner[index(across)];
  let best = null;
  for (const room of compartmentsOf(entry.tray, inner)) {
    const size = room[along][1] - room[along][0];
    if (size >= 2 * (LEAST + wall) && (!best || size > best[along][1] - best[along][0])) best = room;
  }
  if (!best) return null;
  const [from, to] = best[across];
  const at = rounded((best[along][0] + best[along][1]) / 2);
  /** @type {Divider} */
  const made = { axis, at };
  if (from > NEAR || to < other - NEAR) made.span = [from, to]; // exactly where the crossing dividers are
  return withDividers(entry, [...(entry.tray.dividers ?? []), made], inner);
}

/**
 * Return an entry without a divider; those that ended at it go on to the next one or the wall.
 * @param {FixedTray} entry without equal compartments
 * @param {number} n of the divider
 * @param {Inner} inner
 */
export function removeDivider(entry, n, inner) {
  const all = entry.tray.dividers ?? [];
  const gone = all[n];
  if (!gone) return entry;
  const left = all.filter((_, m) => m !== n);
  const dividers = left.map((divider) => {
    if (divider.axis === gone.axis || !divider.span) return divider;
    const [from, to] = divider.span;
    const holds = (/** @type {number} */ place) => left.some((other) => other.axis === gone.axis && Math.abs(other.at - place) <= NEAR && covers(other, divider.at));
    const ats = left.filter((other) => other.axis === gone.axis && covers(other, divider.at)).map((other) => other.at);
    const start = Math.abs(from - gone.at) > NEAR || holds(from) ? from : Math.max(0, ...ats.filter((at) => at < from));
    const end = Math.abs(to - gone.at) > NEAR || holds(to) ? to : Math.min(inner[index(gone.axis)], ...ats.filter((at) => at > to));
    return { ...divider, span: /** @type {[number, number]} */ ([start, end]) };
  });
  return withDividers(entry, dividers, inner);
}

/**
 * Return the trays with a thing of one compartment in another, of the same tray or another one.
 * @param {FixedTray[]} trays
 * @param {{key: string, thing: string, compartment: [number, number]}} from
 * @param {{key: string, compartment: [number, number]}} to
 * @returns {FixedTray[]}
 */
export function moveThing(trays, from, to) {
  const is = (/** @type {HeldThing} */ held) => held.thing === from.thing && held.compartment.join() === from.compartment.join();
  const moved = trays.find((entry) => entry.key === from.key)?.hold.find(is);
  if (!moved || (from.key === to.key && from.compartment.join() === to.compartment.join())) return trays;
  return trays.map((entry) => {
    if (entry.key !== from.key && entry.key !== to.key) return entry;
    const left = entry.key === from.key ? entry.hold.filter((held) => !is(held)) : entry.hold;
    return { ...entry, pinned: true, hold: entry.key === to.key ? joined([...left, { ...moved, compartment: to.compartment }]) : left };
  });
}
