// A thing of the selected tray that is dragged into another compartment, of this tray or of another one.

import { signal } from "@preact/signals";

import { byId } from "../../elements/dom.js";
import { latest } from "../../plan/plan.js";
import { standing } from "../standing_trays.js";
import { compartmentsOf, compartmentUnder, innerOf } from "./compartments.js";
import { divided } from "./dividers.js";

/** @typedef {{thing: string, cell: [number, number]}} Choice */
/** @typedef {{text: string, x: number, y: number, moving: boolean, target: {key: string, cell: [number, number]} | null} & Choice} Carried */

/** Px by which a pointer moves before a tap is a drag. */
const SLACK = 5;

/** Px from the edge of the plan within which a held thing scrolls it. */
const EDGE = 60;

/** The thing whose move is offered. */
export const thing = signal(/** @type {Choice | null} */ (null));

/** The thing that is being dragged. */
export const carried = signal(/** @type {Carried | null} */ (null));

/**
 * Handlers of a thing: dragged by a pointer, or tapped to choose its place from a list.
 * @param {number} d
 * @param {string} key
 * @param {Choice} from
 * @param {string} text
 * @param {(from: Choice, to: {key: string, cell: [number, number]}) => void} carry
 */
export function drag(d, key, from, text, carry) {
  let [sx, sy] = [0, 0];
  const choose = () => { thing.value = isSame(thing.value, from) ? null : from; };
  return {
    onPointerDown: (/** @type {PointerEvent} */ event) => {
      if (event.button !== 0) return;
      [sx, sy] = [event.clientX, event.clientY];
      /** @type {Element} */ (event.currentTarget).setPointerCapture(event.pointerId);
      carried.value = { ...from, text, x: sx, y: sy, moving: false, target: null };
    },
    onPointerMove: (/** @type {PointerEvent} */ event) => {
      const now = carried.value;
      if (!now || (!now.moving && Math.hypot(event.clientX - now.x, event.clientY - now.y) < SLACK)) return;
      scrollAtEdge(event.clientY);
      carried.value = { ...now, x: event.clientX, y: event.clientY, moving: true, target: targetAt(d, key, event.clientX, event.clientY) };
    },
    onPointerUp: () => {
      const now = carried.value;
      carried.value = null;
      if (now?.moving && now.target) carry(from, now.target);
      else if (now && !now.moving) choose();
    },
    onPointerCancel: () => { carried.value = null; },
    onKeyDown: (/** @type {KeyboardEvent} */ event) => {
      if (event.key === "Escape") carried.value = thing.value = null;
      else if (event.key === "Enter" || event.key === " ") choose();
      else return;
      event.preventDefault();
      event.stopPropagation();
    },
  };
}

/** Scroll the plan while a thing is held near its upper or lower edge. @param {number} y */
function scrollAtEdge(y) {
  const plan = byId("plan");
  const frame = plan.getBoundingClientRect();
  if (y < frame.top + EDGE) plan.scrollBy(0, -EDGE / 3);
  else if (y > Math.min(frame.bottom, window.innerHeight) - EDGE) plan.scrollBy(0, EDGE / 3);
}

/**
 * The compartment under a point of the screen: of this tray's drawing, or of a tray on the plan.
 * @param {number} d
 * @param {string} key of the tray that is drawn
 * @param {number} x
 * @param {number} y
 * @returns {{key: string, cell: [number, number]} | null}
 */
function targetAt(d, key, x, y) {
  for (const node of document.elementsFromPoint(x, y)) {
    const drawn = /** @type {SVGElement | null} */ (node.closest("[data-compartment]"));
    if (drawn) {
      const [column = 0, row = 0] = (drawn.dataset.compartment ?? "").split(",").map(Number);
      return { key, cell: [column, row] };
    }
    const shape = node.closest("[data-tray]");
    const tray = shape && standing(d).find((other) => `tray-${d}-${other.key}` === shape.id);
    const pitch = latest.value?.document.drawers[d]?.pitch;
    if (!tray || !pitch || tray.tray.pockets?.length) continue;
    const frame = /** @type {Element} */ (shape.firstElementChild).getBoundingClientRect();
    const inner = innerOf(tray.tray, pitch);
    const all = compartmentsOf(divided(tray.tray, inner), inner);
    const at = compartmentUnder(all, [((x - frame.left) / frame.width) * inner[0], (1 - (y - frame.top) / frame.height) * inner[1]]);
    return { key: tray.key, cell: all[at]?.cells[0] ?? [0, 0] };
  }
  return null;
}

/** @param {Choice | null} a @param {Choice} b */
export const isSame = (a, b) => a !== null && a.thing === b.thing && a.cell.join() === b.cell.join();
