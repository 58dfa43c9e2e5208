// The catalogue of standard items, read once from the service.

import { signal } from "@preact/signals";

import { requestJson } from "../service/service.js";

/** @typedef {import("../documents").CatalogueEntry} Entry */

/** Its entries; none until it has been read. @type {import("@preact/signals").Signal<Entry[]>} */
export const catalogue = signal([]);

export async function loadCatalogue() {
  catalogue.value = (await requestJson("GET", "v1/catalogue")).things;
}
