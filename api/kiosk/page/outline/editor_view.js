// The outline over its picture: corners that are moved, added and removed by pointer, touch or keyboard, in millimetres.

import { signal } from "@preact/signals";
import { useEffect, useRef } from "preact/hooks";

import { announce } from "../elements/dom.js";
import { html, Memo } from "../elements/html.js";
import { t } from "../language/messages.js";
import { plain, shown, typed, unitNow } from "../language/units.js";
import { add, applyMirror, axis, before, canMirror, chosen, cornerAt, counted, drag, drop, fault, goOn, grab, grabNew, mirror, nudge, place, putBack, redo, remove, rings, size, smooth, steps, undo } from "./editor.js";
import { boxOf, nearestCorner, nearestLine } from "./rings.js";

/** @typedef {import("./rings.js").Point} Point */
/** @typedef {{url: string, left: number, top: number, width: number, depth: number}} Picture in mm, of the frame of the outline */

/** Mm by which an arrow key moves a corner that is held, and with the shift key. */
const [SMALL, LARGE] = [0.1, 1];

/** Px within which a pointer takes hold of a corner, and a finger; and by which it moves before that is a drag. */
const [REACH, FINGER, SLACK] = [12, 24, 4];

/** Mm round an outline without a picture. */
const EDGE = 10;

const ZOOMS = [1, 2, 4];

/** @type {Record<string, Point>} */
const ARROWS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] };

const zoom = signal(1);

/** Px of the frame's width. */
const room = signal(320);

/** @type {{pointer: number, x: number, y: number, corner: import("./rings.js").Corner | null, line: import("./rings.js").Corner | null, at: Point, moving: boolean} | null} */
let grip = null;

/** @param {import("./rings.js").Corner} corner */
const idOf = ({ ring, point }) => `outline-${ring}-${point}`;

/** Put the focus on the chosen corner once it is drawn. */
const focusChosen = () => window.requestAnimationFrame(() => {
  if (chosen.value) document.getElementById(idOf(chosen.value))?.focus({ preventScroll: true });
});

/** A number that may be negative. @param {string} text */
function signed(text) {
  const value = plain(text.trim().replace(/^[-−]/, ""));
  return value !== null && /^\s*[-−]/.test(text) ? -value : value;
}

/** @param {Point | null} point */
const inWords = (point) => (point ? counted(point).map((side) => shown(side)).join(", ") : "");

class CornerMark extends Memo {
  /** @param {any} props */
  render({ id, x, y, r, current, held, tabIndex, label }) {
    return html`<circle id=${id} class=${["corner-mark", current && "current", held && "held"].filter(Boolean).join(" ")} cx=${x} cy=${y} r=${r}
      role="option" aria-selected=${current ? "true" : "false"} aria-label=${label} tabindex=${tabIndex} />`;
  }
}

/**
 * @param {{picture: Picture | null}} props
 */
export function OutlineEditor({ picture }) {
  const frame = useRef(/** @type {HTMLElement | null} */ (null));
  useEffect(() => {
    const node = frame.current;
    if (!node) return undefined;
    const watcher = new ResizeObserver(() => { room.value = Math.max(200, node.clientWidth); });
    watcher.observe(node);
    return () => watcher.disconnect();
  }, []);
  useEffect(() => { zoom.value = 1; }, [picture]);
  return html`<div class="outline-editor">
    <div class="outline-scroll" ref=${frame}><${Drawing} picture=${picture} /></div>
    <p class=${`verdict ${fault.value ? "blocked" : ""}`} id="outline-size">${fault.value ? t("outline_crosses") : `${shown(size.value.width)} × ${shown(size.value.depth)}`}</p>
    <${Tools} />
    <p class="hint" id="outline-keys">${t("outline_keys")}</p>
  </div>`;
}

/** The box of what is drawn, in mm. @param {Picture | null} picture */
function boxAround(picture) {
  if (picture) return picture;
  const box = boxOf(rings.value[0] ?? [[0, 0]]);
  return { left: box.left - EDGE, top: box.front + box.depth + EDGE, width: box.width + 2 * EDGE, depth: box.depth + 2 * EDGE };
}

