// Trays taken over from a plan, and changed by hand.

import assert from "node:assert/strict";
import { test } from "node:test";

import { difference, figuresOf } from "../../../../../api/kiosk/page/plan/figures.js";
import { fitText } from "../../../../../api/kiosk/page/plan/text_fit.js";
import { movedTrays, plannedTrays } from "../../../../../api/kiosk/page/plan/planned_trays.js";
import { carried, dropThing, fixTrays, movedTo, releaseThing, resized, turned } from "../../../../../api/kiosk/page/workbench/trays.js";

/** @param {Partial<import("../../../../../api/kiosk/page/documents").Tray>} [more] @returns {import("../../../../../api/kiosk/page/documents").Tray} */
const bare = (more = {}) => ({ name: "pens", cells: [2, 3], height: 40, ...more });

/** @param {object} [placement] @returns {any} */
function plan(placement = {}, tray = bare({ dividers: [{ axis: "x", at: 30 }] })) {
  const drawer = {
    name: "top", copies: 1, size: [200, 200, 60], outline: [], origin: [0, 0], pitch: 42, spaces: [], jointed: [], upper: [], lanes: [],
    placements: [{ mark: "T1", at: [0.25, 0.25, 5], turn: 0, cell: [0, 0], name: "pens", ...placement }],
    contents: [
      { item: "pen", pointer: "/items/0", count: 4, placement: 0, at: [3, 5, 6], size: [20, 100, 9] },
      { item: "cap", pointer: "/items/1", count: 2, placement: 0, at: [40, 5, 6], size: [20, 20, 9] },
    ],
  };
  return { drawers: [drawer], parts: [{ mark: "T1", kind: "tray", quantity: 1, size: [83.5, 125.5, 40], tray, piece: null }], runs: [], work: null };
}

test("a tray is taken over with its place and what lies in each compartment", () => {
  const document = plan();
  const [fixed] = fixTrays([], document, document.drawers[0], ["pen-key", "cap-key"]);
  assert.deepEqual(fixed?.tray.at, [0, 0]);
  assert.equal(fixed?.pinned, false);
  assert.deepEqual(fixed?.hold, [
    { thing: "pen-key", compartment: [0, 0], count: null },
    { thing: "cap-key", compartment: [1, 0], count: null },
  ]);
});

test("a tray on others is taken over with the names of those below, and goes when they go", () => {
  const document = plan();
  const [drawer] = document.drawers;
  drawer.placements.push({ ...drawer.placements[0], at: [0.25, 0.25, 41] });
  drawer.upper.push({ name: "pens", placement: 1, on: [0], z: 36 });
  const [lower, upper] = fixTrays([], document, drawer, ["pen-key", "cap-key"]);
  assert.ok(lower && upper);
  assert.deepEqual(upper.tray.on, [lower.tray.name]);
  assert.notEqual(lower.tray.name, upper.tray.name);
  assert.equal(carried([lower, upper]).length, 2);
  assert.deepEqual(carried([movedTo(lower, { x: 8, y: 0 }), upper]).map((entry) => entry.key), [lower.key]);
  assert.equal(movedTo(upper, { x: 8, y: 0 }).tray.on, undefined);
});

test("a tray on the panels of lanes is taken over with its height", () => {
  const document = plan();
  const [drawer] = document.drawers;
  drawer.upper.push({ name: "pens", placement: 0, on: [], panels: [0], z: 60 });
  const [upper] = fixTrays([], document, drawer, ["pen-key", "cap-key"]);
  assert.ok(upper);
  assert.equal(upper.tray.z, 60);
  assert.equal(upper.tray.on, undefined);
  assert.deepEqual(carried([upper]), [upper]);
  assert.equal(movedTo(upper, { x: 8, y: 0 }).tray.z, undefined);
});

test("a tray that has a place is not taken over again", () => {
  const document = plan();
  const fixed = fixTrays([], document, document.drawers[0], ["a", "b"]);
  assert.deepEqual(fixTrays(fixed, document, document.drawers[0], ["a", "b"]), fixed);
});

