// Dividers and compartments of a tray, against counts on a raster of points.

import assert from "node:assert/strict";
import { test } from "node:test";

import { compartmentAt, compartmentUnder, compartmentsOf, innerOf, moveThing } from "../../../../../../api/kiosk/page/workbench/inside/compartments.js";
import { addDivider, bounds, divided, moveDivider, removeDivider, snappedDivider } from "../../../../../../api/kiosk/page/workbench/inside/dividers.js";

/** @typedef {import("../../../../../../api/kiosk/page/draft/draft_format.js").FixedTray} FixedTray */
/** @typedef {import("../../../../../../api/kiosk/page/documents").Divider} Divider */

/** @type {[number, number]} */
const INNER = [120, 80];

/** @param {Divider[]} dividers @param {FixedTray["hold"]} [hold] @returns {FixedTray} */
const entry = (dividers, hold = []) => ({ key: "p1", pinned: false, hold, tray: { name: "tray", cells: [3, 2], height: 40, at: [0, 0], dividers } });

/** @param {Divider[]} dividers */
const rooms = (dividers) => compartmentsOf(entry(dividers).tray, INNER);

/** Whether a wall stands between two points that differ on one axis. @param {Divider[]} dividers @param {number[]} a @param {number[]} b */
const walled = (dividers, [ax = 0, ay = 0], [bx = 0, by = 0]) => dividers.some(({ axis, at, span }) => {
  const [from, to, across] = axis === "x" ? [ax, bx, ay] : [ay, by, ax];
  return (from - at) * (to - at) < 0 && (!span || (span[0] < across && across < span[1]));
});

/** Count rooms by flooding a raster of points, 1 mm apart. @param {Divider[]} dividers */
function flooded(dividers) {
  const seen = new Set();
  let count = 0;
  for (let x = 9 / 32; x < INNER[0]; x += 1) for (let y = 9 / 32; y < INNER[1]; y += 1) { // no point lies on a divider
    if (seen.has(`${x} ${y}`)) continue;
    count += 1;
    const open = [[x, y]];
    seen.add(`${x} ${y}`);
    for (let at = open.pop(); at; at = open.pop()) {
      const [px = 0, py = 0] = at;
      for (const [qx = 0, qy = 0] of [[px + 1, py], [px - 1, py], [px, py + 1], [px, py - 1]]) {
        if (qx < 0 || qy < 0 || qx > INNER[0] || qy > INNER[1] || seen.has(`${qx} ${qy}`) || walled(dividers, [px, py], [qx, qy])) continue;
        seen.add(`${qx} ${qy}`);
        open.push([qx, qy]);
      }
    }
  }
  return count;
}

/** @type {Record<string, Divider[]>} */
const CASES = {
  none: [],
  cross: [{ axis: "x", at: 40 }, { axis: "y", at: 30 }],
  tee: [{ axis: "y", at: 30 }, { axis: "x", at: 50, span: [30, 80] }],
  bands: [{ axis: "y", at: 30 }, { axis: "x", at: 50, span: [30, 80] }, { axis: "x", at: 70, span: [0, 30] }],
  "open end": [{ axis: "x", at: 60, span: [0, 40] }, { axis: "y", at: 40, span: [0, 60] }, { axis: "x", at: 20 }],
};

test("the inside of a tray is its cells less the gap and the walls", () => {
  // two cells of 42 mm, a gap of 0.25 mm a side and walls of 1.2 mm: 84 - 0.5 - 2.4
  assert.deepEqual(innerOf({ name: "t", cells: [2, 1], height: 40 }, 42).map((mm) => Number(mm.toFixed(3))), [81.1, 39.1]);
});

test("compartments are those that flooding a raster finds", () => {
  for (const [name, dividers] of Object.entries(CASES)) {
    const all = rooms(dividers);
    assert.equal(all.length, flooded(dividers), name);
    const cells = all.flatMap((one) => one.cells.map((cell) => cell.join()));
    assert.equal(new Set(cells).size, cells.length, name);
    for (const [n, one] of all.entries()) for (const cell of one.cells) assert.equal(compartmentAt(all, cell), n);
  }
});

test("a point lies in the compartment whose bounds it is within", () => {
  const all = rooms(CASES.bands ?? []);
  const at = (/** @type {[number, number]} */ point) => all[compartmentUnder(all, point)];
  assert.deepEqual(at([60, 50])?.x, [50, 120]);
  assert.deepEqual(at([60, 10])?.x, [0, 70]);
});

test("equal compartments become dividers at equal distances", () => {
  /** @type {import("../../../../../../api/kiosk/page/documents").Tray} */
  const even = { name: "t", cells: [3, 2], height: 40, compartments: [3, 2] };
  const tray = divided(even, INNER);
  assert.equal(tray.compartments, null);
  assert.deepEqual(tray.dividers, [{ axis: "x", at: 40 }, { axis: "x", at: 80 }, { axis: "y", at: 40 }]);
});