/** @type {ReturnType<typeof boxAround> | null} the box while a corner is held: it does not grow under the pointer */
let still = null;

/** @param {{picture: Picture | null}} props */
function Drawing({ picture }) {
  if (!before.value) still = null;
  const box = before.value ? (still ??= boxAround(picture)) : boxAround(picture);
  // so that a long thing that stands upright fits the screen as well
  const wide = Math.min(room.value, (0.7 * window.innerHeight * box.width) / box.depth);
  const scale = (zoom.value * wide) / box.width;
  const px = (/** @type {number} */ n) => n / scale;
  const now = chosen.value;
  const entry = now ?? { ring: 0, point: 0 };
  const path = rings.value.map((ring) => `M${ring.map(([x, y]) => `${(x - box.left).toFixed(3)},${(box.top - y).toFixed(3)}`).join("L")}Z`).join("");
  const line = axis.value;
  const outer = size.value;

  /** @param {{clientX: number, clientY: number, currentTarget: any}} event @returns {Point} */
  const at = (event) => {
    const rect = event.currentTarget.getBoundingClientRect();
    return [box.left + (event.clientX - rect.left) / scale, box.top - (event.clientY - rect.top) / scale];
  };

  /** What a pointer takes hold of. @param {Point} p @param {number} reach in px */
  const under = (p, reach) => {
    const corner = nearestCorner(rings.value, p);
    if (corner && corner.away <= px(reach)) return { corner: { ring: corner.ring, point: corner.point }, line: null };
    const side = nearestLine(rings.value, p);
    return side && side.away <= px(reach) ? { corner: null, line: { ring: side.ring, point: side.point } } : null;
  };

  /** @param {PointerEvent} event */
  const down = (event) => {
    if (event.button !== 0 || grip) return;
    const p = at(event);
    const hit = under(p, event.pointerType === "touch" ? FINGER : REACH);
    if (!hit) {
      if (event.pointerType !== "touch") chosen.value = null;
      return;
    }
    if (before.value) putBack();
    grip = { pointer: event.pointerId, x: event.clientX, y: event.clientY, ...hit, at: p, moving: false };
    /** @type {Element} */ (event.currentTarget).setPointerCapture(event.pointerId);
    event.preventDefault();
  };

  /** @param {PointerEvent} event */
  const move = (event) => {
    if (!grip || grip.pointer !== event.pointerId) return;
    if (!grip.moving) {
      if (Math.hypot(event.clientX - grip.x, event.clientY - grip.y) < SLACK) return;
      grip.moving = true;
      if (grip.corner) grab(grip.corner);
      else if (grip.line) grabNew(grip.line, grip.at);
      still = box;
    }
    drag(at(event));
  };

  /** @param {PointerEvent} event */
  const up = (event) => {
    if (!grip || grip.pointer !== event.pointerId) return;
    if (grip.moving) drop();
    else chosen.value = grip.corner ?? (grip.line && nearestCornerOf(grip.at));
    grip = null;
    focusChosen();
  };

  /** @param {PointerEvent} event */
  const lost = (event) => {
    if (!grip || grip.pointer !== event.pointerId) return;
    grip = null;
    putBack();
  };

  /** A finger on the outline drags it and does not scroll. @param {TouchEvent} event */
  const touch = (event) => {
    const [finger] = event.touches;
    if (finger && event.touches.length === 1 && under(at({ clientX: finger.clientX, clientY: finger.clientY, currentTarget: event.currentTarget }), FINGER)) event.preventDefault();
  };

  return html`<svg class="outline-drawing" id="outline-drawing" viewBox=${`0 0 ${box.width} ${box.depth}`} width=${zoom.value * wide} height=${(zoom.value * wide * box.depth) / box.width}
      onPointerDown=${down} onPointerMove=${move} onPointerUp=${up} onPointerCancel=${lost} onTouchStart=${touch} onKeyDown=${press}>
    ${picture ? html`<image href=${picture.url} width=${box.width} height=${box.depth} preserveAspectRatio="none" />` : html`<rect class="outline-ground" width=${box.width} height=${box.depth} />`}
    <g aria-hidden="true"><path class="outline-line back" d=${path} /><path class=${`outline-line ${fault.value ? "wrong" : ""}`} d=${path} />
      ${line && html`<path class="outline-axis" d=${`M${line.through[0] - 1000 * line.along[0] - box.left},${box.top - line.through[1] + 1000 * line.along[1]}l${2000 * line.along[0]},${-2000 * line.along[1]}`} />`}
      ${fault.value && html`<circle class="outline-fault" cx=${fault.value[0] - box.left} cy=${box.top - fault.value[1]} r=${px(14)} />`}
      <path class="outline-rule" d=${`M${outer.left - box.left},${box.depth - px(6)}h${outer.width}M${px(6)},${box.top - outer.front}v${-outer.depth}`} /></g>
    <g role="listbox" aria-label=${t("outline_points")} aria-describedby="outline-keys">
      ${rings.value.flatMap((ring, r) => ring.map(([x, y], point) => {
        const corner = { ring: r, point };
        const current = now?.ring === r && now.point === point;
        return html`<${CornerMark} key=${idOf(corner)} id=${idOf(corner)} x=${x - box.left} y=${box.top - y} r=${px(current ? 8 : 4.5)} current=${current} held=${current && before.value !== null}
          tabIndex=${entry.ring === r && entry.point === point ? 0 : -1} label=${t("outline_point", { point: point + 1, of: ring.length, place: inWords([x, y]) })} />`;
      }))}
    </g>
  </svg>`;
}

