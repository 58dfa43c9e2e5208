// The format of the draft: what a blank one holds, and how a stored one of any version is read. No access to the page.

import { readHandling } from "./thing_shape.js";

/** @typedef {import("../documents").Tray} Tray */
/** @typedef {{thing: string, count: number | null, compartment: [number, number]}} HeldThing */
/** @typedef {{key: string, pinned: boolean, tray: Tray & {at: [number, number]}, hold: HeldThing[]}} FixedTray */
/** @typedef {{x: string, y: string, w: string, d: string}} Obstacle */
/**
 * @typedef {{key: string, name: string, width: string[], depth: string[], height: string, corner: string,
 *   copies: number | string, obstacles: Obstacle[], trays: FixedTray[], bare: boolean, panels: object[] | null}} DrawerDraft
 * `trays` are those with a place of their own; an empty list leaves the whole layout to the service. A `bare` drawer has
 * no floor; `panels` are those of an opened spec, null leaves them to the service.
 */
/**
 * @typedef {{key: string, kind: "standard" | "box" | "cylinder" | "tapered" | "bundle" | "coil" | "outline", id: string,
 *   name: string, sizes: string[], count: number | string, access: string, storage: string, group: string, near: string,
 *   label: boolean, pose?: string, nest?: string, soft?: {fill: string, height: string} | undefined, rods?: string,
 *   points?: [number, number][]}} Thing
 * `near` is the key of another thing, or "". `fill` is in percent, `rods` the number of those in a bundle. An outline has
 * `points`, or `id` is that of its silhouette; its sizes are those of its box, of which the height alone can be changed.
 */
/** @typedef {Partial<Record<"grid" | "printer" | "material" | "printing" | "schedule", Record<string, any>>> & {printers?: Record<string, any>[]}} Rest */
/**
 * @typedef {{version: 2, unit: "mm" | "in", drawers: DrawerDraft[], things: Thing[], bed: string[], nozzle: string,
 *   layer: string, material: string, price: string, hours: string, half: boolean, fill: boolean, coupon: boolean,
 *   share: "group" | "like" | "any", previous: {job: string, name: string} | null, rest: Rest}} Draft
 * `rest` are settings as the spec has them: those of an opened one that the page has no fields for, and the calendar; `previous` is the job whose printed pieces are used again.
 */

const ACCESS = ["often", "sometimes", "rarely"];
export const STORAGE = ["", "rows", "upright", "loose", "pocket", "lane"];
const SHARE = ["group", "like", "any"];
/** Kinds of things that are described by their sizes. */
export const OWN_KINDS = /** @type {const} */ (["box", "cylinder", "tapered", "bundle", "coil"]);
const KINDS = ["standard", "outline", ...OWN_KINDS];

/** Settings that are kept as they are where the page has no fields for them. */
export const SETTINGS = /** @type {const} */ (["grid", "printer", "material", "printing", "schedule"]);

/** The id of a job. */
const JOB = /^[0-9a-z]{26}$/;

/** Number of sizes of a shape that is described. */
export const SIZES = { box: 3, cylinder: 2, tapered: 3, bundle: 2, coil: 3, outline: 3, standard: 0 };

/**
 * Return a key that none of the entries has.
 * @param {{key: string}[]} entries
 * @param {string} letter
 */
export function freeKey(entries, letter) {
  const taken = new Set(entries.map((entry) => entry.key));
  let number = entries.length + 1;
  while (taken.has(`${letter}${number}`)) number += 1;
  return `${letter}${number}`;
}

/**
 * @param {string} name
 * @param {string} key
 * @returns {DrawerDraft}
 */
export const blankDrawer = (name, key) => ({
  key, name, width: ["", "", ""], depth: ["", "", ""], height: "", corner: "", copies: 1, obstacles: [], trays: [], bare: false, panels: null,
});

/** @returns {Draft} */
export const blankDraft = () => ({
  version: 2,
  unit: "mm",
  drawers: [blankDrawer("1", "d1")],
  things: [],
  bed: ["", "", ""],
  nozzle: "0.4",
  layer: "0.2",
  material: "PLA",
  price: "",
  hours: "",
  half: false,
  fill: false,
  coupon: true,
  share: "like",
  previous: null,
  rest: {},
});

/**
 * @param {unknown} value
 * @returns {Record<string, any>}
 */
const record = (value) => (typeof value === "object" && value !== null && !Array.isArray(value) ? /** @type {Record<string, any>} */ (value) : {});

/** @param {unknown} value @returns {any[]} */
const list = (value) => (Array.isArray(value) ? value : []);

/** @param {unknown} value @param {string} otherwise */
const text = (value, otherwise = "") => (typeof value === "string" || typeof value === "number" ? String(value) : otherwise);

/** @param {unknown} value @param {boolean} otherwise */
const flag = (value, otherwise) => (typeof value === "boolean" ? value : otherwise);

/** @param {unknown} value @param {number} count */
const texts = (value, count) => Array.from({ length: count }, (_, n) => text(list(value)[n]));

/** @param {unknown} value @returns {number | string} */
const count = (value) => (typeof value === "number" && Number.isFinite(value) ? value : Number(text(value, "1")) || text(value, "1"));

