// Groups of things, and the spec that says them.

import assert from "node:assert/strict";
import { test } from "node:test";

import { blankDraft, readDraft } from "../../../../../api/kiosk/page/draft/draft_format.js";
import { apart, beside, loose, together } from "../../../../../api/kiosk/page/draft/groups.js";
import { specOf } from "../../../../../api/kiosk/page/draft/spec_of.js";
import { draftOf } from "../../../../../api/kiosk/page/draft/spec_to_draft.js";

/** @param {string} key @param {string} name @param {string} [group] @returns {import("../../../../../api/kiosk/page/draft/draft_format.js").Thing} */
const thing = (key, name, group = "") => ({ key, kind: "box", id: "", name, sizes: ["10", "10", "10"], count: 1, access: "sometimes", storage: "", group, near: "", label: false });

const THINGS = [thing("a", "awl"), thing("b", "brush", "painting"), thing("c", "chalk"), thing("d", "dice", "chalk")];

/** @param {import("../../../../../api/kiosk/page/draft/draft_format.js").Thing[]} things */
const groups = (things) => things.map((entry) => entry.group);

test("things that are kept together get the group that one of them has, else a new one", () => {
  assert.deepEqual(groups(together(THINGS, ["a", "b"])), ["painting", "painting", "", "chalk"]);
  assert.deepEqual(groups(together(THINGS, ["a", "c"])), ["awl, chalk", "painting", "awl, chalk", "chalk"]);
});

test("things that are kept apart get groups that nothing else has", () => {
  const made = apart(THINGS, ["a", "c"]);
  assert.deepEqual(groups(made), ["awl", "painting", "chalk 2", "chalk"]);
  assert.equal(new Set(groups(made)).size, 4);
});

test("one of two stands beside the other, not each beside the other", () => {
  const made = beside(beside(THINGS, ["a", "c"]), ["c", "a"]);
  assert.deepEqual(made.map((entry) => entry.near), ["c", "", "", ""]);
  assert.deepEqual(loose(made, ["a"]).map((entry) => entry.near), ["", "", "", ""]);
});

test("groups, neighbours, sharing and a bare drawer go through a spec and a kept draft", () => {
  const draft = { ...blankDraft(), things: beside(together(THINGS, ["a", "b"]), ["a", "c"]), share: /** @type {const} */ ("group") };
  const [drawer] = draft.drawers;
  assert.ok(drawer);
  Object.assign(drawer, { width: ["300", "", ""], depth: ["300", "", ""], height: "60", bare: true, panels: [{ along: "x", at: 100 }] });
  draft.fill = true;
  const { spec } = specOf(draft);
  assert.deepEqual(spec.layout, { share: "group" });
  assert.deepEqual(spec.items.map((/** @type {any} */ item) => item.near), [undefined, undefined, "awl", undefined]);
  assert.equal(spec.drawers[0].floor, "none");
  assert.equal(spec.drawers[0].fill, undefined); // there is no floor to fill
  const read = draftOf(spec);
  assert.deepEqual(read?.left, []);
  assert.equal(read?.draft.share, "group");
  assert.equal(read?.draft.things[2]?.near, read?.draft.things[0]?.key);
  assert.deepEqual(read?.draft.drawers[0]?.panels, drawer.panels);
  assert.deepEqual(readDraft(JSON.parse(JSON.stringify(draft))), draft);
});

test("a neighbour that is not there is none", () => {
  const draft = { ...blankDraft(), things: [{ ...thing("a", "awl"), near: "z" }, { ...thing("b", "brush"), near: "b" }] };
  assert.deepEqual(readDraft(draft)?.things.map((entry) => entry.near), ["", ""]);
});
