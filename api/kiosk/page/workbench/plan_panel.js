// The plan: figures with what the last change did to them, tools, the drawers, and what the service says about them.

import { signal } from "@preact/signals";
import { render } from "preact";

import { canRedo, canUndo, current, isBlank, redo, replaceDraft, revision, undo } from "../draft/draft.js";
import { byId } from "../elements/dom.js";
import { exampleDraft } from "../draft/example.js";
import { html } from "../elements/html.js";
import { sidesText, t } from "../language/messages.js";
import { figures, fresh, hint, latest, state } from "../plan/plan.js";
import { BED_SIZES, chooseBed } from "../steps/printer.js";
import { shown } from "../language/units.js";
import { duration, gramsText, moneyText } from "../language/numbers.js";
import { addTray, hasLoose, layOut, proposal, verdictText } from "./bench.js";
import { ChangesView } from "../plan/changes_view.js";
import { widthOf } from "../plan/drawer_map.js";
import { OfferView } from "../plan/offer_view.js";
import { DrawerBench } from "./drawer_bench.js";
import { GroupsView } from "./groups_view.js";
import { TrayPanel } from "./tray_panel.js";

/** Px that a drawing may be wide at zoom 1. */
const room = signal(0);

const ZOOMS = [1, 1.5, 2, 3];
const zoom = signal(0);

/** Draw the plan into its place, and draw it again when its width changes. */
export function beginPlan() {
  const node = byId("plan-body");
  const watcher = new ResizeObserver(() => { room.value = Math.max(0, node.clientWidth); });
  watcher.observe(node);
  room.value = node.clientWidth;
  render(html`<${Panel} />`, node);
  render(html`<${Sums} />`, byId("plan-sums"));
  const sheet = byId("sheet");
  sheet.addEventListener("click", () => {
    const open = byId("plan").classList.toggle("up");
    sheet.setAttribute("aria-expanded", String(open));
  });
}

/** @param {string} id @param {string} key @param {() => void} press @param {Record<string, any>} [more] */
const tool = (id, key, press, more = {}) => html`<button type="button" id=${id} class="quiet" onClick=${press} ...${more}>${t(key)}</button>`;

function Sums() {
  const sums = figures.value;
  const ready = state.value === "ready";
  if (!sums) return html`<p class="hint" id="plan-state">${hint()}</p>`;
  const { now, change } = sums;
  const rows = [
    ["runs", t("sum_runs"), String(now.runs), change.runs !== 0 && signed(change.runs, String(Math.abs(change.runs)))],
    ["time", t("sum_time"), now.seconds === null ? "–" : duration(now.seconds), change.seconds !== null && Math.abs(change.seconds) >= 30 && signed(change.seconds, duration(Math.abs(change.seconds)))],
    ["filament", t("sum_filament"), now.grams === null ? "–" : gramsText(now.grams), change.grams !== null && Math.abs(change.grams) >= 0.5 && signed(change.grams, gramsText(Math.abs(change.grams)))],
    now.cost !== null && ["cost", t("sum_cost"), moneyText(now.cost), change.cost !== null && Math.abs(change.cost) >= 0.005 && signed(change.cost, moneyText(Math.abs(change.cost)))],
  ].filter(Boolean);
  return html`<dl class=${`sums ${fresh.value && ready ? "" : "stale"}`} id="sums" aria-live="off">
    ${rows.map((row) => {
      const [id, title, value, by] = /** @type {string[]} */ (row);
      return html`<div key=${id}><dt>${title}</dt><dd id=${`sum-${id}`}>${value}${by && html` <small class="change">${by}</small>`}</dd></div>`;
    })}
  </dl>
  ${!ready && html`<p class="hint" id="plan-state" role="status">${hint()}</p>`}`;
}

/** @param {number} number @param {string} text */
const signed = (number, text) => `${number > 0 ? "+" : "−"}${text}`;

