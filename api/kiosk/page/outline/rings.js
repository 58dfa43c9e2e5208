// Geometry of an outline that is corrected by hand: rings of corners in mm, y to the back. No access to the page.

/** @typedef {[number, number]} Point */
/** @typedef {Point[]} Ring corners in order; the first is not repeated */
/** @typedef {{ring: number, point: number}} Corner one corner of several rings */
/** @typedef {{through: Point, along: Point}} Axis a line; `along` is of length 1 */

/** Deviation in mm at which an outline gets fewer corners, and most of them to begin with: more are no use to a hand. */
const FINE = 0.2;
const MOST_CORNERS = 120;
const COARSER = 1.4;

/** Steps in mm along an outline that is smoothed, passes, and the weights of Taubin (1995), which shrink nothing. */
const STEP = 0.5;
const PASSES = 40;
const [TO_NEIGHBOURS, BACK] = [0.5, -0.51];

/** Mm around a corner within which the outline is smoothed. */
const REACH = 8;

/** Deviation in mm at which a smoothed outline keeps its corners. */
const FINEST = 0.03;

/** @param {Point} a @param {Point} b */
export const distance = (a, b) => Math.hypot(a[0] - b[0], a[1] - b[1]);

/** @param {Ring} ring @param {number} n @returns {Point} the corner of this number, counted round */
const at = (ring, n) => /** @type {Point} */ (ring[((n % ring.length) + ring.length) % ring.length]);

/** @param {Ring} ring the signed area in mm²: positive if it runs counter-clockwise */
export const areaOf = (ring) => ring.reduce((sum, [x, y], n) => sum + x * at(ring, n + 1)[1] - at(ring, n + 1)[0] * y, 0) / 2;

/** @param {Ring} ring @returns {{left: number, front: number, width: number, depth: number}} */
export function boxOf(ring) {
  const [xs, ys] = [ring.map(([x]) => x), ring.map(([, y]) => y)];
  const [left, front] = [Math.min(...xs), Math.min(...ys)];
  return { left, front, width: Math.max(...xs) - left, depth: Math.max(...ys) - front };
}

/**
 * The place on a piece of line that is nearest to a point.
 * @param {Point} p
 * @param {Point} a
 * @param {Point} b
 * @returns {Point}
 */
function onSegment(p, a, b) {
  const [dx, dy] = [b[0] - a[0], b[1] - a[1]];
  const long = dx * dx + dy * dy;
  const share = long ? Math.min(1, Math.max(0, ((p[0] - a[0]) * dx + (p[1] - a[1]) * dy) / long)) : 0;
  return [a[0] + share * dx, a[1] + share * dy];
}

/**
 * The corner that is nearest to a point; null without corners.
 * @param {Ring[]} rings
 * @param {Point} p
 * @returns {(Corner & {away: number}) | null}
 */
export function nearestCorner(rings, p) {
  /** @type {(Corner & {away: number}) | null} */
  let best = null;
  rings.forEach((corners, ring) => corners.forEach((corner, point) => {
    const away = distance(corner, p);
    if (!best || away < best.away) best = { ring, point, away };
  }));
  return best;
}

/**
 * The place on the lines that is nearest to a point; it lies after the corner `point`.
 * @param {Ring[]} rings
 * @param {Point} p
 * @returns {(Corner & {away: number, place: Point}) | null}
 */
export function nearestLine(rings, p) {
  /** @type {(Corner & {away: number, place: Point}) | null} */
  let best = null;
  rings.forEach((corners, ring) => corners.forEach((corner, point) => {
    const place = onSegment(p, corner, at(corners, point + 1));
    const away = distance(place, p);
    if (!best || away < best.away) best = { ring, point, away, place };
  }));
  return best;
}

/**
 * @param {Ring[]} rings
 * @param {number} n
 * @param {(ring: Ring) => Ring} change
 */
const withRing = (rings, n, change) => rings.map((ring, other) => (other === n ? change(ring) : ring));

