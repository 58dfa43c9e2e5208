// Lengths as people write them. An inch is 25.4 mm exactly (international yard and pound agreement, 1959).

import assert from "node:assert/strict";
import { afterEach, test } from "node:test";

import { convert, length, plain, setUnit, shown, typed } from "../../../../../api/kiosk/page/language/units.js";

afterEach(() => setUnit("mm"));

test("numbers are read as they are written, with point, comma or fraction", () => {
  assert.deepEqual(["310", "12.2", "12,2", "16 1/4", "3/8", " 7 ", ".5"].map(plain), [310, 12.2, 12.2, 16.25, 0.375, 7, 0.5]);
  for (const text of ["", "abc", "1/0x", "12 cm", "1e3", "-3"]) assert.equal(plain(text), null, text);
});

test("a length without a unit is in the selected unit, one with a unit stays as it is", () => {
  assert.equal(length("310"), 310);
  assert.equal(length("31 cm"), "31 cm");
  setUnit("in");
  assert.equal(length("12,5"), "12.5 in");
  assert.equal(length("16 1/4"), "16 1/4 in");
});

test("converting there and back gives what was there, to a tenth of a millimetre", () => {
  for (const mm of ["1", "310", "42.5", "999.9"]) {
    setUnit("mm");
    const inches = convert(mm, "in");
    setUnit("in");
    assert.ok(Math.abs(Number(convert(inches, "mm")) - Number(mm)) <= 0.1, mm);
  }
  setUnit("mm");
  assert.equal(convert("25.4", "in"), "1");
  assert.equal(convert("10 cm", "in"), "10 cm");
});

test("lengths are shown in the selected unit", () => {
  assert.deepEqual([shown(311.2), typed(250)], ["311.2 mm", "250"]);
  setUnit("in");
  assert.equal(shown(254), "10 in");
  assert.equal(typed(250), "9.843");
});
