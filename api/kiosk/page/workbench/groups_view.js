// The groups of a draft's things, with the tints that their trays have on the plan.

import { computed, signal } from "@preact/signals";

import { draft, revision } from "../draft.js";
import { html } from "../html.js";
import { t } from "../messages.js";
import { ConnectionLost, requestJson, RequestRefused } from "../service.js";
import { groupsOf, tintsOf } from "./group_tints.js";

/** Categories by the ids of standard items. @type {import("@preact/signals").Signal<Map<string, string>>} */
const categories = signal(new Map());

/** The group of each thing, by its key. */
export const groups = computed(() => groupsOf(revision.value >= 0 ? draft.things : [], categories.value));

/** The tint of each group. */
export const tints = computed(() => tintsOf(groups.value));

/** Read the categories of standard items; without them only groups that were given are tinted. */
export async function readCategories() {
  try {
    const { things } = await requestJson("GET", "v1/catalogue");
    categories.value = new Map(things.map((/** @type {{id: string, category: string}} */ entry) => [entry.id, entry.category]));
  } catch (error) {
    if (!(error instanceof ConnectionLost || error instanceof RequestRefused)) throw error;
  }
}

export function GroupsView() {
  if (tints.value.size === 0) return null;
  return html`<ul class="groups" aria-label=${t("groups_of_things")}>
    ${[...tints.value].map(([name, tint]) => html`<li key=${name}><span class=${`swatch tint-${tint}`} aria-hidden="true"></span>${name}</li>`)}
  </ul>`;
}
