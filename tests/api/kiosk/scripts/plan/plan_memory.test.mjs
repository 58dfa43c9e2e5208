// Plans that are remembered by what was asked for.

import assert from "node:assert/strict";
import { test } from "node:test";

import { PlanMemory } from "../../../../../api/kiosk/page/plan/plan_memory.js";

/** @param {string} name @returns {any} */
const made = (name) => ({ document: { name }, body: { name }, continued: false });

test("a plan is found by its key, the last one of several", () => {
  const memory = new PlanMemory();
  assert.equal(memory.get("a"), undefined);
  memory.add("a", made("first"));
  memory.add("a", made("second"));
  assert.equal(memory.get("a")?.document.name, "second");
});

test("the plan that was added longest ago is forgotten first", () => {
  const memory = new PlanMemory(2);
  for (const name of ["a", "b", "a", "c"]) memory.add(name, made(name));
  assert.equal(memory.get("b"), undefined);
  assert.equal(memory.get("a")?.document.name, "a");
  assert.equal(memory.get("c")?.document.name, "c");
});
