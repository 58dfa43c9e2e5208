// What the page says of the camera's picture before a photo is taken, on frames that are computed.

import assert from "node:assert/strict";
import { test } from "node:test";

import { checkSheet } from "../../../../../api/kiosk/page/outline/sheet_check.js";

const [WIDTH, HEIGHT] = [320, 240];

/** The reference sheet on A4 (ISO 216), long side across: its paper, the ring of squares, and the field in it, in mm. */
const [PAPER, RING, FIELD] = [[297, 210], [270, 190], [230, 150]];
const TINTS = { green: [127, 224, 160], pink: [240, 140, 200] };
const TABLE = [90, 80, 70];

/** @param {number} x @param {number} y @param {number[] | undefined} sides of a rectangle about the middle */
const isIn = (x, y, sides) => Math.abs(x) < (sides?.[0] ?? 0) / 2 && Math.abs(y) < (sides?.[1] ?? 0) / 2;

/** The colour of the sheet or the table at a place in mm from the middle. @param {number} x @param {number} y @param {number[]} tint @param {boolean} covered */
function colourAt(x, y, tint, covered) {
  if (covered && x > 90) return [200, 150, 120]; // something lies on one side of the ring
  if (isIn(x, y, FIELD)) return isIn(x, y, [80, 20]) ? [60, 60, 64] : tint; // with a thing on it
  if (!isIn(x, y, RING)) return isIn(x, y, PAPER) ? [240, 240, 240] : TABLE;
  const [column, row] = [Math.floor((x + 135) / 10), Math.floor((y + 95) / 10)];
  const inSquare = [(x + 135) % 10, (y + 95) % 10].every((at) => at > 1.5 && at < 8.5);
  return (column + row) % 2 === 0 || inSquare ? [25, 25, 25] : [235, 235, 235];
}

/**
 * A frame of a camera over the sheet, with the focal length of its width.
 * @param {{height?: number, tilt?: number, aside?: number, tint?: "green" | "pink", light?: number, covered?: boolean}} [how] mm, degrees
 */
function frame({ height = 400, tilt = 0, aside = 0, tint = "green", light = 1, covered = false } = {}) {
  const data = new Uint8ClampedArray(4 * WIDTH * HEIGHT);
  const [cos, sin] = [Math.cos((tilt * Math.PI) / 180), Math.sin((tilt * Math.PI) / 180)];
  for (let n = 0; n < WIDTH * HEIGHT; n += 1) {
    const [dx, dy] = [((n % WIDTH) - WIDTH / 2) / WIDTH, (Math.floor(n / WIDTH) - HEIGHT / 2) / WIDTH];
    const y = (dy * height) / (cos - dy * sin);
    const x = (height + y * sin) * dx - aside;
    data.set([...colourAt(x, y, TINTS[tint], covered).map((channel) => channel * light), 255], 4 * n);
  }
  return { data, width: WIDTH, height: HEIGHT };
}

/** @param {Parameters<typeof frame>[0]} [how] */
const verdict = (how) => checkSheet(frame(how)).verdict;

test("a sheet that is seen well is good, in either tint, also at a slight slant", () => {
  assert.equal(verdict(), "good");
  assert.equal(verdict({ tint: "pink" }), "good");
  assert.equal(verdict({ tilt: 12 }), "good");
  assert.equal(verdict({ tilt: -12, light: 0.6 }), "good");
});

test("the corners are those of the ring", () => {
  const { corners } = checkSheet(frame());
  const scale = WIDTH / 400;
  const expected = [[-135, -95], [135, -95], [135, 95], [-135, 95]].map(([x = 0, y = 0]) => [WIDTH / 2 + x * scale, HEIGHT / 2 + y * scale]);
  for (const [x = 0, y = 0] of expected) assert.ok(corners.some((corner) => Math.hypot(corner[0] - x, corner[1] - y) < 4), `${x}, ${y}`);
});

test("each fault is said", () => {
  assert.equal(verdict({ light: 0.12 }), "dark");
  assert.equal(verdict({ height: 4000 }), "no_sheet");
  assert.equal(verdict({ height: 700 }), "far");
  assert.equal(verdict({ height: 260 }), "cut"); // the ring lies outside
  assert.equal(verdict({ height: 200 }), "cut"); // the field as well
  assert.equal(verdict({ aside: 80 }), "cut");
  assert.equal(verdict({ tilt: 30, height: 450 }), "tilted");
  assert.equal(verdict({ covered: true }), "covered");
  assert.equal(verdict({ light: 1.2 }), "glare");
});

test("without a sheet there are no corners, and an empty frame does no harm", () => {
  const grey = { data: new Uint8ClampedArray(4 * WIDTH * HEIGHT).fill(128), width: WIDTH, height: HEIGHT };
  assert.deepEqual(checkSheet(grey), { verdict: "no_sheet", corners: [] });
});
