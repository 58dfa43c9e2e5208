// A divider of the selected tray: dragged, moved by keys, or put to a length that is typed.

import { signal } from "@preact/signals";

import { html } from "../../elements/html.js";
import { t } from "../../language/messages.js";
import { length, shown, typed } from "../../language/units.js";
import { WALL } from "../../plan/planned_trays.js";
import { bounds, snappedDivider } from "./dividers.js";

/** @typedef {import("./compartments.js").Inner} Inner */
/** @typedef {import("../../draft/draft_format.js").FixedTray} FixedTray */

/** Half of the width by which a divider is grabbed, px: a finger has to hit it. */
const REACH = 22;

/** Px within which a divider snaps. */
const SNAP = 7;

/** Height of a line of text, px, and the width of a letter as a share of its height. */
export const LINE = 24;
export const SIZE = 13;
export const LETTER = 0.56;

/** Number of the divider that is selected. */
export const divider = signal(/** @type {number | null} */ (null));

/** The divider that is being dragged. */
export const dragged = signal(/** @type {{n: number, at: number} | null} */ (null));

/** @type {Record<string, number>} mm by which a key moves a divider */
const STEPS = { ArrowLeft: -1, ArrowDown: -1, ArrowRight: 1, ArrowUp: 1, PageDown: -10, PageUp: 10 };

export const unitOf = () => t(shown(1).endsWith("mm") ? "unit_mm" : "unit_in");

/** A finger on a divider or thing drags it and does not scroll. @param {TouchEvent} event */
export function holdTouch(event) {
  if (/** @type {Element} */ (event.target).closest("[data-holds]")) event.preventDefault();
}

/** @param {HTMLInputElement} field @param {(at: number) => void} set */
export function typedPlace(field, set) {
  const made = length(field.value);
  const mm = typeof made === "number" ? made : Number.parseFloat(made) * (made.endsWith("in") ? 25.4 : Number.NaN);
  if (Number.isFinite(mm)) set(mm);
}

/**
 * The clear widths on both sides of a divider.
 * @param {FixedTray} entry
 * @param {number} n
 * @param {Inner} inner
 * @returns {[number, number]}
 */
export function beside(entry, n, inner) {
  const wall = entry.tray.wall ?? WALL;
  const { from, to } = bounds(entry.tray, n, inner);
  const at = entry.tray.dividers?.[n]?.at ?? 0;
  return [at - from - wall, to - at - wall];
}

/** @param {FixedTray} entry @param {number} n @param {Inner} inner */
export function lengthsOf(entry, n, inner) {
  const [before, after] = beside(entry, n, inner).map(shown);
  return { before: before ?? "", after: after ?? "" };
}

/** @param {FixedTray} entry @param {number} n @param {number} at */
export const placeText = (entry, n, at) => t(entry.tray.dividers?.[n]?.axis === "y" ? "divider_now_y" : "divider_now_x", { at: shown(at) });

/**
 * A divider: a slider.
 * @param {{n: number, context: any}} props
 */
export function Slider({ n, context }) {
  const { entry, still, inner, scale, sizes, move } = context;
  const made = entry.tray.dividers[n];
  const { least, most } = bounds(still.tray, n, inner);
  const x = made.axis === "x";
  const [start, end] = made.span ?? [0, inner[x ? 1 : 0]];
  const [a, b] = beside(entry, n, inner);
  /** @param {PointerEvent} event @returns {number} mm from the inner front left corner, along the divider's axis */
  const place = (event) => {
    const frame = /** @type {Element} */ (/** @type {Element} */ (event.currentTarget).closest("svg")).getBoundingClientRect();
    return x ? (event.clientX - frame.left - 4) / scale : inner[1] - (event.clientY - frame.top - 4) / scale;
  };
  const down = (/** @type {PointerEvent} */ event) => {
    if (event.button !== 0) return;
    const node = /** @type {SVGElement} */ (event.currentTarget);
    node.setPointerCapture(event.pointerId);
    node.focus({ preventScroll: true });
    divider.value = n;
    dragged.value = { n, at: made.at };
  };
  const slide = (/** @type {PointerEvent} */ event) => {
    if (dragged.value?.n !== n) return;
    dragged.value = { n, at: snappedDivider(still.tray, n, inner, place(event), SNAP / scale, sizes[made.axis]) };
  };
  const up = () => {
    const now = dragged.value;
    dragged.value = null;
    if (now && now.n === n && now.at !== still.tray.dividers[n].at) move(n, now.at);
  };
  const press = (/** @type {KeyboardEvent} */ event) => {
    const by = STEPS[event.key];
    const to = { Home: least, End: most }[event.key] ?? (by === undefined ? undefined : made.at + by);
    if (event.key === "Escape" && dragged.value) dragged.value = null;
    else if (event.key === "Delete") {
      divider.value = n;
      document.getElementById("divider-remove")?.click();
    } else if (to !== undefined) move(n, to);
    else return;
    event.preventDefault();
    event.stopPropagation();
  };
  const line = x
    ? { x1: made.at * scale, x2: made.at * scale, y1: (inner[1] - start) * scale, y2: (inner[1] - end) * scale }
    : { x1: start * scale, x2: end * scale, y1: (inner[1] - made.at) * scale, y2: (inner[1] - made.at) * scale };
  const [cx, cy] = [(line.x1 + line.x2) / 2, (line.y1 + line.y2) / 2];
  const active = divider.value === n;
  return html`<g id=${`divider-${n}`} class=${`slider ${active ? "active" : ""}`} role="slider" tabindex="0" data-holds="" aria-orientation=${x ? "horizontal" : "vertical"}
      aria-label=${t(x ? "divider_front_back" : "divider_left_right", { number: n + 1 })} aria-valuemin=${least} aria-valuemax=${most} aria-valuenow=${made.at}
      aria-valuetext=${t("divider_value", { at: shown(made.at), ...lengthsOf(entry, n, inner) })}
      onPointerDown=${down} onPointerMove=${slide} onPointerUp=${up} onPointerCancel=${() => { dragged.value = null; }} onKeyDown=${press} onFocus=${() => { divider.value = n; }}>
    <line class="slider-reach" ...${line} stroke-width=${2 * REACH} />
    <line class="slider-line" ...${line} />
    <circle cx=${cx} cy=${cy} r="7" />
    ${active && [-1, 1].map((side) => {
      const mm = side < 0 ? a : b;
      const by = side * ((mm / 2) * scale + 3);
      const text = typed(mm);
      return mm * scale > (x ? text.length * 8 + 14 : 18) && html`<text class="measure" text-anchor="middle" x=${x ? cx + by : cx + 24} y=${x ? cy - 14 : cy - by + 5}>${text}</text>`;
    })}
  </g>`;
}
