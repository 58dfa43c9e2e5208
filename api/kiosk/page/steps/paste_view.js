// A list pasted from a spreadsheet or read from a CSV file, with what was understood of it before it is added.

import { signal } from "@preact/signals";

import { html } from "../elements/html.js";
import { sidesText, t } from "../language/messages.js";
import { unitNow } from "../language/units.js";
import { readList } from "./pasted_list.js";

const text = signal("");

/**
 * @param {{add: (things: {name: string, kind: "box" | "cylinder", sizes: string[], count: number}[]) => void}} props
 */
export function PasteList({ add }) {
  const rows = text.value.trim() ? readList(text.value) : [];
  const good = rows.filter((row) => row.fault === null);
  const take = async (/** @type {any} */ event) => {
    const [file] = event.target.files;
    if (file) text.value = await file.text();
  };
  const submit = () => {
    add(good.map(({ name, kind, sizes, count }) => ({ name, kind, sizes, count })));
    text.value = "";
  };
  return html`<details class="paste" id="paste">
    <summary>${t("paste_title")}</summary>
    <p class="hint" id="paste-hint">${t("paste_hint", { unit: t(`unit_${unitNow()}`) })}</p>
    <div class="field"><label for="paste-text">${t("paste_list")}</label>
      <textarea id="paste-text" rows="5" aria-describedby="paste-hint" value=${text.value} onInput=${(/** @type {any} */ event) => { text.value = event.target.value; }}></textarea></div>
    <div class="field"><label for="paste-file">${t("paste_file")}</label><input id="paste-file" type="file" accept=".csv,.tsv,.txt,text/csv" onChange=${take} /></div>
    ${rows.length > 0 && html`<div class="scroll" tabindex="0" role="region" aria-label=${t("paste_preview")}><table id="paste-preview"><caption>${t("paste_understood", { good: good.length, count: rows.length })}</caption>
      <thead><tr>${["line", "name", "shape", "sizes", "count"].map((column) => html`<th scope="col">${t(`column_${column}`)}</th>`)}</tr></thead>
      <tbody>${rows.map((row) => html`<tr class=${row.fault ? "bad" : ""}><td>${row.line}</td><td>${row.name}</td>
        <td>${t(`kind_${row.kind}`)}</td><td>${sidesText(row.sizes.filter(Boolean))}</td><td>${row.fault ? t(`paste_${row.fault}`) : row.count}</td></tr>`)}</tbody></table></div>`}
    <button type="button" id="paste-add" class="main" disabled=${good.length === 0} onClick=${submit}>${t("paste_add", { count: good.length })}</button>
  </details>`;
}
