// The groups of things with the tints that their trays have.

import { html } from "../elements/html.js";
import { t } from "../language/messages.js";
import { categoryName } from "../steps/catalogue.js";

/** @param {{tints: Map<string, number>}} props */
export function GroupList({ tints }) {
  if (tints.size === 0) return null;
  return html`<ul class="groups" aria-label=${t("groups_of_things")}>
    ${[...tints].map(([name, tint]) => html`<li key=${name}><span class=${`swatch tint-${tint}`} aria-hidden="true"></span>${categoryName(name)}</li>`)}
  </ul>`;
}
