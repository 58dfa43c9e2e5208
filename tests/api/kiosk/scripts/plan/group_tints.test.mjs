// Groups on the plan.

import assert from "node:assert/strict";
import { test } from "node:test";

import { groupOf, groupsOf, tintsOf, trayTints } from "../../../../../api/kiosk/page/plan/group_tints.js";

/** @param {string} key @param {string} group @param {string} [id] @returns {any} */
const thing = (key, group, id = "") => ({ key, group, id, kind: id ? "standard" : "box" });

const CATEGORIES = new Map([["nut-m3", "fastener"], ["pen-ball", "desk"]]);

test("a thing belongs to the group it was given, else to its category", () => {
  const groups = groupsOf([thing("a", " glue "), thing("b", "", "nut-m3"), thing("c", ""), thing("d", "glue", "pen-ball")], CATEGORIES);
  assert.deepEqual([...groups], [["a", "glue"], ["b", "fastener"], ["d", "glue"]]);
});

test("a name in several spellings is one group, as in the layout", () => {
  const groups = groupsOf([thing("a", "Fastener"), thing("b", "", "nut-m3"), thing("c", "FASTENER")], CATEGORIES);
  assert.deepEqual([...groups.values()], ["Fastener", "Fastener", "Fastener"]);
});

test("groups have tints in their order, but not one alone, nor the eighth", () => {
  assert.equal(tintsOf(new Map([["a", "glue"], ["b", "glue"]])).size, 0);
  assert.deepEqual([...tintsOf(new Map([["a", "x"], ["b", "y"], ["c", "x"]]))], [["x", 0], ["y", 1]]);
  assert.equal(tintsOf(new Map(Array.from({ length: 9 }, (_, n) => [`k${n}`, `g${n}`]))).size, 7);
});

test("a tray belongs to the group of most of its things, the first of several", () => {
  const groups = new Map([["a", "x"], ["b", "y"], ["c", "y"]]);
  assert.equal(groupOf(["a", "b", "c"], groups), "y");
  assert.equal(groupOf(["a", "b"], groups), "x");
  assert.equal(groupOf(["z"], groups), undefined);
});

test("the trays of a finished job have the tints of the groups that most of their things are of", () => {
  const content = (/** @type {number} */ placement, /** @type {string} */ item) => ({ placement, item });
  const drawer = /** @type {any} */ ({ placements: [{}, {}, {}], contents: [content(0, "nut"), content(0, "bolt"), content(0, "pen"), content(1, "pen"), content(2, "cup")] });
  const groups = new Map([["nut", "metal"], ["bolt", "metal"], ["pen", "desk"]]);
  assert.deepEqual([...trayTints(drawer, groups, tintsOf(groups))], [[0, 0], [1, 1]]);
  assert.deepEqual([...trayTints(drawer, groups, new Map())], []);
});