test("a divider is moved no further than its neighbours and the walls, and what ends at it follows", () => {
  const start = entry(CASES.tee ?? [], [{ thing: "a", count: 1, compartment: [1, 1] }]);
  const moved = moveDivider(start, 0, 42, INNER);
  assert.deepEqual(moved.tray.dividers, [{ axis: "y", at: 42 }, { axis: "x", at: 50, span: [42, 80] }]);
  assert.deepEqual(moved.hold, start.hold);
  assert.equal(moved.pinned, true);
  const { least, most } = bounds(start.tray, 0, INNER);
  for (const to of [-50, 0, 79, 500]) {
    const at = moveDivider(start, 0, to, INNER).tray.dividers?.[0]?.at ?? 0;
    assert.ok(at >= least && at <= most);
  }
  assert.ok(least > 0 && most < INNER[1]);
});

test("things stay in their compartment while dividers of other rows pass theirs", () => {
  const start = entry(CASES.bands ?? [], [
    { thing: "back right", count: null, compartment: [2, 1] }, { thing: "front left", count: 2, compartment: [0, 0] },
  ]);
  const moved = moveDivider(start, 1, 90, INNER); // passes the divider at 70 of the front row
  const all = compartmentsOf(moved.tray, INNER);
  const at = (/** @type {string} */ name) => all[compartmentAt(all, moved.hold.find((held) => held.thing === name)?.compartment ?? [9, 9])];
  assert.deepEqual(at("back right"), all.find((one) => one.x[0] === 90 && one.y[0] === 30));
  assert.deepEqual(at("front left"), all.find((one) => one.x[1] === 70 && one.y[0] === 0));
});

test("a divider snaps to equal parts and to the things beside it, else to whole mm", () => {
  const { tray } = entry([{ axis: "x", at: 33 }]);
  assert.equal(snappedDivider(tray, 0, INNER, 61, 3, []), 60);
  assert.equal(snappedDivider(tray, 0, INNER, 38.7, 3, []), 40);
  assert.equal(snappedDivider(tray, 0, INNER, 52.3, 1, []), 52);
  // 46 mm from the wall: the thing, 1 mm of air on both sides, half of a divider of 1.2 mm
  assert.equal(snappedDivider(tray, 0, INNER, 50, 3, [46]), 48.6);
  assert.equal(snappedDivider(tray, 0, INNER, -40, 3, []), bounds(tray, 0, INNER).least);
});

test("dividers are added to the largest compartment until none is large enough", () => {
  let now = entry(CASES.tee ?? [], [{ thing: "a", count: 1, compartment: [0, 0] }]);
  for (let n = 0; n < 60; n += 1) {
    const next = addDivider(now, n % 2 ? "x" : "y", INNER);
    if (!next) break;
    assert.equal(compartmentsOf(next.tray, INNER).length, flooded(next.tray.dividers ?? []));
    now = next;
  }
  assert.ok((now.tray.dividers ?? []).length > 6);
  assert.equal(addDivider(entry([{ axis: "x", at: 10 }, { axis: "x", at: 20 }]), "x", [30, 30]), null);
});

test("what ended at a divider goes on to the next when it is removed, and two rooms hold what each held", () => {
  const start = entry(CASES.tee ?? [], [{ thing: "a", count: 1, compartment: [0, 1] }, { thing: "a", count: 2, compartment: [1, 1] }, { thing: "b", count: null, compartment: [0, 0] }]);
  const open = removeDivider(start, 0, INNER);
  assert.deepEqual(open.tray.dividers, [{ axis: "x", at: 50, span: [0, 80] }]);
  const merged = removeDivider(start, 1, INNER);
  assert.equal(compartmentsOf(merged.tray, INNER).length, 2);
  assert.deepEqual(merged.hold, [{ thing: "a", count: 3, compartment: [0, 1] }, { thing: "b", count: null, compartment: [0, 0] }]);
});

test("labels of columns go when the columns are others", () => {
  const start = entry(CASES.cross ?? []);
  start.tray.labels = ["a", "b"];
  assert.deepEqual(moveDivider(start, 0, 50, INNER).tray.labels, ["a", "b"]);
  assert.deepEqual(addDivider(start, "x", INNER)?.tray.labels, []);
});

test("a thing goes to another compartment or tray with its count", () => {
  const first = entry([{ axis: "x", at: 40 }], [{ thing: "a", count: 2, compartment: [0, 0] }, { thing: "a", count: 3, compartment: [1, 0] }]);
  const second = { ...entry([]), key: "p2" };
  const from = { key: "p1", thing: "a", compartment: /** @type {[number, number]} */ ([0, 0]) };
  const within = moveThing([first, second], from, { key: "p1", compartment: [1, 0] });
  assert.deepEqual(within[0]?.hold, [{ thing: "a", count: 5, compartment: [1, 0] }]);
  assert.equal(within[1], second);
  const across = moveThing([first, second], from, { key: "p2", compartment: [0, 0] });
  assert.deepEqual(across.map((tray) => tray.hold.length), [1, 1]);
  assert.equal(across[1]?.pinned, true);
  assert.deepEqual(moveThing([first], { ...from, thing: "z" }, { key: "p1", compartment: [1, 0] }), [first]);
});