test("a tray that stands turned is seen as it stands", () => {
  // a quarter turn counter-clockwise takes the point (x, y) of a tray to (depth - y, x)
  const document = plan({ turn: 90 }, bare({ dividers: [{ axis: "x", at: 30, span: [0, 20] }, { axis: "y", at: 20 }], compartments: [1, 1] }));
  const [tray] = plannedTrays(document, document.drawers[0]);
  assert.deepEqual(tray?.cells, [3, 2]);
  assert.deepEqual(tray?.size, [125.5, 83.5, 40]);
  const deep = 125.5 - 2.4;
  assert.deepEqual(tray?.tray.dividers, [{ axis: "y", at: 30, span: [deep - 20, deep] }, { axis: "x", at: deep - 20 }]);
});

test("turning twice gives the tray as it was", () => {
  const document = plan();
  const [fixed] = fixTrays([], document, document.drawers[0], ["a", "b"]);
  assert.ok(fixed);
  const twice = turned(turned(fixed));
  assert.deepEqual({ ...twice, pinned: false }, fixed);
  assert.deepEqual(turned(fixed).tray.cells, [3, 2]);
  assert.deepEqual(turned(fixed).hold.map((held) => held.compartment), [[0, 0], [0, 1]]);
});

test("a divider keeps its share of a tray that gets another size", () => {
  const document = plan();
  const [fixed] = fixTrays([], document, document.drawers[0], ["a", "b"]);
  assert.ok(fixed);
  const wide = resized(fixed, [4, 3], 42);
  const [before, after] = [2 * 42 - 2.9, 4 * 42 - 2.9];
  assert.ok(Math.abs((wide.tray.dividers?.[0]?.at ?? 0) / after - 30 / before) < 1e-4);
});

test("a thing that changes frees the trays that hold it, unless they are pinned", () => {
  const document = plan();
  const fixed = fixTrays([], document, document.drawers[0], ["a", "b"]);
  assert.deepEqual(releaseThing(fixed, "a"), []);
  assert.deepEqual(releaseThing(fixed, "z"), fixed);
  const pinned = fixed.map((entry) => ({ ...entry, pinned: true }));
  assert.deepEqual(releaseThing(pinned, "a"), pinned);
  assert.deepEqual(dropThing(pinned, "a")[0]?.hold.map((held) => held.thing), ["b"]);
});

test("what lies elsewhere than before has moved", () => {
  const before = [{ key: "0", hold: "pens", at: /** @type {[number, number]} */ ([0, 0]) }, { key: "1", hold: "caps", at: /** @type {[number, number]} */ ([2, 0]) }];
  const now = [{ key: "5", hold: "pens", at: /** @type {[number, number]} */ ([0, 1]) }, { key: "6", hold: "caps", at: /** @type {[number, number]} */ ([2, 0]) }, { key: "7", hold: "new", at: /** @type {[number, number]} */ ([4, 4]) }];
  assert.deepEqual([...movedTrays(before, now)], ["5"]);
});

test("figures differ only where both are there", () => {
  const document = { ...plan(), work: { pieces: 1, runs: 2, seconds: 100, grams: 5 } };
  const now = figuresOf(document);
  assert.deepEqual(difference(null, now), { seconds: null, grams: null, cost: null, runs: 0, pieces: 0 });
  assert.deepEqual(difference({ ...now, seconds: 40, cost: 3, runs: 3 }, now), { seconds: 60, grams: 0, cost: null, runs: -1, pieces: 0 });
});

test("text on a tray is never smaller than 11 px and never wider than the tray", () => {
  for (const [width, height] of [[200, 90], [60, 60], [30, 120], [24, 24], [12, 12], [500, 300]]) {
    const fit = fitText("T12", "4 × extraordinarily long paint brush, 2 × cap", width ?? 0, height ?? 0);
    if (!fit) {
      assert.ok(Math.min(width ?? 0, height ?? 0) < 30);
      continue;
    }
    const [across, down] = fit.upright ? [height ?? 0, width ?? 0] : [width ?? 0, height ?? 0];
    assert.ok(fit.size >= 11);
    for (const line of fit.lines) assert.ok(line.length * fit.size * 0.56 <= across, line);
    assert.ok(fit.lines.length * fit.size <= down);
    assert.ok(fit.lines.join(" ").startsWith("T12"));
  }
});
