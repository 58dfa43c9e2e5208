// Whether a frame of the camera shows the reference sheet well enough for a photo: a light check on few pixels, so that a
// person need not wait for the service to refuse a photo. What it says is advice: the service looks at the photo itself.

/** @typedef {{data: Uint8ClampedArray, width: number, height: number}} Frame RGBA */
/** @typedef {[number, number]} Place in pixels, y down */
/** @typedef {"dark" | "glare" | "no_sheet" | "far" | "cut" | "tilted" | "covered" | "good"} Verdict */

/** The field of the sheet and the ring of squares round it: width of the ring in mm, and the field's sides on A4. */
const RING = 20;
const FIELD = /** @type {const} */ ([150, 230]);
const SQUARE = 10;

/** A pixel is of the field's tint if its strongest channel is this much above each of the others. */
const GREEN = /** @type {const} */ ([1.15, 1.08]);
const PINK = /** @type {const} */ ([1.15, 1.06]);

/** Shares: of the frame that the field must fill to be taken for one, and the sheet to be near enough. */
const [LEAST_FIELD, LEAST_SHEET] = [0.03, 0.25];

/** Least light (0 to 255) of the field, and the largest share of it in which a channel may be burnt out. */
const [DARK, MOST_BURNT] = [45, 0.2];

/** Largest slant in degrees, and the camera's focal length by the longer side of its picture: 1 is half way between the
 * lenses of phones, and the slant is wrong by as much as it is. The service measures it, and refuses over 25 degrees. */
const MOST_TILT = 22;
const FOCAL = 1;

/** Share of the squares along each side of the ring that must be seen as changes from dark to light. */
const LEAST_SQUARES = 0.5;

/** 1 for green, 2 for pink, 0 for neither. @param {number} r @param {number} g @param {number} b */
function tintOf(r, g, b) {
  if (g > GREEN[0] * r && g > GREEN[1] * b) return 1;
  return r > PINK[0] * g && b > PINK[1] * g ? 2 : 0;
}

/**
 * The pixels, as indices, of the largest connected area of a tint that does not touch the frame's edge, as a table may;
 * of one that does if there is none.
 * @param {Frame} frame
 */
function fieldOf({ data, width, height }) {
  const tints = new Uint8Array(width * height).map((_, n) => tintOf(data[4 * n] ?? 0, data[4 * n + 1] ?? 0, data[4 * n + 2] ?? 0));
  /** @type {{pixels: number[], inside: boolean}} */
  let best = { pixels: [], inside: false };
  for (let start = 0; start < tints.length; start += 1) {
    const tint = tints[start];
    if (!tint) continue;
    const pixels = [start];
    let inside = true;
    tints[start] = 0;
    for (let m = 0; m < pixels.length; m += 1) {
      const n = pixels[m] ?? 0;
      const x = n % width;
      if (x === 0 || x === width - 1 || n < width || n >= tints.length - width) inside = false;
      for (const next of [x > 0 ? n - 1 : n, x < width - 1 ? n + 1 : n, n - width, n + width]) {
        if (tints[next] !== tint) continue;
        tints[next] = 0;
        pixels.push(next);
      }
    }
    const enough = pixels.length >= LEAST_FIELD * width * height;
    if (enough && (inside === best.inside ? pixels.length > best.pixels.length : inside)) best = { pixels, inside };
  }
  return best;
}

/**
 * The four corners of an area that is nearly a rectangle, in order: its farthest two pixels, and those farthest from the
 * line between them on both sides.
 * @param {number[]} area
 * @param {number} width of the frame
 * @returns {[Place, Place, Place, Place]}
 */
function cornersOf(area, width) {
  const places = area.map((n) => /** @type {Place} */ ([n % width, Math.floor(n / width)]));
  const farthest = (/** @type {(place: Place) => number} */ measure) => places.reduce((best, place) => (measure(place) > measure(best) ? place : best), places[0] ?? [0, 0]);
  const from = (/** @type {Place} */ a) => (/** @type {Place} */ b) => Math.hypot(a[0] - b[0], a[1] - b[1]);
  const [first = [0, 0]] = places;
  const a = farthest(from(first));
  const c = farthest(from(a));
  const side = (/** @type {Place} */ p) => (c[0] - a[0]) * (p[1] - a[1]) - (c[1] - a[1]) * (p[0] - a[0]);
  return [a, farthest((p) => -side(p)), c, farthest(side)];
}

/** @param {Place} a @param {Place} b @param {number} share @returns {Place} */
const between = (a, b, share) => [a[0] + share * (b[0] - a[0]), a[1] + share * (b[1] - a[1])];

/** A place by its shares along two sides, which may lie outside. @param {[Place, Place, Place, Place]} corners @param {number} u @param {number} v */
const placeIn = ([a, b, c, d], u, v) => between(between(a, b, u), between(d, c, u), v);

/**
 * How many changes between dark and light lie along a line, as a share of the squares that it crosses.
 * @param {Frame} frame
 * @param {Place} from
 * @param {Place} to
 * @param {number} squares
 */
