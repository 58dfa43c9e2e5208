// A silhouette being made of files: what is sent, how far the service is, what it read, or why it refused.

import { signal } from "@preact/signals";

import { follow } from "../jobs/job_events.js";
import { t } from "../language/messages.js";
import { faults, randomId, request, requestJson, RequestRefused } from "../service/service.js";
import { length } from "../language/units.js";
import { beginEditing } from "./editor.js";

/** @typedef {import("./rings.js").Ring} Ring */
/** @typedef {"photo" | "drawing" | "model"} Kind */
/** @typedef {{name: string, thickness: string, body: "stepped" | "flat" | "round", bar: string, unit: string, layer: string, colour: string, outline: string, pose: string, depth: string, repair: boolean}} Options */
/** @typedef {{text: string, reason: string | null, pointer: string | null}} Refusal */
/** @typedef {import("../documents").Silhouette} Silhouette */
/** @typedef {import("./editor_view.js").Picture} Picture */

/** Formats by the end of a file's name; the service looks at the content as well. @type {Record<string, Kind>} */
const KINDS = { jpg: "photo", jpeg: "photo", png: "photo", webp: "photo", heic: "photo", heif: "photo", svg: "drawing", dxf: "drawing", stl: "model", "3mf": "model", obj: "model" };

/** Names of all files that can be chosen. */
export const ACCEPTED = [...Object.keys(KINDS).map((end) => `.${end}`), "image/*"].join(",");

/** @returns {Options} */
const blank = () => ({ name: "", thickness: "", body: "stepped", bar: "", unit: "", layer: "", colour: "", outline: "", pose: "", depth: "", repair: false });

/** The files to be sent: one, or two photos. @type {import("@preact/signals").Signal<File[]>} */
export const files = signal([]);

export const options = signal(blank());

/** @type {import("@preact/signals").Signal<"choose" | "sending" | "queued" | "running" | "shown">} */
export const phase = signal("choose");

/** @type {import("@preact/signals").Signal<Refusal | null>} */
export const refusal = signal(null);

/** @type {import("@preact/signals").Signal<Silhouette | null>} */
export const read = signal(null);

/** The rectified photo; with the outline as it was read where nobody corrects it. @type {import("@preact/signals").Signal<Picture | null>} */
export const picture = signal(null);

/** Ends what is being followed. @type {AbortController | null} */
let running = null;

/** @param {File} file @returns {Kind | null} */
export function kindOf(file) {
  const end = /\.([^.]+)$/.exec(file.name)?.[1]?.toLowerCase() ?? "";
  if (KINDS[end]) return KINDS[end];
  return file.type.startsWith("image/") ? "photo" : null;
}

/** @param {Partial<Options>} part */
export const setOptions = (part) => { options.value = { ...options.value, ...part }; };

/** Take a file, as the first one or as a second photo. @param {File} file @param {number} n */
export function takeFile(file, n = 0) {
  const same = kindOf(file) === "photo" && files.value[0] && kindOf(files.value[0]) === "photo";
  files.value = n === 1 && same ? [/** @type {File} */ (files.value[0]), file] : [file];
  refusal.value = null;
  phase.value = "choose";
}

/** Begin anew; the options stay if a further thing is to be read. @param {boolean} [all] */
export function closeReading(all = true) {
  running?.abort();
  running = null;
  if (picture.value) URL.revokeObjectURL(picture.value.url);
  [files.value, refusal.value, read.value, picture.value] = [[], null, null, null];
  phase.value = "choose";
  options.value = all ? blank() : { ...blank(), bar: options.value.bar };
}

/** The options as the request has them: only those that were given and that the kind of file has. @param {Kind} kind @param {string[]} tags */
function optionsFor(kind, tags) {
  const given = options.value;
  const lengths = { photo: /** @type {const} */ (["thickness", "bar"]), drawing: /** @type {const} */ (["thickness"]), model: /** @type {const} */ (["depth"]) }[kind];
  const texts = { photo: [], drawing: /** @type {const} */ (["unit", "layer", "colour"]), model: /** @type {const} */ (["unit"]) }[kind];
  /** @type {Record<string, any>} */
  const made = {};
  if (given.name.trim()) made.name = given.name.trim().slice(0, 80);
  if (tags.length) made.tags = tags;
  for (const key of lengths) if (given[key].trim()) made[key] = length(given[key]);
  for (const key of texts) if (given[key].trim()) made[key] = given[key].trim();
  if (kind === "photo") made.body = given.body;
  if (kind === "drawing" && given.outline.trim()) made.outline = Number(given.outline);
  if (kind === "model" && given.pose) made.pose = Number(given.pose);
  if (kind === "model" && given.repair) made.repair = true;
  return made;
}

