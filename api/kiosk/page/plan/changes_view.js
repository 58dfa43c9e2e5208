// What a changed layout does with the pieces that are printed: which stay, move, are printed and retired.

import { changed, draft } from "../draft/draft.js";
import { html } from "../elements/html.js";
import { t } from "../language/messages.js";

/** @typedef {import("../documents").Changes} Changes */
/** @typedef {import("../documents").Pieces} Pieces */

/** @param {Pieces[]} entries */
const total = (entries) => entries.reduce((sum, entry) => sum + entry.count, 0);

/**
 * Return what happens to how many pieces: key, title, number and the entries.
 * @param {Changes} changes
 * @returns {[key: string, title: string, pieces: number, entries: Pieces[]][]}
 */
export const changeFacts = (changes) => [
  ["kept", t("change_kept"), total(changes.kept), changes.kept],
  ["moved", t("change_moved"), total(changes.moved), changes.moved],
  ["new", t("change_new"), total(changes.new), changes.new],
  ["retired", t("change_retired"), total(changes.retired), changes.retired],
];

/** @param {{changes: Changes | null | undefined}} props */
export function ChangesView({ changes }) {
  if (!draft.previous || !changes) return null;
  const forget = () => {
    draft.previous = null;
    changed("trays");
  };
  return html`<section class="changes" id="changes" aria-labelledby="changes-title">
    <h3 id="changes-title">${t("changes_title", { name: draft.previous.name })}</h3>
    <dl class="sums">${changeFacts(changes).map(([key, title, pieces]) => html`<div key=${key}><dt>${title}</dt><dd id=${`change-${key}`}>${pieces}</dd></div>`)}</dl>
    <details><summary>${t("changes_list")}</summary><ul>${changeFacts(changes).flatMap(([key, title, , entries]) => entries.map((entry) => html`<li>${`${title}: ${entry.count > 1 ? `${entry.count} × ` : ""}${entry.mark} ${entry.name}${key === "moved" ? whereTo(entry) : ""}`}</li>`))}</ul></details>
    <button type="button" id="forget-printed" class="quiet" onClick=${forget}>${t("forget_printed")}</button>
  </section>`;
}

/** @param {any} entry */
function whereTo({ before, now }) {
  const place = (/** @type {import("../documents").Stand} */ stand) => (stand.cell ? t("place", { column: stand.cell[0] + 1, row: stand.cell[1] + 1 }) : stand.drawer);
  return ` (${place(before)} → ${place(now)})`;
}
