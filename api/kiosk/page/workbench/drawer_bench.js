// A drawer whose trays are moved, turned, swapped, sized and added, by pointer, touch or keyboard.

import { html, Memo } from "../elements/html.js";
import { announce } from "../elements/dom.js";
import { t } from "../language/messages.js";
import { latest } from "../plan/plan.js";
import { accept, cancel, litThing, proposal, propose, remove, resize, sayProposal, selected, togglePin, turn } from "./bench.js";
import { standing, step } from "./standing_trays.js";
import { neighbour } from "./cells.js";
import { dividersPath, frameOf, Ground, Lanes, Panels, rectOf, Splices, Words } from "../plan/drawer_map.js";
import { groupOf } from "../plan/group_tints.js";
import { groups, tints } from "./groups_view.js";

/** @typedef {import("./standing_trays.js").Standing} Standing */
/** @typedef {import("./cells.js").Box} Box */
/** @typedef {{pointer: number, key: string, how: "pointer" | "size" | "sweep", x: number, y: number, box: Box, moving: boolean}} Grip */

/** Px by which a pointer moves before a tap is a drag. */
const SLACK = 5;

/** Half of the side of the corner by which a tray is sized, px: a finger has to hit it. */
const CORNER = 22;

/** @type {Record<string, [number, number]>} */
const ARROWS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] };

/** One tray. Properties: its rectangle, `mark`, `text`, `scale`, `path` of its dividers, and its states. */
class TrayShape extends Memo {
  /** @param {any} props */
  render({ id, x, y, width, height, rx, mark, text, scale, path, current, pinned, moved, lit, away, tint, tabIndex, label }) {
    const states = ["tray", tint !== undefined && `tinted tint-${tint}`, current && "current", pinned && "pinned", moved && "moved", lit && "lit", away && "away"].filter(Boolean).join(" ");
    const pin = 8 / scale;
    return html`<g id=${id} class=${states} role="option" aria-selected=${current ? "true" : "false"} aria-label=${label} tabindex=${tabIndex} data-tray=${id}>
      <rect x=${x} y=${y} width=${width} height=${height} rx=${rx} />
      <path d=${path} class="divider" />
      <${Words} x=${x} y=${y} width=${width} height=${height} mark=${mark} text=${text} scale=${scale} />
      ${pinned && html`<path class="pin" d=${`M${x + width - pin * 1.6} ${y + pin * 0.6}h${pin}v${pin}h${-pin}z`} />`}
    </g>`;
  }
}

/** @type {Map<number, Grip>} */
const grips = new Map();

/** Keys of trays by the id of their element. @param {number} d @param {string} key */
const idOf = (d, key) => `tray-${d}-${key}`;

/** @param {number} d @param {string} key */
const focusTray = (d, key) => document.getElementById(idOf(d, key))?.focus({ preventScroll: true });

/**
 * @param {{d: number, px: number}} props
 */
