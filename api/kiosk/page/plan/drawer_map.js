// A drawer drawn from above, front at the bottom: outline, floor, trays with their dividers, marks and names.

import { html, Memo } from "../elements/html.js";
import { t } from "../language/messages.js";
import { contentsOf, GAP, plannedTrays } from "./planned_trays.js";
import { fitText } from "./text_fit.js";

/** @typedef {import("../documents").Plan} Plan */
/** @typedef {import("../documents").DrawerPlan} DrawerPlan */
/** @typedef {import("../documents").Tray} Tray */
/** @typedef {{x: number, y: number, width: number, height: number}} Rect in mm, y running down the page */

/** Width of a drawing in px where it is not measured yet. */
const UNMEASURED = 640;

/** Margins around a drawer and room for the caption below it, in px. */
const EDGE = 6;
const CAPTION = 24;

/**
 * How a drawer is drawn on a width of so many px: px per mm, and the box of the drawing in mm.
 * @param {DrawerPlan} drawer
 * @param {number} px
 */
export function frameOf(drawer, px) {
  const [width, depth] = drawer.size;
  const scale = Math.max(0.05, ((px || UNMEASURED) - 2 * EDGE) / width);
  const [edge, caption] = [EDGE / scale, CAPTION / scale];
  return { scale, viewBox: `${-edge} ${-edge} ${width + 2 * edge} ${depth + 2 * edge + caption}`, edge };
}

/**
 * The rectangle of a box of half cells.
 * @param {DrawerPlan} drawer
 * @param {import("../workbench/cells.js").Box} box
 * @returns {Rect}
 */
export function rectOf(drawer, box) {
  const half = drawer.pitch / 2;
  const x = drawer.origin[0] + box.x * half + GAP;
  const front = drawer.origin[1] + box.y * half + GAP;
  const [width, height] = [box.w * half - 2 * GAP, box.d * half - 2 * GAP];
  return { x, y: drawer.size[1] - front - height, width, height };
}

/** Outline, tiles, grid and caption: what no change of trays touches. Properties: `drawer`, `plan`, `scale`. */
export class Ground extends Memo {
  /** @param {{drawer: DrawerPlan, plan: Plan, scale: number}} props */
  render({ drawer, plan, scale }) {
    const [width, depth] = drawer.size;
    const path = drawer.outline.map((ring) => `M${ring.map(([x, y]) => `${x} ${depth - y}`).join("L")}Z`).join("");
    const parts = new Map(plan.parts.map((part) => [part.mark, part]));
    const tiles = drawer.placements.flatMap((piece) => {
      const part = parts.get(piece.mark);
      if (part?.kind !== "tile") return [];
      const [w, d] = piece.turn % 180 ? [part.size[1], part.size[0]] : [part.size[0], part.size[1]];
      return [{ x: piece.at[0], y: depth - piece.at[1] - d, width: w, height: d }];
    });
    const [ox, oy] = drawer.origin;
    const [across, deep] = drawer.cells.across;
    const grid = !across || !deep ? "" : [ // a drawer with panels has no grid
      ...Array.from({ length: across + 1 }, (_, i) => `M${ox + i * drawer.pitch} ${depth - oy}v${-deep * drawer.pitch}`),
      ...Array.from({ length: deep + 1 }, (_, i) => `M${ox} ${depth - oy - i * drawer.pitch}h${across * drawer.pitch}`),
    ].join("");
    return html`<g aria-hidden="true">
      <path d=${path} class="outline" fill-rule="evenodd" />
      ${tiles.map((tile) => html`<rect ...${tile} class="tile" />`)}
      <path d=${grid} class="grid" />
      <text class="caption" x=${width / 2} y=${depth + 20 / scale} font-size=${12 / scale} text-anchor="middle">${t("front_of_drawer")}</text>
    </g>`;
  }
}

/** Panels with their shoes and clips, which stand above everything else. Properties: `drawer`, `plan`. */
export class Panels extends Memo {
  /** @param {{drawer: DrawerPlan, plan: Plan}} props */
  render({ drawer, plan }) {
    const parts = new Map(plan.parts.map((part) => [part.mark, part]));
    return html`<g>${["clip", "shoe", "panel"].flatMap((kind) => drawer.placements.map((piece) => {
      const part = parts.get(piece.mark);
      if (part?.kind !== kind) return null;
      const deep = piece.upright ? part.size[2] : part.size[1]; // strips of panels are printed flat
      const [w, d] = piece.turn % 180 ? [deep, part.size[0]] : [part.size[0], deep];
      return html`<rect x=${piece.at[0]} y=${drawer.size[1] - piece.at[1] - d} width=${w} height=${d} class=${kind === "panel" ? "panel" : "holder"}>
        <title>${`${piece.mark}: ${piece.name || part.name}`}</title></rect>`;
    }))}</g>`;
  }
}

/** Lanes, which have no tray, with what lies in them. Properties: `drawer`, `scale`. */
export class Lanes extends Memo {
  /** @param {{drawer: DrawerPlan, scale: number}} props */
  render({ drawer, scale }) {
    return html`<g>${drawer.lanes.map((lane, n) => {
      const rect = { x: lane.at[0], y: drawer.size[1] - lane.at[1] - lane.size[1], width: lane.size[0], height: lane.size[1] };
      const inside = drawer.contents.filter((content) => content.lane === n).map((content) => `${content.count} × ${content.item}`).join(", ");
      return html`<g class="lane" role="img" aria-label=${t("lane_of", { name: inside || lane.name })}><rect ...${rect} rx="2" /><${Words} ...${rect} mark="" text=${inside || lane.name} scale=${scale} /></g>`;
    })}</g>`;
  }
}