function Panel() {
  const plan = latest.value;
  const undoable = revision.value >= 0 && canUndo();
  const tools = html`<div class="plan-tools" role="toolbar" aria-label=${t("plan_tools")}>
    ${tool("undo", "undo", undo, { disabled: !undoable })}
    ${tool("redo", "redo", redo, { disabled: !canRedo() })}
    ${plan && html`
      ${tool("add-tray", "add_tray", () => addTray(Math.min(current, plan.document.drawers.length - 1)))}
      ${tool("lay-out", "lay_out", layOut, { disabled: !hasLoose() })}
      <button type="button" id="zoom-out" class="quiet" aria-label=${t("zoom_out")} disabled=${zoom.value === 0} onClick=${() => { zoom.value -= 1; }}>−</button>
      <button type="button" id="zoom-in" class="quiet" aria-label=${t("zoom_in")} disabled=${zoom.value === ZOOMS.length - 1} onClick=${() => { zoom.value += 1; }}>+</button>`}
  </div>`;
  if (!plan) return html`${tools}<${Waiting} />`;
  const scale = ZOOMS[zoom.value] ?? 1;
  const { document } = plan;
  const now = proposal.value;
  return html`${tools}
    <${OfferView} id="offer" />
    <div class=${`drawings ${fresh.value ? "" : "stale"}`}>
      ${document.drawers.map((drawer, d) => html`<figure key=${d}>
        <${DrawerBench} d=${d} px=${Math.round(widthOf(drawer, room.value) * scale)} />
        <figcaption>${caption(drawer)}</figcaption>
      </figure>`)}
    </div>
    <${GroupsView} />
    <p class=${`verdict ${now?.verdict.kind ?? ""}`} id="verdict">${now ? verdictText(now.verdict) : ""}</p>
    <${TrayPanel} px=${room.value} />
    <p class="sum" id="plan-sum">${[t("pieces", { count: document.parts.reduce((sum, part) => sum + part.quantity, 0) }), t("runs_count", { count: document.runs.length })].join(", ")}</p>
    <${ChangesView} changes=${document.changes} />
    ${document.unplaced.length > 0 && html`<div class="problems"><h3>${t("unplaced")}</h3>
      <ul>${document.unplaced.map((item) => html`<li>${`${item.count} × ${item.item}: ${[item.reason, item.remedy].filter(Boolean).join(" ")}`}</li>`)}</ul></div>`}
    ${document.warnings.length > 0 && html`<ul class="warnings">${document.warnings.map((warning) => html`<li>${warning.message}</li>`)}</ul>`}`;
}

/** What is needed before there is a plan. */
function Waiting() {
  if (state.value === "bed") {
    const choose = (/** @type {number} */ size) => () => {
      chooseBed(size);
      byId("plan-body").focus({ preventScroll: true }); // the pressed button disappears
    };
    return html`<p class="hint">${t("bed_ask")}</p><div class="chips" role="group" aria-label=${t("bed_sizes")}>
      ${BED_SIZES.map((size) => html`<button type="button" id=${`plan-bed-${size}`} onClick=${choose(size)}>${shown(size)}</button>`)}</div>`;
  }
  const blank = revision.value >= 0 && isBlank();
  return html`<p class="hint">${hint()}</p>
    ${blank && html`<p>${t("first_run")}</p><button type="button" id="example" onClick=${() => replaceDraft(exampleDraft())}>${t("example")}</button>`}`;
}

/** @param {import("../documents").DrawerPlan} drawer */
const caption = (drawer) => `${drawer.name}: ${drawer.cells.across[0] ? `${sidesText(drawer.cells.across)} ${t("cells")}, ` : ""}${drawer.copies > 1 ? `${drawer.copies} ×, ` : ""}${sidesText(drawer.size.map(shown))}`;

/** Undo and redo by their keys, outside fields, which have their own. @param {KeyboardEvent} event */
export function historyKeys(event) {
  const field = /** @type {Element} */ (event.target).closest("input, textarea, select");
  if (!(event.ctrlKey || event.metaKey) || field) return;
  const key = event.key.toLowerCase();
  if (key === "z" && !event.shiftKey) undo();
  else if (key === "y" || (key === "z" && event.shiftKey)) redo();
  else return;
  event.preventDefault();
}