/** @param {Point} p */
function nearestCornerOf(p) {
  const corner = nearestCorner(rings.value, p);
  return corner && { ring: corner.ring, point: corner.point };
}

/** @param {KeyboardEvent} event */
function press(event) {
  const handled = event.ctrlKey || event.metaKey ? pressHistory(event) : pressCorner(event);
  if (!handled) return;
  event.stopPropagation(); // else the last change of the list would be undone
  event.preventDefault();
  focusChosen();
}

/** @param {KeyboardEvent} event whether it undoes or redoes a step */
function pressHistory(event) {
  const key = event.key.toLowerCase();
  if (key === "z" && !event.shiftKey) undo();
  else if (key === "y" || key === "z") redo();
  else return false;
  return true;
}

/** @param {KeyboardEvent} event whether it does something to a corner */
function pressCorner(event) {
  const key = event.key.toLowerCase();
  const arrow = ARROWS[event.key];
  const held = before.value !== null;
  const by = event.shiftKey ? LARGE : SMALL;
  const further = { Home: -(chosen.value?.point ?? 0), PageUp: -10, PageDown: 10 }[event.key];
  if (arrow && (held || event.altKey)) {
    nudge(by * arrow[0], by * arrow[1]);
    announce(inWords(cornerAt(chosen.value)));
  } else if (arrow) goOn(arrow[0] + arrow[1] > 0 ? 1 : -1);
  else if (further !== undefined && !held) goOn(further);
  else if ((event.key === "Enter" || event.key === " ") && held) {
    drop();
    announce(t("outline_dropped", { place: inWords(cornerAt(chosen.value)) }));
  } else if (event.key === "Enter" || event.key === " ") {
    grab(chosen.value ?? { ring: 0, point: 0 });
    announce(t("outline_grabbed"));
  } else if (event.key === "Escape" && held) {
    putBack();
    announce(t("dropped_back"));
  } else if (event.key === "Delete" || event.key === "Backspace") remove();
  else if (key === "insert" || key === "a") add();
  else return false;
  return true;
}

