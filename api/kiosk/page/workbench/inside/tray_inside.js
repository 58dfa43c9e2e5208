// Inside the selected tray: dividers that are dragged in mm, and things that are dragged between compartments and trays.

import { signal } from "@preact/signals";

import { announce, byId } from "../../elements/dom.js";
import { draft } from "../../draft/draft.js";
import { html } from "../../elements/html.js";
import { t } from "../../language/messages.js";
import { latest } from "../../plan/plan.js";
import { WALL } from "../../plan/planned_trays.js";
import { length, shown, typed } from "../../language/units.js";
import { edit, insideOf, moveHeld, standing } from "../bench.js";
import { addDivider, bounds, compartmentAt, compartmentUnder, compartmentsOf, divided, innerOf, moveDivider, removeDivider, snappedDivider } from "./compartments.js";

/** @typedef {import("../bench.js").Standing} Standing */
/** @typedef {import("./compartments.js").Compartment} Compartment */
/** @typedef {import("./compartments.js").Inner} Inner */
/** @typedef {import("../../draft/draft_format.js").FixedTray} FixedTray */
/** @typedef {{thing: string, cell: [number, number]}} Choice */
/** @typedef {{text: string, x: number, y: number, moving: boolean, target: {key: string, cell: [number, number]} | null} & Choice} Carried */

/** Largest sides of the drawing, px, and the most px for a mm. */
const WIDEST = 520;
const HIGHEST = 300;
const LARGEST = 4;

/** Half of the width by which a divider is grabbed, px: a finger has to hit it. */
const REACH = 22;

/** Px within which a divider snaps, and by which a pointer moves before a tap is a drag. */
const SNAP = 7;
const SLACK = 5;

/** Px from the edge of the plan within which a held thing scrolls it. */
const EDGE = 60;

/** Height of a line of text, px, and the width of a letter as a share of its height. */
const LINE = 24;
const SIZE = 13;
const LETTER = 0.56;

/** Number of the divider that is selected. */
const divider = signal(/** @type {number | null} */ (null));

/** The divider that is being dragged. */
const dragged = signal(/** @type {{n: number, at: number} | null} */ (null));

/** The thing whose move is offered. */
const thing = signal(/** @type {Choice | null} */ (null));

/** The thing that is being dragged. */
const carried = signal(/** @type {Carried | null} */ (null));

/** Which tray the state above is of. */
let shownTray = "";

/** @type {Record<string, number>} mm by which a key moves a divider */
const STEPS = { ArrowLeft: -1, ArrowDown: -1, ArrowRight: 1, ArrowUp: 1, PageDown: -10, PageUp: 10 };

/**
 * @param {{d: number, tray: Standing, px: number}} props
 */
