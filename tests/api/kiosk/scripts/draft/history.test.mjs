// Undo and redo against a list of states that is written down beside them.

import assert from "node:assert/strict";
import { test } from "node:test";

import { History } from "../../../../../api/kiosk/page/draft/history.js";

test("undo and redo walk the states as they were", () => {
  const history = new History("0");
  for (let n = 1; n <= 200; n += 1) history.add(String(n));
  for (let n = 199; n >= 0; n -= 1) assert.equal(history.undo(), String(n));
  assert.equal(history.undo(), null);
  for (let n = 1; n <= 200; n += 1) assert.equal(history.redo(), String(n));
  assert.equal(history.redo(), null);
});

test("a change after an undo ends what could be redone", () => {
  const history = new History("a");
  history.add("b");
  history.undo();
  history.add("c");
  assert.equal(history.redo(), null);
  assert.equal(history.undo(), "a");
});

test("keystrokes in a field within a short time are one step, others are not", () => {
  const history = new History("");
  history.add("3", "width-0-0", 0);
  history.add("34", "width-0-0", 200);
  history.add("342", "width-0-0", 400);
  history.add("342 5", "depth-0-0", 500);
  history.add("342 50", "depth-0-0", 9000);
  assert.deepEqual([history.undo(), history.undo(), history.undo(), history.undo()], ["342 5", "342", "", null]);
});

test("a state that is the same is no step", () => {
  const history = new History("a");
  history.add("a");
  assert.equal(history.undo(), null);
});
