// Plans that continue the last one.

import assert from "node:assert/strict";
import { test } from "node:test";

import { continues, hasLooseThings, worthMore } from "../../../../../api/kiosk/page/plan/continuation.js";

/** @param {number} count @param {number} [first] how many of the first there are */
const spec = (count, first = 1) => ({
  spec: "1", name: "d", drawers: [{ name: "d", width: [300], depth: [300], height: 60 }],
  items: Array.from({ length: count }, (_, n) => ({ name: `thing ${n}`, count: n ? 1 : first })),
});

/** @param {number} lacking @param {number | null} seconds @returns {any} */
const plan = (lacking, seconds) => ({ unplaced: lacking ? [{ count: lacking }] : [], work: seconds === null ? null : { seconds } });

test("a plan is continued where drawers and printer are the same, and most things", () => {
  assert.ok(continues(spec(4), spec(5)));
  assert.ok(continues(spec(4), spec(4, 2)));
  assert.ok(continues(spec(4), spec(3)));
  assert.ok(continues(spec(4), { ...spec(4), name: "e" }));
  assert.ok(!continues(spec(2), spec(5)));
  assert.ok(!continues(spec(0), spec(3)));
  assert.ok(!continues({ spec: "1", drawers: [] }, { ...spec(3), drawers: [] }));
  assert.ok(!continues(spec(4), { ...spec(4), grid: { half_cells: true } }));
  const other = spec(4);
  assert.ok(!continues(spec(4), { ...other, drawers: [{ ...other.drawers[0], height: 70 }] }));
});

test("trays with places of their own, or taken away, are laid out from nothing", () => {
  const { drawers, ...rest } = spec(4);
  const placed = { ...rest, drawers: [{ ...drawers[0], trays: [{ name: "t" }] }] };
  assert.ok(!continues(placed, placed));
  assert.ok(!continues(placed, spec(4)));
});

test("a plan is worth more when more things have a place, or when it prints clearly faster", () => {
  assert.ok(worthMore(plan(1, 9000), plan(2, 1000)));
  assert.ok(!worthMore(plan(2, 1000), plan(1, 9000)));
  assert.ok(worthMore(plan(1, 900), plan(1, 1000)));
  assert.ok(!worthMore(plan(1, 980), plan(1, 1000)));
  assert.ok(!worthMore(plan(0, null), plan(0, 1000)));
});

test("things are loose that no tray with a place of its own holds", () => {
  const { drawers, ...rest } = spec(2);
  const held = (/** @type {string[]} */ ...names) => ({ ...rest, drawers: [{ ...drawers[0], trays: [{ name: "t", hold: names.map((item) => ({ item })) }] }] });
  assert.ok(hasLooseThings(spec(1)));
  assert.ok(hasLooseThings(held("thing 1")));
  assert.ok(!hasLooseThings(held("thing 0", "thing 1")));
  assert.ok(!hasLooseThings({ spec: "1", drawers: [] }));
});