function Tools() {
  const now = chosen.value;
  const corner = cornerAt(now);
  const [x, y] = corner ? counted(corner) : [0, 0];
  const field = (/** @type {"x" | "y"} */ side) => {
    const value = side === "x" ? x : y;
    const set = (/** @type {any} */ event) => {
      const read = signed(event.target.value);
      if (read === null) return;
      const mm = unitNow() === "in" ? read * 25.4 : read;
      place(side === "x" ? [mm, y] : [x, mm]);
    };
    return html`<div class="field"><label for=${`outline-${side}`}>${t(`outline_${side}`)} ${t(`unit_${unitNow()}`)}</label>
      <input id=${`outline-${side}`} inputmode="decimal" autocomplete="off" disabled=${!corner} value=${corner ? typed(value) : ""} onChange=${set} /></div>`;
  };
  const tool = (/** @type {string} */ name, /** @type {() => void} */ act, /** @type {boolean} */ off = false) => html`<button type="button" id=${`outline-${name}`} disabled=${off} onClick=${act}>${t(`outline_${name}`)}</button>`;
  const look = (/** @type {number} */ step) => () => {
    zoom.value = ZOOMS[ZOOMS.indexOf(zoom.value) + step] ?? zoom.value;
    window.requestAnimationFrame(() => document.getElementById(idOf(chosen.value ?? { ring: 0, point: 0 }))?.scrollIntoView({ block: "nearest", inline: "center" }));
  };
  const tilt = () => { mirror.value = mirror.value ? null : { across: false, turn: 0, shift: 0, left: true }; };
  return html`<div class="tray-tools" role="group" aria-label=${t("outline_tools")}>
      <button type="button" id="outline-undo" disabled=${steps.value.undo === 0} onClick=${undo}>${t("undo")}</button>
      <button type="button" id="outline-redo" disabled=${steps.value.redo === 0} onClick=${redo}>${t("redo")}</button>
      ${tool("add", add, !corner)}${tool("remove", remove, !corner)}
      <button type="button" id="outline-smooth" onClick=${smooth}>${t(corner ? "outline_smooth_here" : "outline_smooth")}</button>
      <button type="button" id="outline-mirror" aria-pressed=${mirror.value ? "true" : "false"} onClick=${tilt}>${t("outline_mirror")}</button>
      <button type="button" id="outline-zoom-out" aria-label=${t("outline_zoom_out")} disabled=${zoom.value === ZOOMS[0]} onClick=${look(-1)}>−</button>
      <button type="button" id="outline-zoom-in" aria-label=${t("outline_zoom_in")} disabled=${zoom.value === ZOOMS.at(-1)} onClick=${look(1)}>+</button>
    </div>
    ${mirror.value && html`<${MirrorTools} />`}
    <div class="two">${field("x")}${field("y")}</div>`;
}

function MirrorTools() {
  const how = mirror.value;
  if (!how) return null;
  const set = (/** @type {Partial<import("./editor.js").Mirror>} */ part) => { mirror.value = { ...how, ...part }; };
  const number = (/** @type {"turn" | "shift"} */ name, /** @type {number} */ step) => html`<div class="field"><label for=${`mirror-${name}`}>${t(`mirror_${name}`)}</label>
    <input id=${`mirror-${name}`} type="number" step=${step} value=${how[name]} onInput=${(/** @type {any} */ event) => set({ [name]: Number(event.target.value) || 0 })} /></div>`;
  return html`<fieldset class="tray-panel" id="mirror-tools"><legend>${t("outline_mirror")}</legend><p class="hint">${t("mirror_hint")}</p>
    <div class="tray-tools">
      <button type="button" id="mirror-across" aria-pressed=${how.across ? "true" : "false"} onClick=${() => set({ across: !how.across })}>${t("mirror_across")}</button>
      <button type="button" id="mirror-side" aria-pressed=${how.left ? "false" : "true"} onClick=${() => set({ left: !how.left })}>${t("mirror_side")}</button>
    </div>
    <div class="two">${number("turn", 0.5)}${number("shift", 0.1)}</div>
    ${!canMirror.value && html`<p class="fault" id="mirror-fault">${t("mirror_fault")}</p>`}
    <button type="button" class="main" id="mirror-apply" disabled=${!canMirror.value} onClick=${applyMirror}>${t("mirror_apply")}</button>
  </fieldset>`;
}