/** @param {Ring[]} rings @param {Corner} corner @param {Point} to */
export const moved = (rings, corner, to) => withRing(rings, corner.ring, (ring) => ring.map((point, n) => (n === corner.point ? to : point)));

/** @param {Ring[]} rings @param {Corner} corner the one before the new corner @param {Point} [place] halfway to the next if not given */
export function added(rings, corner, place) {
  return withRing(rings, corner.ring, (ring) => {
    const [a, b] = [at(ring, corner.point), at(ring, corner.point + 1)];
    return ring.toSpliced(corner.point + 1, 0, place ?? [(a[0] + b[0]) / 2, (a[1] + b[1]) / 2]);
  });
}

/**
 * Remove a corner. A hole that has no area without it goes; the outer ring keeps three corners.
 * @param {Ring[]} rings
 * @param {Corner} corner
 */
export function removed(rings, corner) {
  const few = (rings[corner.ring]?.length ?? 0) <= 3;
  if (few && corner.ring === 0) return rings;
  return few ? rings.toSpliced(corner.ring, 1) : withRing(rings, corner.ring, (ring) => ring.toSpliced(corner.point, 1));
}

/**
 * Leave out corners that lie within a deviation of the line without them (Douglas and Peucker, 1973).
 * @param {Ring} ring
 * @param {number} deviation in mm
 * @returns {Ring}
 */
export function simplified(ring, deviation) {
  if (ring.length <= 3) return ring;
  // the two corners that are farthest apart, nearly, are kept: from any corner to the farthest, and from there again
  const farthest = (/** @type {number} */ from) => ring.reduce((best, point, n) => (distance(point, at(ring, from)) > distance(at(ring, best), at(ring, from)) ? n : best), from);
  const start = farthest(0);
  const turned = [...ring.slice(start), ...ring.slice(0, start), at(ring, start)];
  const half = turned.reduce((best, point, n) => (distance(point, at(ring, start)) > distance(/** @type {Point} */ (turned[best]), at(ring, start)) ? n : best), 0);
  const kept = new Set([0, half]);
  const stack = [[0, half], [half, turned.length - 1]];
  for (let span = stack.pop(); span; span = stack.pop()) {
    const [from = 0, to = 0] = span;
    const [a, b] = [/** @type {Point} */ (turned[from]), /** @type {Point} */ (turned[to])];
    let worst = from;
    let most = deviation;
    for (let n = from + 1; n < to; n += 1) {
      const point = /** @type {Point} */ (turned[n]);
      const away = distance(point, onSegment(point, a, b));
      if (away > most) [worst, most] = [n, away];
    }
    if (worst === from) continue;
    kept.add(worst);
    stack.push([from, worst], [worst, to]);
  }
  const made = [...kept].toSorted((a, b) => a - b).map((n) => /** @type {Point} */ (turned[n]));
  return made.length < 3 ? ring : made;
}

/**
 * Rings with so few corners that a hand can correct them. The first is the outer one.
 * @param {Ring[]} rings
 */
export function editable(rings) {
  let deviation = FINE;
  let made = rings.map((ring) => simplified(ring, deviation));
  while (made.reduce((sum, ring) => sum + ring.length, 0) > MOST_CORNERS * rings.length) {
    deviation *= COARSER;
    made = rings.map((ring) => simplified(ring, deviation));
  }
  return made;
}

/** Places at equal distances along a ring. @param {Ring} ring @returns {Ring} */
function resampled(ring) {
  const lengths = ring.map((point, n) => distance(point, at(ring, n + 1)));
  const count = Math.max(8, Math.round(lengths.reduce((sum, side) => sum + side, 0) / STEP));
  const step = lengths.reduce((sum, side) => sum + side, 0) / count;
  /** @type {Ring} */
  const made = [];
  let before = 0;
  lengths.forEach((side, n) => {
    const [a, b] = [at(ring, n), at(ring, n + 1)];
    for (; made.length < count && made.length * step < before + side; ) {
      const share = (made.length * step - before) / side;
      made.push([a[0] + share * (b[0] - a[0]), a[1] + share * (b[1] - a[1])]);
    }
    before += side;
  });
  return made;
}

