// What is printed already: the manifest of the job that a drawer is changed from, and its spec as a draft.

import { draft, replaceDraft } from "../draft/draft.js";
import { requestJson, RequestRefused } from "../service/service.js";
import { draftOf } from "../draft/spec_to_draft.js";

/** @typedef {import("../documents").Manifest} Manifest */

/** The manifest that was read last. @type {{job: string, manifest: Manifest} | null} */
let read = null;

/**
 * Return the manifest of the job whose pieces are used again; null if there is none, or it has been removed.
 * @param {AbortSignal} [signal]
 * @returns {Promise<Manifest | null>}
 */
export async function previousManifest(signal) {
  if (!draft.previous) return null;
  const { job } = draft.previous;
  if (read?.job === job) return read.manifest;
  try {
    const manifest = await requestJson("GET", `v1/jobs/${job}/manifest`, signal ? { signal } : {});
    read = { job, manifest };
    return manifest;
  } catch (error) {
    if (!(error instanceof RequestRefused) || error.status !== 404) throw error;
    draft.previous = null;
    return null;
  }
}

/**
 * Open the spec of a finished job, so that it is changed and what is printed is used again.
 * @param {string} job
 * @returns {Promise<string[]>} JSON Pointers of what the page has no field for
 */
export async function changeJob(job) {
  const spec = await requestJson("GET", `v1/jobs/${job}/spec`);
  const made = draftOf(spec);
  if (!made) return [];
  replaceDraft({ ...made.draft, previous: { job, name: String(spec.name ?? "") } });
  return made.left.filter((pointer) => pointer !== "/previous");
}