/** Names of files that say their format: a camera's picture may have none. @param {File} file */
const nameOf = (file) => (/\.[^.]+$/.test(file.name) ? file.name : `photo.${file.type.split("/")[1] ?? "jpg"}`);

/**
 * Send the files, and follow the silhouette until it has been read.
 * @param {string[]} [tags] what it is to be found by
 */
export async function send(tags = []) {
  const [first] = files.value;
  const kind = first ? kindOf(first) : null;
  if (!kind) return;
  refusal.value = null;
  phase.value = "sending";
  const form = new FormData();
  for (const file of files.value) form.append("file", file, nameOf(file));
  form.append("options", JSON.stringify(optionsFor(kind, tags)));
  await attempt(async () => {
    const headers = { "Idempotency-Key": randomId() };
    const made = await (await request("POST", "v1/silhouettes", { body: form, headers })).json();
    // with tags it is for another screen, which corrects the outline
    await followReading(made.id, tags.length > 0);
  });
}

/** Show a silhouette as soon as it has been read. @param {string} id */
export async function openReading(id) {
  await attempt(() => followReading(id, false));
}

/** @param {() => Promise<void>} act */
async function attempt(act) {
  running?.abort();
  running = new AbortController();
  const { signal: own } = running;
  try {
    await act();
  } catch (error) {
    if (own.aborted) return;
    phase.value = "choose";
    refusal.value = error instanceof RequestRefused ? refusalOf(error.problem) : { text: t("no_connection"), reason: null, pointer: null };
  }
}

/** @param {string} id @param {boolean} lines whether the picture shows the outline as it was read */
async function followReading(id, lines) {
  const own = /** @type {AbortController} */ (running);
  const path = `v1/silhouettes/${id}`;
  const take = (/** @type {Silhouette} */ { state }) => { if (state === "queued" || state === "running") phase.value = state; };
  phase.value = "queued";
  const ended = await follow(path, { take, lost: () => {}, signal: own.signal });
  if (!ended || own.signal.aborted) return;
  /** @type {Silhouette} */
  const made = await requestJson("GET", path, { signal: own.signal });
  if (!made.outline) {
    phase.value = "choose";
    refusal.value = refusalOf(made.problem ?? {});
    return;
  }
  const shown = made.links.overlay ? await pictureOf(`${path}/overlay.png${lines || !made.links.photo ? "" : "?lines=false"}`, made.outline.details, own.signal) : null;
  if (own.signal.aborted) return;
  if (picture.value) URL.revokeObjectURL(picture.value.url);
  beginEditing([made.outline.outer, ...made.outline.holes]);
  [picture.value, read.value] = [shown, made];
  phase.value = "shown";
}

/**
 * The rectified photo, with its place in the frame of the outline.
 * @param {string} path of the picture
 * @param {Record<string, any>} details
 * @param {AbortSignal} own
 * @returns {Promise<Picture>}
 */
async function pictureOf(path, details, own) {
  const blob = await (await request("GET", path, { signal: own })).blob();
  const image = await createImageBitmap(blob);
  const perMm = Number(details.overlay_per_mm);
  return { url: URL.createObjectURL(blob), left: Number(details.overlay_left), top: Number(details.overlay_top), width: image.width / perMm, depth: image.height / perMm };
}

/** Reasons that the page has words of its own for, in its language; of the others it shows the service's. */
const REASONS = ["too-few-markers", "sheet-cut-off", "thing-across-border", "blurred", "sheet-curled", "too-tilted", "camera-too-low", "wrong-print-scale", "low-contrast", "several-things", "thing-moved", "not-a-photo", "photo-too-small"];

/** @param {import("../documents").Problem} problem @returns {Refusal} */
export function refusalOf(problem) {
  const { reason = null } = problem;
  const all = faults(problem);
  const own = reason !== null && REASONS.includes(reason);
  const text = own ? t(`refused_${reason.replaceAll("-", "_")}`) : all.map((fault) => fault.text).join(" ");
  return { text, reason, pointer: all.find((fault) => fault.pointer)?.pointer ?? null };
}

/**
 * Store a corrected outline as a silhouette of its own; return its id.
 * @param {{points: number[][], holes: number[][][]}} corners
 * @param {string} name
 * @param {number | null} depth
 */
export async function storeCorrected(corners, name, depth) {
  const uncertainty = read.value?.outline?.uncertainty ?? 0;
  const body = { name, ...corners, ...(depth === null ? {} : { depth }), uncertainty };
  return (await requestJson("POST", "v1/silhouettes", { body, headers: { "Idempotency-Key": randomId() } })).id;
}