/**
 * Smooth a ring all round, or near one of its corners. It does not shrink.
 * @param {Ring} ring
 * @param {number | null} point the corner
 * @returns {Ring}
 */
export function smoothed(ring, point) {
  const centre = point === null ? null : at(ring, point);
  // far from the centre the corners stay as they are
  const weight = (/** @type {Point} */ place) => (centre ? Math.max(0, 1 - (distance(place, centre) / REACH) ** 2) : 1);
  let places = centre ? densified(ring, centre) : resampled(ring);
  const weights = places.map(weight);
  for (let pass = 0; pass < PASSES; pass += 1) {
    for (const share of [TO_NEIGHBOURS, BACK]) {
      const now = places;
      places = now.map(([x, y], n) => {
        const [[ax, ay], [bx, by]] = [at(now, n - 1), at(now, n + 1)];
        const by1 = share * (weights[n] ?? 0);
        return [x + by1 * ((ax + bx) / 2 - x), y + by1 * ((ay + by) / 2 - y)];
      });
    }
  }
  return simplified(places, FINEST);
}

/** A ring with further corners on its lines near a place. @param {Ring} ring @param {Point} centre @returns {Ring} */
function densified(ring, centre) {
  return ring.flatMap((a, n) => {
    const b = at(ring, n + 1);
    if (distance(onSegment(centre, a, b), centre) > REACH) return [a];
    const count = Math.max(1, Math.round(distance(a, b) / STEP));
    return Array.from({ length: count }, (_, m) => /** @type {Point} */ ([a[0] + (m / count) * (b[0] - a[0]), a[1] + (m / count) * (b[1] - a[1])]));
  });
}

/**
 * The axis of a ring through its centre of area, along it or across it (by the second moments of its area), turned and
 * shifted.
 * @param {Ring} ring
 * @param {{across: boolean, turn: number, shift: number}} how `turn` in degrees, `shift` in mm to the left of it
 * @returns {Axis}
 */
export function axisOf(ring, { across, turn, shift }) {
  let [area, sx, sy, xx, yy, xy] = [0, 0, 0, 0, 0, 0];
  const [ox, oy] = at(ring, 0);
  ring.forEach((point, n) => {
    const [[ax, ay], [bx, by]] = [[point[0] - ox, point[1] - oy], [at(ring, n + 1)[0] - ox, at(ring, n + 1)[1] - oy]];
    const double = ax * by - bx * ay;
    area += double / 2;
    sx += (ax + bx) * double / 6;
    sy += (ay + by) * double / 6;
    xx += (ax * ax + ax * bx + bx * bx) * double / 12;
    yy += (ay * ay + ay * by + by * by) * double / 12;
    xy += (2 * ax * ay + ax * by + bx * ay + 2 * bx * by) * double / 24;
  });
  if (!area) return { through: [ox, oy], along: [1, 0] };
  const [cx, cy] = [sx / area, sy / area];
  const angle = 0.5 * Math.atan2(2 * (xy / area - cx * cy), xx / area - cx * cx - (yy / area - cy * cy));
  const now = angle + (across ? Math.PI / 2 : 0) + turn * Math.PI / 180;
  /** @type {Point} */
  const along = [Math.cos(now), Math.sin(now)];
  return { through: [cx + ox - along[1] * shift, cy + oy + along[0] * shift], along };
}

/** How far a point lies to the left of an axis, in mm. @param {Axis} axis @param {Point} p */
const aside = ({ through, along }, p) => along[0] * (p[1] - through[1]) - along[1] * (p[0] - through[0]);

/** @param {Axis} axis @param {Point} p @returns {Point} */
function reflection(axis, p) {
  const away = 2 * aside(axis, p);
  return [p[0] + axis.along[1] * away, p[1] - axis.along[0] * away];
}

