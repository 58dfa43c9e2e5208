// From a spec, such as one that was saved, back to a draft. Says what of it the page has no field for.

import { blankDraft, blankDrawer, freeKey, OWN_KINDS, SETTINGS } from "./draft_format.js";
import { handlingOf, SHAPE_FIELDS } from "./thing_shape.js";

/** @typedef {import("./draft_format.js").Draft} Draft */
/** @typedef {Record<string, any>} Fields */

/** Fields of each kind of object that the page reads. */
const READ = {
  spec: ["spec", "name", "drawers", "items", "printer", "printers", "material", "coupon", "grid", "printing", "schedule", "layout"],
  drawer: ["name", "width", "depth", "height", "corner_radius", "copies", "obstacles", "trays", "items", "fill", "floor", "panels"],
  item: ["name", "shape", "count", "access", "storage", "group", "near", "label", "pose", "nest", "soft"],
};

/** Fields of settings that the page has; the others are kept as they are. @type {Record<string, string[]>} */
const SHOWN = { grid: ["half_cells"], printer: ["bed", "nozzle", "layer"], material: ["name", "cost_per_kg"], printing: ["max_run_hours"], schedule: [] };

/** Width and depth of corners; empty if they are those of a silhouette. @param {[number, number][] | undefined} points */
const sidesOf = (points) => [0, 1].map((side) => {
  const places = (points ?? []).map((point) => point[side] ?? 0);
  return places.length ? String(Number((Math.max(...places) - Math.min(...places)).toFixed(1))) : "";
});

/** @param {unknown} length mm, or a text with its unit */
const text = (length) => (typeof length === "number" || typeof length === "string" ? String(length) : "");

/** @param {unknown} lengths one, or several */
const three = (lengths) => [0, 1, 2].map((n) => text((Array.isArray(lengths) ? lengths : [lengths])[n]));

/**
 * @param {any} spec
 * @returns {{draft: Draft, left: string[]} | null} `left` are the JSON Pointers of what the page cannot show; null for no spec
 */
export function draftOf(spec) {
  if (typeof spec !== "object" || spec === null || !Array.isArray(spec.drawers) || !spec.drawers.length) return null;
  /** @type {string[]} */
  const left = [];
  const skip = (/** @type {string} */ pointer, /** @type {Fields} */ fields, /** @type {string[]} */ read) => {
    for (const field of Object.keys(fields)) if (!read.includes(field)) left.push(`${pointer}/${field}`);
  };
  const draft = blankDraft();
  draft.drawers = [];
  skip("", spec, READ.spec);
  /** @type {Map<string, string>} */
  const keys = new Map();
  const items = [
    ...(spec.items ?? []).map((/** @type {Fields} */ item, /** @type {number} */ i) => [item, `/items/${i}`]),
    ...spec.drawers.flatMap((/** @type {Fields} */ drawer, /** @type {number} */ d) => (drawer.items ?? []).map((/** @type {Fields} */ item, /** @type {number} */ i) => [item, `/drawers/${d}/items/${i}`])),
  ];
  for (const [item, pointer] of items) {
    const shape = item.shape ?? {};
    const kind = ["silhouette", "polygon"].includes(shape.kind) ? "outline" : shape.kind;
    if (!["standard", "outline", ...OWN_KINDS].includes(kind)) {
      left.push(`${pointer}/shape`);
      continue;
    }
    skip(pointer, item, READ.item);
    const key = freeKey(draft.things, "t");
    keys.set(item.name, key);
    const round = () => (SHAPE_FIELDS[shape.kind] ?? []).map((field) => text(shape[field]));
    const sizes = {
      box: () => three(shape.size),
      standard: () => (shape.length === undefined ? [] : [text(shape.length)]),
      outline: () => [...sidesOf(shape.points), text(shape.height)],
    };
    draft.things.push({
      key, kind, id: text(shape.id), name: text(item.name), count: item.count ?? 1, access: item.access ?? "sometimes",
      storage: item.storage ?? "", group: item.group ?? "", near: item.near ?? "", label: Boolean(item.label), sizes: (sizes[/** @type {"box"} */ (kind)] ?? round)(),
      ...handlingOf(item),
      ...(Array.isArray(shape.points) ? { points: shape.points } : {}),
    });
  }
  for (const thing of draft.things) thing.near = keys.get(thing.near) ?? "";
  spec.drawers.forEach((/** @type {Fields} */ drawer, /** @type {number} */ d) => {
    skip(`/drawers/${d}`, drawer, READ.drawer);
    const made = blankDrawer(text(drawer.name) || String(d + 1), `d${d + 1}`);
    made.width = three(drawer.width);
    made.depth = three(drawer.depth);
    made.height = text(drawer.height);
    made.corner = text(drawer.corner_radius);
    made.copies = drawer.copies ?? 1;
    if (drawer.fill) draft.fill = true;
    made.bare = drawer.floor === "none";
    made.panels = Array.isArray(drawer.panels) && drawer.panels.length ? drawer.panels : null;
    (drawer.obstacles ?? []).forEach((/** @type {Fields} */ obstacle, /** @type {number} */ o) => {
      if (!Array.isArray(obstacle.at) || !Array.isArray(obstacle.size)) left.push(`/drawers/${d}/obstacles/${o}`);
      else made.obstacles.push({ x: text(obstacle.at[0]), y: text(obstacle.at[1]), w: text(obstacle.size[0]), d: text(obstacle.size[1]) });
    });
    (drawer.trays ?? []).forEach((/** @type {Fields} */ tray, /** @type {number} */ n) => {
      const { hold = [], ...fields } = tray;
      if (!Array.isArray(tray.at)) {
        left.push(`/drawers/${d}/trays/${n}`);
        return;
      }
      made.trays.push({
        key: `p${n + 1}`,
        pinned: true,
        tray: /** @type {any} */ (fields),
        hold: hold.filter((/** @type {Fields} */ held) => keys.has(held.item))
          .map((/** @type {Fields} */ held) => ({ thing: keys.get(held.item) ?? "", count: held.count ?? null, compartment: held.compartment ?? [0, 0] })),
      });
    });
    draft.drawers.push(made);
  });
  readSettings(spec, draft);
  const { effort, ...layout } = spec.layout ?? {};
  skip("/layout", { ...layout, ...(effort === "thorough" ? { effort } : {}) }, ["share"]); // jobs of the page say quick or normal
  return { draft, left };
}

/** Read printer, filament and what holds for all drawers. @param {Fields} spec @param {Draft} made */
function readSettings(spec, made) {
  const draft = made;
  for (const key of SETTINGS) {
    const left = Object.entries(spec[key] ?? {}).filter(([name, value]) => !SHOWN[key]?.includes(name) && value !== null);
    if (left.length) draft.rest[key] = Object.fromEntries(left);
  }
  const printers = /** @type {Fields[]} */ (Array.isArray(spec.printers) ? spec.printers : []);
  if (printers.length) draft.rest.printers = printers;
  const { printer = printers[0] ?? {}, material = {} } = spec;
  draft.bed = three(printer.bed);
  draft.nozzle = text(printer.nozzle) || draft.nozzle;
  draft.layer = text(printer.layer) || draft.layer;
  draft.material = text(material.name) || draft.material;
  draft.price = text(material.cost_per_kg);
  draft.hours = text(spec.printing?.max_run_hours);
  draft.half = Boolean(spec.grid?.half_cells);
  draft.coupon = spec.coupon ?? true;
  draft.share = spec.layout?.share ?? draft.share;
}