export function TrayInside({ d, tray, px }) {
  const pitch = latest.value?.document.drawers[d]?.pitch;
  if (!pitch || tray.tray.pockets?.length) return null;
  const inner = innerOf(tray.tray, pitch);
  const name = `${d} ${tray.box.x} ${tray.box.y}`;
  if (name !== shownTray) {
    shownTray = name;
    divider.value = dragged.value = thing.value = carried.value = null;
  }
  const { hold, sizes } = insideOf(d, tray.key);
  /** @type {FixedTray} */
  const still = { key: tray.key, pinned: tray.pinned, hold, tray: { ...divided(tray.tray, inner), at: [tray.box.x / 2, tray.box.y / 2] } };
  const entry = dragged.value ? moveDivider(still, dragged.value.n, dragged.value.at, inner) : still;
  const scale = Math.min(LARGEST, Math.min(WIDEST, px || WIDEST) / inner[0], HIGHEST / inner[1]);
  const compartments = compartmentsOf(entry.tray, inner);
  const names = new Map(draft.things.map((room) => [room.key, room.name]));

  /** @param {(made: FixedTray) => FixedTray | null} step */
  const change = (step) => edit(d, tray.key, (fixed) => step({ ...fixed, tray: { ...divided(fixed.tray, inner), at: fixed.tray.at } }) ?? fixed);
  const move = (/** @type {number} */ n, /** @type {number} */ at) => {
    change((fixed) => moveDivider(fixed, n, at, inner));
    announce(placeText(still, n, at));
  };
  const add = (/** @type {"x" | "y"} */ axis) => () => {
    if (!addDivider(still, axis, inner)) {
      announce(t("no_room_to_divide"));
      return;
    }
    change((fixed) => addDivider(fixed, axis, inner));
    divider.value = (still.tray.dividers ?? []).length;
    announce(t("divider_added"));
  };
  const remove = () => {
    const n = divider.value;
    if (n === null) return;
    change((fixed) => removeDivider(fixed, n, inner));
    divider.value = null;
    announce(t("divider_removed"));
  };
  const carry = (/** @type {Choice} */ from, /** @type {{key: string, cell: [number, number]}} */ to) => {
    thing.value = null;
    moveHeld(d, { key: tray.key, thing: from.thing, compartment: from.cell }, { key: to.key, compartment: to.cell });
  };

  const context = { d, tray, entry, still, inner, scale, sizes, move, carry, names };
  const chosen = divider.value;
  const current = chosen === null ? undefined : entry.tray.dividers?.[chosen];
  const [width, height] = [inner[0] * scale, inner[1] * scale];
  return html`<div class="inside" role="group" aria-label=${t("inside_tray")}>
    <svg class="inside-drawing" id="inside" width=${width + 8} height=${height + 8} viewBox=${`-4 -4 ${width + 8} ${height + 8}`} onTouchStart=${holdTouch}>
      <rect class="inside-floor" x="-2" y="-2" width=${width + 4} height=${height + 4} rx="6" />
      ${compartments.map((room, n) => html`<${Room} key=${n} room=${room} n=${n} context=${context} />`)}
      ${(entry.tray.dividers ?? []).map((_, n) => html`<${Slider} key=${n} n=${n} context=${context} />`)}
    </svg>
    <div class="inside-side">
    <div class="tray-tools">
      <button type="button" id="divide-x" onClick=${add("x")}>${t("divide_x")}</button>
      <button type="button" id="divide-y" onClick=${add("y")}>${t("divide_y")}</button>
    </div>
    ${current && chosen !== null && html`<div class="tray-tools inside-fields">
      <div class="field"><label for="divider-at">${t(`divider_${current.axis}`, { unit: unitOf() })}</label>
        <input id="divider-at" inputmode="decimal" autocomplete="off" value=${typed(current.at)} onChange=${(/** @type {any} */ event) => typedPlace(event.target, (at) => move(chosen, at))} /></div>
      <button type="button" id="divider-remove" class="danger" onClick=${remove}>${t("remove_divider")}</button></div>
      <p class="hint" id="divider-lengths">${t(`lengths_${current.axis}`, lengthsOf(entry, chosen, inner))}</p>`}
    ${thing.value && html`<${MoveForm} context=${context} choice=${thing.value} />`}
    </div>
    ${carried.value?.moving && html`<div class="carried" style=${{ left: `${carried.value.x}px`, top: `${carried.value.y}px` }}>${carried.value.text}</div>`}
  </div>`;
}

const unitOf = () => t(shown(1).endsWith("mm") ? "unit_mm" : "unit_in");

/** A finger on a divider or thing drags it and does not scroll. @param {TouchEvent} event */
function holdTouch(event) {
  if (/** @type {Element} */ (event.target).closest("[data-holds]")) event.preventDefault();
}