/**
 * Replace one half of a ring by the mirror image of the other; null if the axis does not cut it just twice.
 * @param {Ring} ring
 * @param {Axis} axis
 * @param {boolean} left whether the half to the left of the axis stays
 * @returns {Ring | null}
 */
export function mirrored(ring, axis, left) {
  const sides = ring.map((p) => aside(axis, p) * (left ? 1 : -1));
  const stays = sides.map((side) => side > 0);
  const starts = stays.flatMap((stay, n) => (stay && !stays.at(n - 1) ? [n] : []));
  if (starts.length !== 1) return null;
  const [start = 0] = starts;
  /** @type {Ring} */
  const half = [cut(ring, sides, start - 1)];
  let n = start;
  for (; stays[n % ring.length]; n += 1) half.push(at(ring, n));
  half.push(cut(ring, sides, n - 1));
  const other = half.slice(1, -1).map((p) => reflection(axis, p)).toReversed();
  return [...half, ...other].filter((p, m, all) => distance(p, /** @type {Point} */ (all.at(m - 1))) > 1e-6);
}

/** Where the line after a corner meets the axis. @param {Ring} ring @param {number[]} sides @param {number} n @returns {Point} */
function cut(ring, sides, n) {
  const [a, b] = [at(ring, n), at(ring, n + 1)];
  const [from, to] = [sides.at(n % ring.length) ?? 0, sides.at((n + 1) % ring.length) ?? 0];
  const share = from / (from - to);
  return [a[0] + share * (b[0] - a[0]), a[1] + share * (b[1] - a[1])];
}

/** Twice the area of a triangle, positive if it runs counter-clockwise. @param {Point} a @param {Point} b @param {Point} c */
const turnOf = (a, b, c) => (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]);

/**
 * A place where lines of the rings cross or touch; null if they do not.
 * @param {Ring[]} rings
 * @returns {Point | null}
 */
export function crossing(rings) {
  const lines = rings.flatMap((ring, r) => ring.map((a, n) => ({ a, b: at(ring, n + 1), r, n, last: ring.length - 1 })));
  for (const [m, first] of lines.entries()) {
    for (const second of lines.slice(m + 1)) {
      if (first.r === second.r && (second.n - first.n === 1 || (first.n === 0 && second.n === second.last))) continue; // neighbours
      if (turnOf(first.a, first.b, second.a) * turnOf(first.a, first.b, second.b) > 0) continue;
      if (turnOf(second.a, second.b, first.a) * turnOf(second.a, second.b, first.b) > 0) continue;
      const [p, q] = [onSegment(second.a, first.a, first.b), onSegment(first.a, second.a, second.b)];
      // in one line they need not meet
      if (Math.min(distance(p, second.a), distance(q, first.a), meets(first, second)) < 1e-9) return meet(first.a, first.b, second.a, second.b);
    }
  }
  return null;
}

/** Zero if two pieces of line that are not in one line meet. @param {{a: Point, b: Point}} first @param {{a: Point, b: Point}} second */
const meets = (first, second) => (Math.abs(turnOf([0, 0], [first.b[0] - first.a[0], first.b[1] - first.a[1]], [second.b[0] - second.a[0], second.b[1] - second.a[1]])) > 1e-12 ? 0 : 1);

/** @param {Point} a @param {Point} b @param {Point} c @param {Point} d @returns {Point} where two lines meet, or an end of the first */
function meet(a, b, c, d) {
  const across = (b[0] - a[0]) * (d[1] - c[1]) - (b[1] - a[1]) * (d[0] - c[0]);
  if (Math.abs(across) < 1e-12) return c;
  const share = ((c[0] - a[0]) * (d[1] - c[1]) - (c[1] - a[1]) * (d[0] - c[0])) / across;
  return [a[0] + share * (b[0] - a[0]), a[1] + share * (b[1] - a[1])];
}