function squaresSeen({ data, width, height }, from, to, squares) {
  const count = 4 * squares;
  const lights = Array.from({ length: count }, (_, n) => {
    const [x, y] = between(from, to, (n + 0.5) / count).map(Math.round);
    if (x === undefined || y === undefined || x < 0 || y < 0 || x >= width || y >= height) return 0;
    const at = 4 * (y * width + x);
    return (data[at] ?? 0) + (data[at + 1] ?? 0) + (data[at + 2] ?? 0);
  });
  const middle = (Math.min(...lights) + Math.max(...lights)) / 2;
  const contrast = Math.max(...lights) - Math.min(...lights);
  if (contrast < 90) return 0;
  return lights.filter((light, n) => n > 0 && light > middle !== (lights[n - 1] ?? 0) > middle).length / squares;
}

/**
 * The slant of a camera that sees a rectangle like this, in degrees (the plane's homography; Zhang, 2000).
 * @param {[Place, Place, Place, Place]} corners
 * @param {readonly [number, number]} sides of the rectangle
 * @param {Frame} frame
 */
function tiltOf(corners, [u, v], { width, height }) {
  const focal = FOCAL * Math.max(width, height);
  const [a, b, c, d] = /** @type {[Place, Place, Place, Place]} */ (corners.map(([x, y]) => [(x - width / 2) / focal, (y - height / 2) / focal]));
  // from the unit square to four corners (Heckbert, 1989)
  const [sx, sy] = [a[0] - b[0] + c[0] - d[0], a[1] - b[1] + c[1] - d[1]];
  const [px, py, qx, qy] = [b[0] - c[0], b[1] - c[1], d[0] - c[0], d[1] - c[1]];
  const across = px * qy - py * qx;
  const g = (sx * qy - sy * qx) / across;
  const h = (px * sy - py * sx) / across;
  const first = [(b[0] - a[0] + g * b[0]) / u, (b[1] - a[1] + g * b[1]) / u, g / u];
  const second = [(d[0] - a[0] + h * d[0]) / v, (d[1] - a[1] + h * d[1]) / v, h / v];
  const [f0 = 0, f1 = 0, f2 = 0] = first;
  const [s0 = 0, s1 = 0, s2 = 0] = second;
  const normal = [f1 * s2 - f2 * s1, f2 * s0 - f0 * s2, f0 * s1 - f1 * s0];
  return (Math.acos(Math.min(1, Math.abs(normal[2] ?? 0) / Math.hypot(...normal))) * 180) / Math.PI;
}

/**
 * What is to be done before a photo is taken, or "good".
 * @param {Frame} frame
 * @returns {{verdict: Verdict, corners: Place[]}} `corners` of the sheet's ring, if it is seen
 */
export function checkSheet(frame) {
  const { data, width, height } = frame;
  const { pixels: area, inside } = fieldOf(frame);
  const lights = new Uint8Array(width * height).map((_, n) => Math.max(data[4 * n] ?? 0, data[4 * n + 1] ?? 0, data[4 * n + 2] ?? 0));
  if (!area.length) {
    const mean = lights.reduce((sum, light) => sum + light, 0) / lights.length;
    return { verdict: mean < DARK ? "dark" : "no_sheet", corners: [] };
  }
  if (!inside) return { verdict: "cut", corners: [] };
  const field = cornersOf(area, width);
  const sides = field.map((corner, n) => Math.hypot(corner[0] - (field[(n + 1) % 4]?.[0] ?? 0), corner[1] - (field[(n + 1) % 4]?.[1] ?? 0)));
  const [ab = 1, bc = 1, cd = 1, da = 1] = sides;
  // the longer side of the field is that of the paper
  const [u, v] = ab + cd < bc + da ? FIELD : /** @type {const} */ ([FIELD[1], FIELD[0]]);
  const out = (/** @type {number} */ mm) => /** @type {Place[]} */ ([[-mm, -mm], [mm, -mm], [mm, mm], [-mm, mm]]).map(([x, y]) =>
    placeIn(field, (x > 0 ? 1 : 0) + x / u, (y > 0 ? 1 : 0) + y / v));
  const corners = out(RING);
  const size = corners.reduce((sum, [x, y], n) => sum + x * (corners[(n + 1) % 4]?.[1] ?? 0) - (corners[(n + 1) % 4]?.[0] ?? 0) * y, 0) / 2;
  const burnt = area.filter((n) => (lights[n] ?? 0) >= 255).length;
  const light = area.reduce((sum, n) => sum + (lights[n] ?? 0), 0) / area.length;
  const verdict = () => {
    if (light < DARK) return "dark";
    if (burnt > MOST_BURNT * area.length) return "glare";
    if (corners.some(([x, y]) => x < 0 || y < 0 || x > width - 1 || y > height - 1)) return "cut";
    if (Math.abs(size) < LEAST_SHEET * width * height) return "far";
    if (tiltOf(field, [u, v], frame) > MOST_TILT) return "tilted";
    const middle = out(SQUARE / 2);
    const seen = middle.map((corner, n) => squaresSeen(frame, corner, /** @type {Place} */ (middle[(n + 1) % 4]), Math.round((n % 2 === 0 ? u : v) / SQUARE) + 1));
    return Math.min(...seen) < LEAST_SQUARES ? "covered" : "good";
  };
  return { verdict: verdict(), corners };
}
