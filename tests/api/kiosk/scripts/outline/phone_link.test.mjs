// The link from a desk to a phone.

import assert from "node:assert/strict";
import { test } from "node:test";

import { fragmentOf, isOwnMachine, linkIn, tagOf, waitForPhone } from "../../../../../api/kiosk/page/outline/phone_link.js";

test("what the desk asks for arrives on the phone", () => {
  const link = { code: "0123456789", thickness: "1 1/2", body: "round", bar: "150,2", unit: "in" };
  assert.deepEqual(linkIn(fragmentOf(link)), link);
  assert.equal(fragmentOf({ code: "0123456789", thickness: "", body: "", bar: "", unit: "" }), "#outline=0123456789");
});

test("other fragments ask for nothing", () => {
  for (const hash of ["", "#jobs", "#spec=abc", "#outline=", "#outline=no", "#outline=<script>", `#outline=${"a".repeat(40)}%`]) assert.equal(linkIn(hash), null, hash);
  assert.equal(linkIn(`#outline=0123456789&thickness=${"9".repeat(99)}`)?.thickness.length, 20);
});

test("an address of this machine alone is told from others", () => {
  for (const host of ["localhost", "a.localhost", "127.0.0.1", "127.1.2.3", "[::1]"]) assert.ok(isOwnMachine(host), host);
  for (const host of ["192.168.1.20", "shop.example", "127.example", "[fe80::1]"]) assert.ok(!isOwnMachine(host), host);
});

test("the desk waits for the first photo that can be read", async () => {
  Object.assign(globalThis, { window: globalThis, sessionStorage: { getItem: () => null }, localStorage: { getItem: () => null } });
  const answers = [[], [{ id: "a", state: "failed" }], [{ id: "b", state: "succeeded" }]];
  /** @type {string[]} */
  const asked = [];
  Object.assign(globalThis, {
    setTimeout: (/** @type {() => void} */ act) => queueMicrotask(act),
    fetch: async (/** @type {string} */ path) => {
      asked.push(path);
      return { ok: true, json: async () => ({ silhouettes: answers.shift() }) };
    },
  });
  /** @type {string[]} */
  const states = [];
  assert.equal(await waitForPhone("0123456789", (state) => states.push(state), new AbortController().signal), "b");
  assert.deepEqual(states, ["failed", "succeeded"]);
  assert.equal(asked[0], `v1/silhouettes?limit=1&tag=${encodeURIComponent(tagOf("0123456789"))}`);
  const ended = new AbortController();
  ended.abort();
  assert.equal(await waitForPhone("0123456789", () => {}, ended.signal), null);
});
