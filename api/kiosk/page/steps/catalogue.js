// The catalogue of standard items, read once from the service.

import { computed, signal } from "@preact/signals";

import { hasMessage, t } from "../language/messages.js";
import { requestJson } from "../service/service.js";

/** @typedef {import("../documents").CatalogueEntry} Entry */

/** Its entries; none until it has been read. @type {import("@preact/signals").Signal<Entry[]>} */
export const catalogue = signal([]);

/** Categories by the ids of standard items. */
export const categories = computed(() => new Map(catalogue.value.map(({ id, category }) => [id, category])));

export async function loadCatalogue() {
  catalogue.value = (await requestJson("GET", "v1/catalogue")).things;
}

/** A category in the page's language, or as the catalogue has it. @param {string} category */
export function categoryName(category) {
  const key = category.replaceAll(" ", "_");
  return hasMessage(`category_${key}`) ? t(`category_${key}`) : category;
}
