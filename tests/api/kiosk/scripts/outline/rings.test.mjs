// Geometry of outlines that are corrected by hand.

import assert from "node:assert/strict";
import { test } from "node:test";

import { added, areaOf, axisOf, boxOf, crossing, distance, editable, mirrored, moved, nearestCorner, nearestLine, removed, simplified, smoothed } from "../../../../../api/kiosk/page/outline/rings.js";

/** @typedef {import("../../../../../api/kiosk/page/outline/rings.js").Ring} Ring */

/** @type {Ring} */
const BLOCK = [[0, 0], [60, 0], [60, 20], [0, 20]];
const STILL = { across: false, turn: 0, shift: 0 };

/** Corners of a circle. @param {number} radius @param {number} count @returns {Ring} */
const circle = (radius, count) => Array.from({ length: count }, (_, n) => [100 + radius * Math.cos((2 * Math.PI * n) / count), 50 + radius * Math.sin((2 * Math.PI * n) / count)]);

/** A generator of numbers from 0 to 1 that are the same each time (Park and Miller, 1988). @param {number} seed */
function random(seed) {
  let state = seed;
  return () => {
    state = (state * 48271) % 2147483647;
    return state / 2147483647;
  };
}

/** A ring round a centre, of random radii: simple whatever they are. @param {number} seed @returns {Ring} */
function star(seed) {
  const next = random(seed);
  const count = 5 + Math.floor(next() * 60);
  return Array.from({ length: count }, (_, n) => {
    const [angle, radius] = [(2 * Math.PI * n) / count, 10 + 25 * next()];
    return [radius * Math.cos(angle), radius * Math.sin(angle)];
  });
}

/** How far corners of one ring lie from the lines of another at most. @param {Ring} corners @param {Ring} ring */
const away = (corners, ring) => Math.max(...corners.map((corner) => nearestLine([ring], corner)?.away ?? Infinity));

test("area and box are those of the handbook", () => {
  assert.equal(areaOf(BLOCK), 1200);
  assert.equal(areaOf(BLOCK.toReversed()), -1200);
  assert.deepEqual(boxOf(BLOCK), { left: 0, front: 0, width: 60, depth: 20 });
});

test("corners are moved, added and removed without a change of what was before", () => {
  const before = structuredClone(BLOCK);
  assert.deepEqual(moved([BLOCK], { ring: 0, point: 1 }, [61, -1])[0]?.[1], [61, -1]);
  assert.deepEqual(added([BLOCK], { ring: 0, point: 3 })[0]?.at(-1), [0, 10]);
  assert.deepEqual(added([BLOCK], { ring: 0, point: 0 }, [7, 0])[0]?.slice(0, 3), [[0, 0], [7, 0], [60, 0]]);
  assert.equal(removed([BLOCK], { ring: 0, point: 2 })[0]?.length, 3);
  assert.deepEqual(BLOCK, before);
});

test("the outer ring keeps three corners, and a hole goes with its third", () => {
  /** @type {Ring} */
  const triangle = [[0, 0], [9, 0], [0, 9]];
  assert.deepEqual(removed([triangle, triangle], { ring: 0, point: 0 }), [triangle, triangle]);
  assert.deepEqual(removed([triangle, triangle], { ring: 1, point: 0 }), [triangle]);
});

test("the nearest corner and the nearest place on a line are found", () => {
  assert.deepEqual(nearestCorner([BLOCK], [58, 3]), { ring: 0, point: 1, away: Math.hypot(2, 3) });
  assert.deepEqual(nearestLine([BLOCK], [30, 23]), { ring: 0, point: 2, away: 3, place: [30, 20] });
  assert.deepEqual(nearestLine([BLOCK], [-3, 24]), { ring: 0, point: 2, away: 5, place: [0, 20] });
  assert.equal(nearestCorner([], [0, 0]), null);
});

test("fewer corners stay within the deviation, whatever the ring", () => {
  for (let seed = 1; seed <= 200; seed += 1) {
    const ring = star(seed);
    for (const deviation of [0.05, 1, 5]) {
      const made = simplified(ring, deviation);
      assert.ok(made.length >= 3 && made.length <= ring.length);
      assert.ok(away(ring, made) <= deviation + 1e-9, `seed ${seed}`);
      assert.ok(made.every((corner) => ring.includes(corner)));
    }
  }
});

test("an outline of a photo gets few enough corners for a hand", () => {
  const fine = circle(40, 1200);
  const [made = []] = editable([fine]);
  assert.ok(made.length > 20 && made.length <= 120, String(made.length));
  assert.ok(away(fine, made) < 0.21);
  const noisy = star(7).flatMap((corner, n, all) => Array.from({ length: 40 }, (_, m) => /** @type {[number, number]} */ ([corner[0] + (m / 40) * ((all[n + 1] ?? corner)[0] - corner[0]) + ((m * 7919) % 13) / 10, corner[1]])));
  assert.ok((editable([noisy])[0]?.length ?? 0) <= 120);
});

