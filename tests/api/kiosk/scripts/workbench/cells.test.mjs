// Snapping and collisions on the grid, against a count cell by cell.

import assert from "node:assert/strict";
import { test } from "node:test";

import { boxOf, floorOf, freePlace, judge, neighbour, onFloor, overlap, snapped } from "../../../../../api/kiosk/page/workbench/cells.js";

/** A floor of 6 x 5 cells without the cell at the back right. */
const FLOOR = floorOf([{ x: 0, y: 0, w: 12, d: 8 }, { x: 0, y: 8, w: 10, d: 2 }]);

/** @param {number} x @param {number} y @param {number} w @param {number} d */
const box = (x, y, w, d) => ({ x, y, w, d });

/** @param {string} key @param {{x: number, y: number, w: number, d: number}} at */
const tray = (key, at, pinned = false) => ({ key, box: at, pinned });

/** Numbers that look random and are the same each time. @param {number} seed */
function* numbers(seed) {
  for (let state = seed; ;) {
    state = (state * 1103515245 + 12345) % 2147483648;
    yield state;
  }
}

test("cells become half cells", () => assert.deepEqual(boxOf([1.5, 2], [3, 0.5]), box(3, 4, 6, 1)));

test("boxes overlap where they share a half cell", () => {
  const random = numbers(7);
  const next = (/** @type {number} */ most) => Number(random.next().value) % most;
  for (let n = 0; n < 500; n += 1) {
    const [a, b] = [box(next(9), next(9), 1 + next(4), 1 + next(4)), box(next(9), next(9), 1 + next(4), 1 + next(4))];
    let shared = 0;
    for (let x = 0; x < 14; x += 1) for (let y = 0; y < 14; y += 1) if ([a, b].every((o) => x >= o.x && x < o.x + o.w && y >= o.y && y < o.y + o.d)) shared += 1;
    assert.equal(overlap(a, b), shared > 0);
  }
});

test("the floor ends where there is no cell", () => {
  assert.ok(onFloor(FLOOR, box(0, 0, 12, 8)));
  assert.ok(!onFloor(FLOOR, box(8, 6, 4, 4)));
  assert.ok(!onFloor(FLOOR, box(-1, 0, 2, 2)));
  assert.ok(!onFloor(FLOOR, box(11, 0, 2, 2)));
});

test("a place snaps to whole cells inside the grid", () => {
  assert.deepEqual(snapped(FLOOR, box(2.9, 5.1, 4, 2), 2), box(2, 6, 4, 2));
  assert.deepEqual(snapped(FLOOR, box(-7, 99, 4, 2), 2), box(0, 8, 4, 2));
  assert.deepEqual(snapped(FLOOR, box(2.6, 1.4, 2, 2), 1), box(3, 1, 2, 2));
});

test("a tray fits, swaps, makes room or is blocked", () => {
  const others = [tray("a", box(4, 0, 4, 4)), tray("b", box(8, 0, 2, 2)), tray("c", box(0, 4, 4, 4), true)];
  assert.deepEqual(judge(FLOOR, others, box(0, 0, 4, 4), box(4, 4, 4, 4)), { kind: "free" });
  assert.deepEqual(judge(FLOOR, others, box(4, 0, 4, 4), box(0, 0, 4, 4)), { kind: "swap", other: "a" });
  assert.deepEqual(judge(FLOOR, others, box(6, 0, 4, 4), box(0, 0, 4, 4)), { kind: "room", others: ["a", "b"] });
  assert.deepEqual(judge(FLOOR, others, box(0, 2, 4, 4), box(4, 4, 4, 4)), { kind: "blocked", why: "pinned" });
  assert.deepEqual(judge(FLOOR, others, box(8, 6, 4, 4), box(0, 0, 4, 4)), { kind: "blocked", why: "edge" });
});

test("trays of different size swap only where both then fit", () => {
  const others = [tray("wide", box(4, 0, 8, 2))];
  assert.equal(judge(FLOOR, others, box(4, 0, 2, 2), box(0, 0, 2, 2)).kind, "room"); // back at 0 it would overlap
  assert.deepEqual(judge(FLOOR, others, box(4, 0, 2, 2), box(0, 6, 2, 2)), { kind: "swap", other: "wide" });
});

test("arrow keys go to the nearest tray that way", () => {
  const trays = [tray("right", box(4, 0, 2, 2)), tray("far", box(8, 0, 2, 2)), tray("back", box(0, 4, 2, 2))];
  const from = box(0, 0, 2, 2);
  assert.equal(neighbour(trays, from, [1, 0])?.key, "right");
  assert.equal(neighbour(trays, from, [0, 1])?.key, "back");
  assert.equal(neighbour(trays, from, [-1, 0]), null);
});

test("the first free place is the front left most", () => {
  assert.deepEqual(freePlace(FLOOR, [tray("a", box(0, 0, 4, 2))], { w: 2, d: 2 }, 2), box(4, 0, 2, 2));
  assert.equal(freePlace(FLOOR, [tray("a", box(0, 0, 12, 8))], { w: 12, d: 2 }, 2), null);
});
