// The groups of a draft's things, with the tints that their trays have on the plan.

import { computed } from "@preact/signals";

import { categories } from "../steps/catalogue.js";
import { draft, revision } from "../draft/draft.js";
import { html } from "../elements/html.js";
import { groupsOf, tintsOf } from "../plan/group_tints.js";
import { GroupList } from "../plan/group_list.js";

/** The group of each thing, by its key. */
export const groups = computed(() => groupsOf(revision.value >= 0 ? draft.things : [], categories.value));

/** The tint of each group. */
export const tints = computed(() => tintsOf(groups.value));

export const GroupsView = () => html`<${GroupList} tints=${tints.value} />`;