test("smoothing takes noise away and shrinks nothing", () => {
  const next = random(3);
  const noisy = /** @type {Ring} */ (circle(30, 360).map(([x, y]) => [x + 0.6 * (next() - 0.5), y + 0.6 * (next() - 0.5)]));
  const made = smoothed(noisy, null);
  const spread = (/** @type {Ring} */ ring) => Math.sqrt(ring.reduce((sum, corner) => sum + (distance(corner, [100, 50]) - 30) ** 2, 0) / ring.length);
  assert.ok(spread(made) < 0.7 * spread(noisy), `${spread(made)} of ${spread(noisy)}`);
  assert.ok(Math.abs(areaOf(made) / (Math.PI * 900) - 1) < 0.005, String(areaOf(made)));
});

test("smoothing near a corner leaves the others as they are", () => {
  const made = smoothed(BLOCK, 0);
  for (const corner of BLOCK.slice(1)) assert.ok(made.some((other) => distance(other, corner) < 1e-9));
  assert.ok((nearestCorner([made], [0, 0])?.away ?? 0) > 0.1);
  assert.ok(away(made, BLOCK) < 2);
});

test("the axis runs along or across a thing, however it lies", () => {
  for (const degrees of [0, 20, 75, 110, 160]) {
    const [cos, sin] = [Math.cos((degrees * Math.PI) / 180), Math.sin((degrees * Math.PI) / 180)];
    const turned = /** @type {Ring} */ (BLOCK.map(([x, y]) => [5 + cos * x - sin * y, 7 + sin * x + cos * y]));
    const axis = axisOf(turned, STILL);
    assert.ok(Math.abs(Math.abs(axis.along[0] * cos + axis.along[1] * sin) - 1) < 1e-9);
    const centre = [5 + cos * 30 - sin * 10, 7 + sin * 30 + cos * 10];
    assert.ok(Math.hypot(axis.through[0] - (centre[0] ?? 0), axis.through[1] - (centre[1] ?? 0)) < 1e-9);
    const across = axisOf(turned, { across: true, turn: 0, shift: 0 });
    assert.ok(Math.abs(across.along[0] * axis.along[0] + across.along[1] * axis.along[1]) < 1e-9);
  }
  const shifted = axisOf(BLOCK, { across: false, turn: 0, shift: 3 });
  assert.deepEqual(shifted.through.map((side) => Math.round(side * 1e9) / 1e9), [30, 13]);
  assert.deepEqual(axisOf([[1, 1], [1, 1], [1, 1]], STILL).along, [1, 0]);
});

test("a mirrored ring is its own mirror image, with the half that stays", () => {
  for (let seed = 1; seed <= 100; seed += 1) {
    const ring = star(seed);
    const next = random(seed + 1000);
    const angle = Math.PI * next();
    const axis = { through: /** @type {[number, number]} */ ([0, 0]), along: /** @type {[number, number]} */ ([Math.cos(angle), Math.sin(angle)]) };
    for (const left of [true, false]) {
      const made = mirrored(ring, axis, left);
      assert.ok(made, `seed ${seed}`); // an axis through the centre of a star cuts it twice
      assert.equal(crossing([made]), null);
      const side = (/** @type {[number, number]} */ [x, y]) => (axis.along[0] * y - axis.along[1] * x) * (left ? 1 : -1);
      for (const corner of ring.filter((other) => side(other) > 1e-6)) assert.ok((nearestCorner([made], corner)?.away ?? 1) < 1e-6);
      for (const [x, y] of made) {
        const double = 2 * (axis.along[0] * y - axis.along[1] * x);
        assert.ok((nearestLine([made], [x + axis.along[1] * double, y - axis.along[0] * double])?.away ?? 1) < 1e-6);
      }
    }
  }
});

test("an axis that misses an outline, or cuts it more than twice, mirrors nothing", () => {
  assert.equal(mirrored(BLOCK, { through: [0, 40], along: [1, 0] }, true), null);
  /** @type {Ring} */
  const fork = [[0, 0], [30, 0], [30, 20], [20, 20], [20, 5], [10, 5], [10, 20], [0, 20]];
  assert.equal(mirrored(fork, { through: [0, 12], along: [1, 0] }, true), null);
  assert.ok(mirrored(fork, { through: [0, 2], along: [1, 0] }, false));
});

test("lines that cross are found, and none where none do", () => {
  for (let seed = 1; seed <= 100; seed += 1) assert.equal(crossing([star(seed)]), null, `seed ${seed}`);
  assert.deepEqual(crossing([[[0, 0], [10, 10], [10, 0], [0, 10]]]), [5, 5]);
  assert.equal(crossing([BLOCK, [[5, 5], [10, 5], [10, 10]]]), null);
  assert.ok(crossing([BLOCK, [[5, 5], [70, 5], [10, 10]]]));
  assert.ok(crossing([[[0, 0], [10, 0], [10, 10], [5, 0], [0, 10]]])); // a corner on a line
  assert.equal(crossing([[[0, 0], [4, 0], [8, 0], [12, 0], [12, 9], [0, 9]]]), null); // pieces of one line
});
