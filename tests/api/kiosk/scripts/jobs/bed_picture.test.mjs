// Where pieces lie on a bed, and which bed it is.

import assert from "node:assert/strict";
import { test } from "node:test";

import { bedOf, rectangles } from "../../../../../api/kiosk/page/jobs/bed_picture.js";

test("a piece that is turned by a quarter has its sides swapped", () => {
  const run = { pieces: [{ mark: "T1", at: /** @type {[number, number]} */ ([5, 7]), turn: 90, drawer: null }, { mark: "X9", at: /** @type {[number, number]} */ ([0, 0]), turn: 0, drawer: null }] };
  assert.deepEqual(rectangles(run, [{ mark: "T1", size: [80, 40, 20] }]), [{ mark: "T1", x: 5, y: 7, w: 40, d: 80 }]);
});

test("the bed is that of the printer that the run is for", () => {
  const spec = { printer: { bed: [200, 210, 200] }, printers: [{ name: "big", bed: [300, 310, 300] }] };
  assert.deepEqual(bedOf(spec, ["big"]), [300, 310]);
  assert.deepEqual(bedOf(spec, []), [200, 210]);
  assert.equal(bedOf({ printer: { bed: ["10 in", "10 in", "10 in"] } }, []), null);
  assert.equal(bedOf(null, []), null);
});
