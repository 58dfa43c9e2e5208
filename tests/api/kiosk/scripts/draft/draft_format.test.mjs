// Stored drafts of any version and any content are read without an error.

import assert from "node:assert/strict";
import { test } from "node:test";

import { blankDraft, readDraft } from "../../../../../api/kiosk/page/draft/draft_format.js";
import { exampleDraft } from "../../../../../api/kiosk/page/draft/example.js";
import { specOf } from "../../../../../api/kiosk/page/draft/spec_of.js";
import { draftOf } from "../../../../../api/kiosk/page/draft/spec_to_draft.js";

test("what was stored is what is read", () => {
  for (const draft of [blankDraft(), exampleDraft()]) assert.deepEqual(readDraft(JSON.parse(JSON.stringify(draft))), draft);
});

test("printers that a document names are kept, and go back into its spec", () => {
  const printers = [{ name: "big", bed: [300, 310, 300] }, { name: "small", bed: [180, 180, 180] }];
  const read = draftOf({ spec: "1", name: "x", drawers: [{ name: "a", width: 300, depth: 300, height: 60 }], printers, material: { name: "PLA" } });
  assert.ok(read);
  assert.deepEqual(read.left, []);
  assert.deepEqual(read.draft.bed, ["300", "310", "300"]);
  const draft = readDraft(JSON.parse(JSON.stringify(read.draft)));
  assert.ok(draft);
  assert.deepEqual(specOf(draft).spec.printers, printers);
  assert.equal("printer" in specOf(draft).spec, false);
});

test("a draft of the first version gets keys and what it lacks", () => {
  const first = { unit: "in", drawers: [{ name: "top", width: ["12", "", ""], depth: ["9", "", ""], height: "3" }], things: [{ kind: "box", name: "pen", sizes: ["5", "1", "1"], count: 3 }] };
  const draft = readDraft(first);
  assert.ok(draft);
  assert.equal(draft.unit, "in");
  assert.deepEqual(draft.drawers[0], { key: "d1", name: "top", width: ["12", "", ""], depth: ["9", "", ""], height: "3", corner: "", copies: 1, obstacles: [], trays: [], bare: false, panels: null });
  assert.deepEqual(draft.things[0], { key: "t1", kind: "box", id: "", name: "pen", sizes: ["5", "1", "1"], count: 3, access: "sometimes", storage: "", group: "", near: "", label: false });
  assert.equal(draft.nozzle, "0.4");
});

test("nonsense in any field becomes what a blank draft has there, and a spec can be made of it", () => {
  const nonsense = [null, 7, "x", [], {}, true, [null], { a: 1 }];
  const good = JSON.parse(JSON.stringify(exampleDraft()));
  for (const bad of nonsense) {
    for (const key of Object.keys(good)) assert.doesNotThrow(() => { const read = readDraft({ ...good, [key]: bad }); if (read) specOf(read); }, key);
    for (const key of Object.keys(good.drawers[0])) assert.ok(readDraft({ ...good, drawers: [{ ...good.drawers[0], [key]: bad }] }));
    for (const key of Object.keys(good.things[0])) {
      const read = readDraft({ ...good, things: [{ ...good.things[0], [key]: bad }] });
      assert.ok(read);
      specOf(read);
    }
  }
  for (const bad of nonsense) assert.equal(readDraft(bad), null);
});

test("keys are unique even if they were not", () => {
  const draft = readDraft({ drawers: [{ key: "d1" }, { key: "d1" }, {}], things: [{ key: "a" }, { key: "a" }] });
  assert.ok(draft);
  assert.equal(new Set(draft.drawers.map((drawer) => drawer.key)).size, 3);
  assert.equal(new Set(draft.things.map((thing) => thing.key)).size, 2);
});

test("a spec that is saved and opened again is the same spec", () => {
  const { spec } = specOf(exampleDraft());
  const read = draftOf(JSON.parse(JSON.stringify(spec)));
  assert.ok(read);
  assert.deepEqual(read.left, []);
  assert.deepEqual(specOf(read.draft).spec, spec);
});

test("what the page has no field for is named, and what is no spec is none", () => {
  const { spec } = specOf(exampleDraft());
  const read = draftOf({ ...spec, items: [...spec.items, { name: "ring", shape: { kind: "pocket" } }] });
  assert.deepEqual(read?.left, ["/items/8/shape"]);
  for (const other of [null, 3, {}, { drawers: [] }, []]) assert.equal(draftOf(other), null);
});

test("an outline is kept with its silhouette or its corners, and only its height can be changed", () => {
  const spec = {
    spec: "1", drawers: [{ name: "1", width: 200, depth: 200, height: 60 }],
    items: [
      { name: "card", shape: { kind: "silhouette", id: "01k9x5t6v8x0z2b4d6f8h0k2m4", height: 0.8 }, storage: "pocket" },
      { name: "shim", shape: { kind: "polygon", points: [[0, 0], [40, 0], [40, 20.5]], height: 2 } },
    ],
  };
  const made = draftOf(spec);
  assert.ok(made);
  assert.deepEqual(made.left, []);
  assert.deepEqual(made.draft.things.map((thing) => thing.sizes), [["", "", "0.8"], ["40", "20.5", "2"]]);
  const kept = readDraft(JSON.parse(JSON.stringify(made.draft)));
  assert.deepEqual(kept?.things, made.draft.things);
  const { spec: again, where } = specOf(made.draft);
  assert.deepEqual(again.items.map((/** @type {any} */ item) => item.shape), spec.items.map((item) => item.shape));
  assert.equal(where.get("/items/0/shape/height"), "size-0-2");
  assert.equal(where.get("/items/1/shape/size/0"), undefined);
});

test("an outline without a silhouette or corners is a box", () => {
  const kept = readDraft({ drawers: [{}], things: [{ key: "t1", kind: "outline", name: "card", sizes: ["1", "2", "3"] }] });
  assert.equal(kept?.things[0]?.kind, "box");
  assert.deepEqual(kept?.things[0]?.sizes, ["1", "2", "3"]);
});
