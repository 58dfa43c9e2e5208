// The groups of a draft's things, with the tints that their trays have on the plan.

import { computed } from "@preact/signals";

import { catalogue } from "../steps/catalogue.js";
import { draft, revision } from "../draft/draft.js";
import { html } from "../elements/html.js";
import { t } from "../language/messages.js";
import { groupsOf, tintsOf } from "../plan/group_tints.js";

/** Categories by the ids of standard items. */
const categories = computed(() => new Map(catalogue.value.map(({ id, category }) => [id, category])));

/** The group of each thing, by its key. */
export const groups = computed(() => groupsOf(revision.value >= 0 ? draft.things : [], categories.value));

/** The tint of each group. */
export const tints = computed(() => tintsOf(groups.value));

export function GroupsView() {
  if (tints.value.size === 0) return null;
  return html`<ul class="groups" aria-label=${t("groups_of_things")}>
    ${[...tints.value].map(([name, tint]) => html`<li key=${name}><span class=${`swatch tint-${tint}`} aria-hidden="true"></span>${name}</li>`)}
  </ul>`;
}