/** @param {unknown} value @returns {value is [number, number]} */
const isPair = (value) => Array.isArray(value) && value.length === 2 && value.every((side) => typeof side === "number" && Number.isFinite(side));

/**
 * Read a draft of any version: what is missing or of another type is as in a blank one. Null if there is no draft in it.
 * @param {unknown} value
 * @returns {Draft | null}
 */
export function readDraft(value) {
  const kept = record(value);
  if (!list(kept.drawers).length) return null;
  const blank = blankDraft();
  /** @type {Thing[]} */
  const things = [];
  for (const entry of list(kept.things).map(record)) things.push(readThing(entry, things));
  for (const thing of things) if (thing.near === thing.key || !things.some((other) => other.key === thing.near)) thing.near = "";
  /** @type {DrawerDraft[]} */
  const drawers = [];
  for (const entry of list(kept.drawers).map(record)) drawers.push(readDrawer(entry, drawers, things));
  return {
    version: 2,
    unit: kept.unit === "in" ? "in" : "mm",
    drawers,
    things,
    bed: texts(kept.bed, 3),
    nozzle: text(kept.nozzle, blank.nozzle),
    layer: text(kept.layer, blank.layer),
    material: text(kept.material, blank.material),
    price: text(kept.price),
    hours: text(kept.hours),
    half: flag(kept.half, blank.half),
    fill: flag(kept.fill, blank.fill),
    coupon: flag(kept.coupon, blank.coupon),
    share: SHARE.includes(kept.share) ? kept.share : blank.share,
    previous: JOB.test(text(record(kept.previous).job)) ? { job: text(kept.previous.job), name: text(kept.previous.name) } : null,
    rest: readRest(record(kept.rest)),
  };
}

/** @param {Record<string, any>} kept @returns {Rest} */
function readRest(kept) {
  /** @type {Rest} */
  const rest = Object.fromEntries(SETTINGS.filter((key) => Object.keys(record(kept[key])).length).map((key) => [key, record(kept[key])]));
  const printers = list(kept.printers).map(record).filter((printer) => Object.keys(printer).length);
  return printers.length ? { ...rest, printers } : rest;
}

/**
 * @param {Record<string, any>} entry
 * @param {Thing[]} before
 * @returns {Thing}
 */
function readThing(entry, before) {
  const points = list(entry.points).filter(isPair);
  const whole = { standard: text(entry.id), outline: text(entry.id) || points.length > 2 }[/** @type {string} */ (entry.kind)] ?? true;
  const kind = KINDS.includes(entry.kind) && whole ? /** @type {Thing["kind"]} */ (entry.kind) : "box";
  const sizes = kind === "standard" ? list(entry.sizes).slice(0, 1).map((size) => text(size)) : texts(entry.sizes, SIZES[kind]);
  return {
    key: keyOf(entry.key, before, "t"),
    kind,
    id: text(entry.id),
    name: text(entry.name, "?"),
    sizes,
    count: count(entry.count),
    access: ACCESS.includes(entry.access) ? entry.access : "sometimes",
    storage: STORAGE.includes(entry.storage) ? entry.storage : "",
    group: text(entry.group),
    near: text(entry.near),
    label: flag(entry.label, false),
    ...readHandling(entry),
    ...(kind === "outline" && points.length ? { points } : {}),
  };
}

/**
 * @param {Record<string, any>} entry
 * @param {DrawerDraft[]} before
 * @param {Thing[]} things
 * @returns {DrawerDraft}
 */
function readDrawer(entry, before, things) {
  const keys = new Set(things.map((thing) => thing.key));
  /** @type {FixedTray[]} */
  const trays = [];
  for (const fixed of list(entry.trays).map(record)) {
    const tray = record(fixed.tray);
    if (!isPair(tray.at) || !isPair(tray.cells) || typeof tray.height !== "number") continue;
    trays.push({
      key: keyOf(fixed.key, trays, "p"),
      pinned: flag(fixed.pinned, true),
      tray: /** @type {FixedTray["tray"]} */ ({ ...tray, name: text(tray.name, "tray") }),
      hold: list(fixed.hold).map(record).filter((held) => keys.has(held.thing)).map((held) => ({
        thing: text(held.thing),
        count: typeof held.count === "number" ? held.count : null,
        compartment: isPair(held.compartment) ? held.compartment : [0, 0],
      })),
    });
  }
  return {
    key: keyOf(entry.key, before, "d"),
    name: text(entry.name, String(before.length + 1)),
    width: texts(entry.width, 3),
    depth: texts(entry.depth, 3),
    height: text(entry.height),
    corner: text(entry.corner),
    copies: count(entry.copies),
    obstacles: list(entry.obstacles).map(record).map((o) => ({ x: text(o.x), y: text(o.y), w: text(o.w), d: text(o.d) })),
    trays,
    bare: flag(entry.bare, false),
    panels: Array.isArray(entry.panels) ? entry.panels.filter((panel) => typeof panel === "object" && panel !== null) : null,
  };
}

/**
 * @param {unknown} key
 * @param {{key: string}[]} before
 * @param {string} letter
 */
const keyOf = (key, before, letter) => (typeof key === "string" && key && !before.some((entry) => entry.key === key) ? key : freeKey(before, letter));
