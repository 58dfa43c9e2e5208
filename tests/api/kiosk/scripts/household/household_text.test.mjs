// Unit tests of the page's texts about the household; tests/api/kiosk/test_scripts.py runs them.

import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { test } from "node:test";

import { contentRows, drawerAddress, householdAddress, piecesText } from "../../../../../api/kiosk/page/household/household_text.js";

const DRAWER = "7".repeat(26);
const THING = "8".repeat(26);
const WORDS = JSON.parse(readFileSync(new URL("../../../../../api/kiosk/page/language/messages.en.json", import.meta.url), "utf8"));
/** @type {Record<string, string>} */
const TEXTS = WORDS;

/** @type {import("../../../../../api/kiosk/page/documents").Text} */
const t = (key, values = {}) => (TEXTS[key] ?? "").replace(/\{(\w+)\}/g, (_, name) => String(values[name]));

test("an address names the list, a drawer, or a drawer with a thing", () => {
  assert.deepEqual(householdAddress("#drawers"), { drawer: null, thing: null });
  assert.deepEqual(householdAddress(`#drawer=${DRAWER}`), { drawer: DRAWER, thing: null });
  assert.deepEqual(householdAddress(`#drawer=${DRAWER}&thing=${THING}`), { drawer: DRAWER, thing: THING });
});

test("other addresses are those of other views", () => {
  for (const hash of ["", "#", `#job=${DRAWER}`, "#drawer=", "#drawer=../x", `#drawer=${DRAWER}/`, `#drawers=${DRAWER}`, `#drawer=${DRAWER.toUpperCase().replace(/7/g, "U")}`]) {
    assert.equal(householdAddress(hash), null, hash);
  }
});

test("the address that is made is the address that is read", () => {
  for (const thing of [null, THING]) {
    assert.deepEqual(householdAddress(`#${drawerAddress(DRAWER, thing)}`), { drawer: DRAWER, thing });
  }
});

test("the state of a drawer is told by its pieces", () => {
  const none = { placed: 0, printed: 0, spare: 0, retired: 0 };
  assert.equal(piecesText({ layout: null, pieces: none }, t), "not laid out yet");
  assert.equal(piecesText({ layout: {}, pieces: none }, t), "no pieces");
  assert.equal(piecesText({ layout: {}, pieces: { ...none, placed: 9, spare: 1 } }, t), "9 placed, 1 spare");
  assert.equal(piecesText({ layout: null, pieces: { ...none, printed: 2 } }, t), "2 printed");
});

test("rows are the trays in their order, and the thing that is looked for is marked", () => {
  const item = (/** @type {string} */ name, /** @type {string | null} */ thing) => ({ name, thing, count: 2 });
  const places = [
    { kind: "tile", mark: "F1", name: "floor", piece: "x", items: [] },
    { kind: "tray", mark: "T2", name: "pens", piece: "x", items: [item("pen", THING), item("cap", null)] },
    { kind: "tray", mark: "T1", name: "spare tray", piece: null, items: [] },
  ];
  assert.deepEqual(contentRows({ places }, THING), [
    { mark: "T2", name: "pens", items: "2 × pen, 2 × cap", placed: true, marked: true },
    { mark: "T1", name: "spare tray", items: "", placed: false, marked: false },
  ]);
  assert.equal(contentRows({ places }, null)[0]?.marked, false);
});
