// Shapes that people know a thing by, and its handling, go into a spec and come back.

import assert from "node:assert/strict";
import { test } from "node:test";

import { blankDraft, blankDrawer, readDraft } from "../../../../../api/kiosk/page/draft/draft_format.js";
import { specOf } from "../../../../../api/kiosk/page/draft/spec_of.js";
import { draftOf } from "../../../../../api/kiosk/page/draft/spec_to_draft.js";
import { sizePointer, turnedHandling } from "../../../../../api/kiosk/page/draft/thing_shape.js";

/** @param {object[]} things @returns {import("../../../../../api/kiosk/page/draft/draft_format.js").Draft} */
const draftWith = (...things) => {
  const draft = readDraft({ ...blankDraft(), drawers: [blankDrawer("a", "d1")], things });
  assert.ok(draft);
  return draft;
};

const SHAPES = [
  [{ kind: "tapered", sizes: ["75", "10", "95"] }, { kind: "tapered", diameter: 75, end_diameter: 10, length: 95 }],
  [{ kind: "bundle", sizes: ["3", "250"], rods: "50" }, { kind: "bundle", diameter: 3, length: 250, rods: 50 }],
  [{ kind: "coil", sizes: ["4", "1000", "90"] }, { kind: "coil", cable: 4, length: 1000, diameter: 90 }],
  [{ kind: "cylinder", sizes: ["8", "140"] }, { kind: "cylinder", diameter: 8, length: 140 }],
];

test("each shape is that of the spec, and comes back as it was", () => {
  for (const [thing, shape] of SHAPES) {
    const draft = draftWith({ key: "t1", name: "x", ...thing });
    const { spec, where } = specOf(draft);
    assert.deepEqual(spec.items[0].shape, shape);
    assert.deepEqual(draftOf(spec)?.draft.things, draft.things);
    for (const { kind, sizes } of draft.things) {
      for (const n of sizes.keys()) assert.equal(where.get(`/items/0${sizePointer(kind, n)}`), `size-0-${n}`);
    }
  }
});

test("pose, nesting step and softness are those of the spec, and come back as they were", () => {
  const handled = [
    [{ pose: "on_edge" }, { pose: "on_edge" }],
    [{ nest: "12,5" }, { nest: 12.5 }],
    [{ soft: { fill: "70", height: "" } }, { soft: { fill: 0.7 } }],
    [{ soft: { fill: "80", height: "20" } }, { soft: { fill: 0.8, height: 20 } }],
    [{}, {}],
  ];
  for (const [fields, written] of handled) {
    const draft = draftWith({ key: "t1", kind: "box", name: "x", sizes: ["100", "80", "60"], ...fields });
    const { spec } = specOf(draft);
    const { name: _, shape: __, count: ___, access: ____, ...rest } = spec.items[0];
    assert.deepEqual(rest, written);
    const read = draftOf(spec);
    assert.deepEqual(read?.left, []);
    assert.deepEqual(specOf(/** @type {any} */ (read).draft).spec.items, spec.items);
  }
});

test("what is no number goes to the service as it is, which says what is wrong", () => {
  const draft = draftWith({ key: "t1", kind: "bundle", name: "x", sizes: ["3", "250"], rods: "many", soft: { fill: "half", height: "" } });
  const { items } = specOf(draft).spec;
  assert.equal(items[0].shape.rods, "many");
  assert.equal(items[0].soft.fill, "half");
});

test("nonsense that was stored is left out", () => {
  for (const bad of [null, 7, {}, [], true]) {
    const [thing] = draftWith({ key: "t1", kind: "box", name: "x", sizes: [], pose: bad, nest: bad === 7 ? {} : bad, soft: bad === 7 ? 7 : null, rods: null }).things;
    assert.ok(thing);
    assert.equal("pose" in thing || "nest" in thing || "soft" in thing || "rods" in thing, false);
  }
});

test("lengths of handling change with the unit, the share does not", () => {
  const turn = (/** @type {string} */ text) => `${text} in`;
  assert.deepEqual(turnedHandling({ pose: "flat", nest: "5", soft: { fill: "80", height: "3" } }, turn), { nest: "5 in", soft: { fill: "80", height: "3 in" } });
});