export function DrawerBench({ d, px }) {
  const plan = latest.value;
  const drawer = plan?.document.drawers[d];
  if (!plan || !drawer) return null;
  const { scale, viewBox, edge } = frameOf(drawer, px);
  const trays = standing(d);
  const now = proposal.value?.d === d ? proposal.value : null;
  const chosen = selected.value?.d === d ? selected.value.key : null;
  const entry = trays.some((tray) => tray.key === chosen) ? chosen : trays[0]?.key;
  const half = drawer.pitch / 2;
  const current = trays.find((tray) => tray.key === chosen);

  /** @param {PointerEvent} event @returns {[number, number]} the position in half cells */
  const at = (event) => {
    const svg = /** @type {Element} */ (event.currentTarget);
    const frame = svg.getBoundingClientRect();
    const mm = (drawer.size[0] + 2 * edge) / frame.width;
    const x = (event.clientX - frame.left) * mm - edge;
    const y = drawer.size[1] - ((event.clientY - frame.top) * mm - edge);
    return [(x - drawer.origin[0]) / half, (y - drawer.origin[1]) / half];
  };

  /** @param {PointerEvent} event */
  const down = (event) => {
    if (event.button !== 0 || grips.size) return;
    const target = /** @type {Element} */ (event.target);
    const [x, y] = at(event);
    const tray = trays.find((other) => target.closest("[data-tray]")?.id === idOf(d, other.key));
    if (target.closest(".corner") && current) grip(event, { pointer: event.pointerId, key: current.key, how: "size", x, y, box: current.box, moving: false });
    else if (tray) grip(event, { pointer: event.pointerId, key: tray.key, how: "pointer", x, y, box: tray.box, moving: false });
    else if (event.pointerType !== "touch") { // a finger on free floor scrolls the page
      const box = { x: Math.floor(x / step()) * step(), y: Math.floor(y / step()) * step(), w: step(), d: step() };
      grip(event, { pointer: event.pointerId, key: "sweep", how: "sweep", x, y, box, moving: false });
    }
  };

  /** @param {PointerEvent} event @param {Grip} made */
  const grip = (event, made) => {
    grips.set(event.pointerId, made);
    /** @type {Element} */ (event.currentTarget).setPointerCapture(event.pointerId);
    if (proposal.value) cancel();
  };

  /** @param {PointerEvent} event */
  const move = (event) => {
    const held = grips.get(event.pointerId);
    if (!held) return;
    const [x, y] = at(event);
    if (!held.moving && Math.hypot(x - held.x, y - held.y) * half * scale < SLACK) return;
    held.moving = true;
    event.preventDefault();
    if (held.how === "pointer") propose(d, held.key, { ...held.box, x: held.box.x + x - held.x, y: held.box.y + y - held.y }, "pointer");
    else if (held.how === "size") {
      const side = (/** @type {number} */ to) => Math.max(step(), Math.round(to / step()) * step());
      const back = held.box.y + held.box.d;
      propose(d, held.key, { ...held.box, w: side(held.box.w + x - held.x), d: side(back + y - held.y - held.box.y) }, "size");
    } else {
      const from = (/** @type {number} */ a, /** @type {number} */ b) => Math.min(a, Math.floor(b / step()) * step());
      const to = (/** @type {number} */ a, /** @type {number} */ b) => Math.max(a + step(), Math.ceil(b / step()) * step());
      const [left, front] = [from(held.box.x, x), from(held.box.y, y)];
      propose(d, "sweep", { x: left, y: front, w: to(held.box.x, x) - left, d: to(held.box.y, y) - front }, "sweep");
    }
  };

  /** @param {PointerEvent} event */
  const up = (event) => {
    const held = grips.get(event.pointerId);
    grips.delete(event.pointerId);
    if (!held) return;
    if (held.moving && proposal.value) accept();
    else if (held.how === "pointer") select(held.key);
    else if (held.how === "sweep") selected.value = null;
  };

  /** A finger on a tray drags it and does not scroll: Chromium heeds `touch-action` of SVG shapes not everywhere. @param {TouchEvent} event */
  const touch = (event) => {
    if (/** @type {Element} */ (event.target).closest("[data-tray], .corner")) event.preventDefault();
  };

  /** @param {PointerEvent} event */
  const lost = (event) => {
    if (grips.delete(event.pointerId)) cancel();
  };

  /** @param {string} key */
  const select = (key) => {
    selected.value = { d, key };
    window.requestAnimationFrame(() => focusTray(d, key));
  };

  /** @param {KeyboardEvent} event */
  const press = (event) => {
    const tray = trays.find((other) => other.key === entry);
    if (!tray || event.ctrlKey || event.metaKey || event.altKey) return;
    const arrow = ARROWS[event.key];
    if (now && event.key === "Escape") {
      cancel();
      grips.clear();
      announce(t("dropped_back"));
    } else if (arrow && now?.how === "keys") {
      const by = step();
      propose(d, tray.key, { ...now.box, x: now.box.x + arrow[0] * by, y: now.box.y + arrow[1] * by }, "keys");
      sayProposal();
    } else if (arrow && event.shiftKey) resize(d, tray.key, tray.box.w + arrow[0] * step(), tray.box.d + arrow[1] * step());
    else if (arrow) {
      const next = neighbour(trays.filter((other) => other !== tray), tray.box, arrow);
      if (next) select(next.key);
    } else if ((event.key === "Enter" || event.key === " ") && now) {
      accept();
      refocus();
    } else if (event.key === "Enter" || event.key === " ") {
      selected.value = { d, key: tray.key };
      propose(d, tray.key, tray.box, "keys");
      announce(t("grabbed", { name: tray.text }));
    } else if (event.key === "r" || event.key === "R") turn(d, tray.key);
    else if (event.key === "p" || event.key === "P") togglePin(d, tray.key);
    else if (event.key === "Delete" || event.key === "Backspace") {
      remove(d, tray.key);
      refocus();
    } else return;
    event.preventDefault();
  };

  const refocus = () => window.requestAnimationFrame(() => {
    const left = standing(d);
    const key = left.some((tray) => tray.key === selected.value?.key) ? selected.value?.key : left[0]?.key;
    if (key) focusTray(d, key);
  });

  const ghost = now && rectOf(drawer, now.box);
  const corner = current && !now ? rectOf(drawer, current.box) : null;
  const grab = CORNER / scale;
  return html`<svg viewBox=${viewBox} width=${px} class="plan-drawing bench" onPointerDown=${down} onPointerMove=${move} onPointerUp=${up} onTouchStart=${touch}
      onPointerCancel=${lost} onKeyDown=${press}>
    <${Ground} drawer=${drawer} plan=${plan.document} scale=${scale} />
    <g role="listbox" aria-label=${t("trays_of", { name: drawer.name })} aria-describedby="bench-keys">
      ${trays.map((tray) => {
        const rect = rectOf(drawer, tray.box);
        return html`<${TrayShape} key=${tray.key} id=${idOf(d, tray.key)} ...${rect} rx=${half / 4} mark=${tray.mark} text=${tray.text} scale=${scale}
          path=${dividersPath(tray.tray, rect)} current=${tray.key === chosen} pinned=${tray.pinned} moved=${tray.moved}
          lit=${litThing.value !== null && tray.things.includes(litThing.value)} away=${now?.key === tray.key} tint=${tints.value.get(groupOf(tray.things, groups.value) ?? "")}
          tabIndex=${tray.key === entry ? 0 : -1} label=${labelOf(tray)} />`;
      })}
    </g>
    <${Lanes} drawer=${drawer} scale=${scale} />
    <${Splices} drawer=${drawer} plan=${plan.document} />
    <${Panels} drawer=${drawer} plan=${plan.document} />
    ${corner && html`<g class="corner" aria-hidden="true">
      <rect class="reach" x=${corner.x + corner.width - grab} y=${corner.y - grab} width=${2 * grab} height=${2 * grab} />
      <path d=${`M${corner.x + corner.width - 14 / scale} ${corner.y}h${14 / scale}v${14 / scale}`} />
    </g>`}
    ${ghost && html`<g class=${`ghost ${now?.verdict.kind}`} aria-hidden="true"><rect ...${ghost} rx=${half / 4} /></g>`}
  </svg>`;
}

/** @param {Standing} tray */
function labelOf(tray) {
  const { box } = tray;
  const where = t("place", { column: box.x / 2 + 1, row: box.y / 2 + 1 });
  return [`${tray.mark} ${tray.text}`.trim(), where, t("cells_size", { width: box.w / 2, depth: box.d / 2 }), tray.pinned && t("pinned")].filter(Boolean).join(", ");
}
