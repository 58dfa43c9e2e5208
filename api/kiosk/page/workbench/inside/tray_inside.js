// Inside the selected tray: dividers that are dragged in mm, and things that are dragged between compartments and trays.

import { draft } from "../../draft/draft.js";
import { announce } from "../../elements/dom.js";
import { html } from "../../elements/html.js";
import { t } from "../../language/messages.js";
import { typed } from "../../language/units.js";
import { latest } from "../../plan/plan.js";
import { WALL } from "../../plan/planned_trays.js";
import { edit, insideOf, moveHeld } from "../bench.js";
import { standing } from "../standing_trays.js";
import { compartmentAt, compartmentsOf, innerOf } from "./compartments.js";
import { divider, dragged, holdTouch, lengthsOf, LETTER, LINE, placeText, SIZE, Slider, typedPlace, unitOf } from "./divider_slider.js";
import { addDivider, divided, moveDivider, removeDivider } from "./dividers.js";
import { carried, drag, isSame, thing } from "./thing_drag.js";

/** @typedef {import("../standing_trays.js").Standing} Standing */
/** @typedef {import("./compartments.js").Compartment} Compartment */
/** @typedef {import("./compartments.js").Inner} Inner */
/** @typedef {import("../../draft/draft_format.js").FixedTray} FixedTray */
/** @typedef {import("./thing_drag.js").Choice} Choice */

/** Largest sides of the drawing, px, and the most px for a mm. */
const WIDEST = 520;
const HIGHEST = 300;
const LARGEST = 4;

/** Which tray the state above is of. */
let shownTray = "";

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

/** @param {string} text @param {number} room px */
const cut = (text, room) => {
  const letters = Math.floor(room / (SIZE * LETTER));
  if (text.length <= letters) return text;
  return letters >= 3 ? `${text.slice(0, letters - 1)}…` : "";
};


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