/** Where the pieces of trays in pieces meet. Properties: `drawer`, `plan`. */
export class Splices extends Memo {
  /** @param {{drawer: DrawerPlan, plan: Plan}} props */
  render({ drawer, plan }) {
    const parts = new Map(plan.parts.map((part) => [part.mark, part]));
    return html`<g aria-hidden="true">${drawer.jointed.flatMap((tray) => tray.pieces.map((index) => {
      const piece = drawer.placements[index];
      const part = piece && parts.get(piece.mark);
      if (!piece || !part) return null;
      const [w, d] = piece.turn % 180 ? [part.size[1], part.size[0]] : [part.size[0], part.size[1]];
      return html`<rect class="splice" x=${piece.at[0]} y=${drawer.size[1] - piece.at[1] - d} width=${w} height=${d} />`;
    }))}</g>`;
  }
}

/** Mark and name inside a rectangle. Properties: `rect`, `mark`, `text`, `scale`. */
export class Words extends Memo {
  /** @param {{x: number, y: number, width: number, height: number, mark: string, text: string, scale: number}} props */
  render({ x, y, width, height, mark, text, scale }) {
    const fit = fitText(mark, text, width * scale, height * scale);
    if (!fit) return null;
    const [cx, cy, size] = [x + width / 2, y + height / 2, fit.size / scale];
    const first = cy - ((fit.lines.length - 1) * size * 1.18) / 2 + size * 0.35;
    return html`<text class="words" font-size=${size} text-anchor="middle" transform=${fit.upright ? `rotate(-90 ${cx} ${cy})` : undefined}>
      ${fit.lines.map((line, i) => html`<tspan x=${cx} y=${first + i * size * 1.18}>${line}</tspan>`)}
    </text>`;
  }
}

/**
 * The dividers of a tray as a path, given the rectangle of the tray.
 * @param {Tray} tray
 * @param {Rect} rect
 */
export function dividersPath(tray, rect) {
  const wall = tray.wall ?? 1.2;
  const [inner, deep] = [rect.width - 2 * wall, rect.height - 2 * wall];
  const [left, front] = [rect.x + wall, rect.y + rect.height - wall];
  const line = (/** @type {"x" | "y"} */ axis, /** @type {number} */ at, /** @type {[number, number] | null | undefined} */ span) => {
    const [from, to] = span ?? [0, axis === "x" ? deep : inner];
    return axis === "x" ? `M${left + at} ${front - from}V${front - to}` : `M${left + from} ${front - at}H${left + to}`;
  };
  const [columns, rows] = tray.compartments ?? [1, 1];
  return [
    ...Array.from({ length: columns - 1 }, (_, n) => line("x", (inner * (n + 1)) / columns, null)),
    ...Array.from({ length: rows - 1 }, (_, n) => line("y", (deep * (n + 1)) / rows, null)),
    ...(tray.dividers ?? []).map((divider) => line(divider.axis, divider.at, divider.span)),
  ].join("");
}

/**
 * What a drawer holds, in words, for those who do not see it.
 * @param {Plan} plan
 * @param {DrawerPlan} drawer
 */
export function described(plan, drawer) {
  const trays = plannedTrays(plan, drawer);
  const inside = trays.map((tray) => `${tray.mark} ${contentsOf(drawer, tray.index) || tray.name}`);
  return `${t("plan_of", { name: drawer.name })}. ${t("trays_count", { count: trays.length })}${inside.length ? `: ${inside.join("; ")}` : ""}.`;
}

/** Share of the window's height that a drawing takes, and the width from which on there is room beside it, px. */
const HEIGHT_SHARE = 0.66;
const NARROW = 700;

/**
 * Return how wide the drawing of a drawer is where it has so much room: all of it on a phone, else it can be seen whole.
 * @param {DrawerPlan} drawer
 * @param {number} room px
 */
export const widthOf = (drawer, room) => Math.round(window.innerWidth <= NARROW ? room : Math.min(room, (window.innerHeight * HEIGHT_SHARE * drawer.size[0]) / drawer.size[1]));

/**
 * A drawer that is only looked at.
 * @param {{plan: Plan, drawer: DrawerPlan, px: number, lit?: Set<number>, tints?: Map<number, number>}} props `lit` are
 * placements to mark, `tints` those of groups by placement
 */
export function DrawerMap({ plan, drawer, px, lit, tints }) {
  const { scale, viewBox } = frameOf(drawer, px);
  const half = drawer.pitch / 2;
  return html`<svg viewBox=${viewBox} width=${px} class="plan-drawing" role="img" aria-label=${described(plan, drawer)}>
    <${Ground} drawer=${drawer} plan=${plan} scale=${scale} />
    ${plannedTrays(plan, drawer).map((tray) => {
      const box = { x: tray.at[0] * 2, y: tray.at[1] * 2, w: tray.cells[0] * 2, d: tray.cells[1] * 2 };
      const rect = rectOf(drawer, box);
      return html`<g class=${["tray", lit?.has(tray.index) && "lit", tints?.has(tray.index) && `tinted tint-${tints.get(tray.index)}`].filter(Boolean).join(" ")} key=${tray.index}>
        <rect ...${rect} rx=${half / 4} />
        <path d=${dividersPath(tray.tray, rect)} class="divider" />
        <${Words} ...${rect} mark=${tray.mark} text=${contentsOf(drawer, tray.index) || tray.name} scale=${scale} />
        <title>${`${tray.mark}: ${contentsOf(drawer, tray.index) || tray.name}`}</title>
      </g>`;
    })}
    <${Lanes} drawer=${drawer} scale=${scale} />
    <${Splices} drawer=${drawer} plan=${plan} />
    <${Panels} drawer=${drawer} plan=${plan} />
  </svg>`;
}