/** @param {HTMLInputElement} field @param {(at: number) => void} set */
function typedPlace(field, set) {
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
function beside(entry, n, inner) {
  const wall = entry.tray.wall ?? WALL;
  const { from, to } = bounds(entry.tray, n, inner);
  const at = entry.tray.dividers?.[n]?.at ?? 0;
  return [at - from - wall, to - at - wall];
}

/** @param {FixedTray} entry @param {number} n @param {Inner} inner */
function lengthsOf(entry, n, inner) {
  const [before, after] = beside(entry, n, inner).map(shown);
  return { before: before ?? "", after: after ?? "" };
}

/** @param {FixedTray} entry @param {number} n @param {number} at */
const placeText = (entry, n, at) => t(entry.tray.dividers?.[n]?.axis === "y" ? "divider_now_y" : "divider_now_x", { at: shown(at) });

/**
 * A divider: a slider.
 * @param {{n: number, context: any}} props
 */
function Slider({ n, context }) {
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

/** @param {string} text @param {number} room px */
const cut = (text, room) => {
  const letters = Math.floor(room / (SIZE * LETTER));
  if (text.length <= letters) return text;
  return letters >= 3 ? `${text.slice(0, letters - 1)}…` : "";
};

/** @param {Choice | null} a @param {Choice} b */
const isSame = (a, b) => a !== null && a.thing === b.thing && a.cell.join() === b.cell.join();

/**
 * A compartment with the things in it.
 * @param {{room: Compartment, n: number, context: any}} props
 */
function Room({ room, n, context }) {
  const { d, tray, entry, inner, scale, carry, names } = context;
  const wall = entry.tray.wall ?? WALL;
  const [left, top] = [room.x[0] * scale, (inner[1] - room.y[1]) * scale];
  const [width, height] = [(room.x[1] - room.x[0]) * scale, (room.y[1] - room.y[0]) * scale];
  const clear = (/** @type {[number, number]} */ [from, to], /** @type {number} */ whole) => to - from - (from > 0.01 ? wall / 2 : 0) - (to < whole - 0.01 ? wall / 2 : 0);
  const size = `${typed(clear(room.x, inner[0]))} × ${typed(clear(room.y, inner[1]))}`;
  const here = entry.hold.filter((/** @type {any} */ held) => compartmentAt([room], held.compartment) === 0);
  const target = carried.value?.target;
  const under = target && target.key === tray.key && compartmentAt([room], target.cell) === 0;
  const upright = height > 2.2 * width && width < 90;
  const [along, across] = upright ? [height, width] : [width, height];
  const rows = Math.max(1, Math.floor((across - 4) / LINE));
  const first = upright ? left + width / 2 - (Math.min(rows, here.length) - 1) * LINE / 2 : top + height / 2 - (Math.min(rows, here.length) - 1) * LINE / 2;
  return html`<g data-compartment=${room.cells[0]?.join(",")}>
    <rect class=${`room ${under ? "under" : ""}`} x=${left + 1} y=${top + 1} width=${Math.max(1, width - 2)} height=${Math.max(1, height - 2)} rx="4"><title>${t("compartment_size", { number: n + 1, size })}</title></rect>
    ${width > size.length * 7 && height > 40 && html`<text class="measure quiet" aria-hidden="true" x=${left + 6} y=${top + height - 6}>${size}</text>`}
    ${here.slice(0, rows).map((/** @type {any} */ held, /** @type {number} */ i) => {
      const label = `${held.count ? `${held.count} × ` : ""}${names.get(held.thing) ?? ""}`;
      const text = cut(label, along - 12);
      const [cx, cy] = upright ? [first + i * LINE, top + height / 2] : [left + width / 2, first + i * LINE];
      const w = Math.min(along - 4, Math.max(44, text.length * SIZE * LETTER + 16));
      const now = { thing: held.thing, cell: held.compartment };
      const chosen = isSame(thing.value, now);
      return html`<g key=${held.thing} id=${`held-${held.thing}-${held.compartment.join("-")}`} class=${`held ${chosen ? "active" : ""}`} role="button" tabindex="0" data-holds=""
          aria-label=${t("move_thing", { name: label })} aria-pressed=${chosen ? "true" : "false"} transform=${upright ? `rotate(-90 ${cx} ${cy})` : undefined}
          ...${drag(d, tray.key, now, label, carry)}>
        <rect x=${cx - w / 2} y=${cy - LINE / 2 + 1} width=${w} height=${LINE - 2} rx="11" />
        <text x=${cx} y=${cy + 4.5} text-anchor="middle" font-size=${SIZE}>${text}</text></g>`;
    })}
  </g>`;
}

/**
 * Handlers of a thing: dragged by a pointer, or tapped to choose its place from a list.
 * @param {number} d
 * @param {string} key
 * @param {Choice} from
 * @param {string} text
 * @param {(from: Choice, to: {key: string, cell: [number, number]}) => void} carry
 */
function drag(d, key, from, text, carry) {
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

/**
 * Where else a thing can go, chosen from a list.
 * @param {{context: any, choice: Choice}} props
 */
function MoveForm({ context, choice }) {
  const { d, tray, carry, names, still } = context;
  const pitch = latest.value?.document.drawers[d]?.pitch ?? 1;
  const places = standing(d).filter((other) => !other.tray.pockets?.length).flatMap((other) => {
    const inner = innerOf(other.tray, pitch);
    const all = compartmentsOf(other.key === tray.key ? still.tray : divided(other.tray, inner), inner);
    return all.map((room, n) => ({ key: other.key, cell: room.cells[0] ?? /** @type {[number, number]} */ ([0, 0]), text: [`${other.mark} ${other.text}`.trim(), all.length > 1 && t("compartment", { number: n + 1 })].filter(Boolean).join(", "),
      here: other.key === tray.key && compartmentAt([room], choice.cell) === 0 }));
  }).filter((place) => !place.here);
  if (!places.length) return html`<p class="hint">${t("no_other_place")}</p>`;
  const submit = (/** @type {any} */ event) => {
    event.preventDefault();
    const place = places[Number(event.target.elements["move-to"].value)];
    if (place) carry(choice, place);
  };
  return html`<form class="tray-tools inside-fields" onSubmit=${submit}>
    <div class="field"><label for="move-to">${t("move_thing_to", { name: names.get(choice.thing) ?? "" })}</label>
      <select id="move-to">${places.map((place, n) => html`<option value=${n}>${place.text}</option>`)}</select></div>
    <button type="submit" id="move-there">${t("move_there")}</button></form>`;
}
