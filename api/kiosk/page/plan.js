// The plan: requested and redrawn shortly after each change of the draft.

import { bedGiven, ready, specOf } from "./draft.js";
import { byId, h, s, show } from "./dom.js";
import { t } from "./messages.js";
import { bedChoices } from "./printer.js";
import { clear, showProblems } from "./problems.js";
import { ConnectionLost, faults, requestJson, RequestRefused } from "./service.js";
import { shown } from "./units.js";

const PAUSE = 350;

let timer = 0;
let pending = null;
export let latest = null;

/** Request a plan shortly after the last change. */
export function planSoon() {
  window.clearTimeout(timer);
  timer = window.setTimeout(planNow, PAUSE);
}

export async function planNow() {
  window.clearTimeout(timer);
  pending?.abort();
  if (!ready()) {
    latest = null;
    clear();
    show(byId("plan-body"), h("p", { class: "hint" }, t("plan_waits")));
    return null;
  }
  if (!bedGiven()) {
    latest = null;
    clear();
    const focusPlan = () => byId("plan-body").focus({ preventScroll: true }); // the pressed button disappears
    show(byId("plan-body"), h("p", { class: "hint" }, t("bed_ask")), bedChoices("plan-bed", focusPlan));
    return null;
  }
  const { spec, where } = specOf();
  const controller = new AbortController();
  pending = controller;
  byId("plan").setAttribute("aria-busy", "true");
  try {
    latest = await requestJson("POST", "v1/plans", { body: spec, signal: controller.signal });
    clear();
    draw(latest);
    return latest;
  } catch (error) {
    if (error.name === "AbortError") return null;
    latest = null;
    if (error instanceof RequestRefused) {
      showProblems(faults(error.problem), where);
      show(byId("plan-body"), h("p", { class: "hint" }, t("plan_refused")));
    } else if (error instanceof ConnectionLost) show(byId("plan-body"), h("p", { class: "hint" }, t("lost")));
    else throw error;
    return null;
  } finally {
    if (pending === controller) byId("plan").removeAttribute("aria-busy");
  }
}

function draw(plan) {
  const pieces = plan.parts.reduce((sum, part) => sum + part.quantity, 0);
  show(byId("plan-body"),
    plan.drawers.map((drawer) => h("figure", {}, picture(drawer, plan), h("figcaption", {}, caption(drawer)))),
    h("p", { class: "sum", id: "plan-sum" }, [t("pieces", { count: pieces }), plan.runs?.length ? t("runs_count", { count: plan.runs.length }) : null].filter(Boolean).join(", ")),
    plan.unplaced.length > 0 && h("div", { class: "problems" }, h("h3", {}, t("unplaced")),
      h("ul", {}, plan.unplaced.map((item) => h("li", {}, `${item.count} × ${item.item}: ${[item.reason, item.remedy].filter(Boolean).join(" ")}`)))),
    plan.warnings.length > 0 && h("ul", { class: "warnings" }, plan.warnings.map((warning) => h("li", {}, warning.message))));
}

const caption = (drawer) => `${drawer.name}: ${drawer.cells.across[0] ? `${drawer.cells.across[0]} × ${drawer.cells.across[1]} ${t("cells")}, ` : ""}${drawer.copies > 1 ? `${drawer.copies} ×, ` : ""}${shown(drawer.size[0])} × ${shown(drawer.size[1])} × ${shown(drawer.size[2])}`;

/** Draw a drawer from above, front at the bottom. */
export function picture(drawer, plan) {
  const [width, depth] = drawer.size;
  const parts = new Map(plan.parts.map((part) => [part.mark, part]));
  const y = (front, deep) => depth - front - deep; // y of a page runs down
  const path = drawer.outline.map((ring) => `M${ring.map(([px, py]) => `${px} ${depth - py}`).join("L")}Z`).join("");
  const stands = drawer.placements.map((piece, index) => ({ ...piece, index, part: parts.get(piece.mark) })).filter((piece) => piece.part);
  const box = (piece) => {
    const [a, deep, thick] = piece.part.size;
    const b = piece.upright ? thick : deep; // strips of panels are printed flat
    const [w, d] = piece.turn % 180 ? [b, a] : [a, b];
    return { x: piece.at[0], y: y(piece.at[1], d), width: w, height: d };
  };
  const panels = ["clip", "shoe", "panel"].flatMap((kind) => stands.filter((piece) => piece.part.kind === kind));
  const tiles = stands.filter((piece) => piece.part.kind === "tile");
  const trays = stands.filter((piece) => piece.part.kind === "tray").sort((a, b) => a.at[2] - b.at[2]);
  const held = (index) => (drawer.contents ?? []).filter((content) => content.placement === index);
  const lines = [];
  const [ox, oy] = drawer.origin;
  for (let i = 0; drawer.cells.across[0] && i <= drawer.cells.across[0]; i += 1) lines.push([ox + i * drawer.pitch, oy, ox + i * drawer.pitch, oy + drawer.cells.across[1] * drawer.pitch]);
  for (let i = 0; drawer.cells.across[1] && i <= drawer.cells.across[1]; i += 1) lines.push([ox, oy + i * drawer.pitch, ox + drawer.cells.across[0] * drawer.pitch, oy + i * drawer.pitch]);
  return s("svg", { viewBox: `-4 -4 ${width + 8} ${depth + 22}`, class: "plan-drawing", role: "img", "aria-label": described(drawer, trays, held) },
    s("path", { d: path, class: "outline", "fill-rule": "evenodd" }),
    tiles.map((piece) => s("rect", { ...box(piece), class: "tile" })),
    lines.map(([x1, y1, x2, y2]) => s("line", { x1, y1: depth - y1, x2, y2: depth - y2, class: "grid" })),
    trays.map((piece) => {
      const at = box(piece);
      const inside = held(piece.index);
      const name = inside.length ? inside.map((thing) => `${thing.count} × ${thing.item}`).join(", ") : piece.name || piece.part.name || piece.mark;
      return s("g", { class: piece.at[2] > 20 ? "tray piled" : "tray" },
        s("rect", { ...at, rx: 6 }), words(name, at), s("title", {}, `${piece.mark}: ${name}`));
    }),
    panels.map((piece) => s("rect", { ...box(piece), class: piece.part.kind === "panel" ? "panel" : "holder" }, s("title", {}, `${piece.mark}: ${piece.name || piece.part.name}`))),
    s("text", { x: width / 2, y: depth + 14, class: "caption", "text-anchor": "middle", "font-size": Math.max(9, width / 32) }, t("front_of_drawer")));
}

/** Fit a text into a box: the largest size that fits, wrapped at spaces, truncated at the smallest size. */
function words(text, { x, y, width, height }) {
  const upright = height > width * 1.6;
  const [across, down] = upright ? [height, width] : [width, height];
  for (let size = Math.min(13, down / 2.2); size >= 5; size -= 1) {
    const fits = Math.floor((across - 8) / (size * 0.56));
    const lines = broken(text, fits);
    if (lines && lines.length * size * 1.15 <= down - 4) return put(lines, size);
  }
  const fits = Math.max(1, Math.floor((across - 6) / 2.8));
  return put([text.length > fits ? `${text.slice(0, Math.max(1, fits - 1))}…` : text], 5);

  function put(lines, size) {
    const cx = x + width / 2;
    const cy = y + height / 2;
    const first = cy - ((lines.length - 1) * size * 1.15) / 2 + size * 0.35;
    return s("text", { "font-size": size, "text-anchor": "middle", transform: upright ? `rotate(-90 ${cx} ${cy})` : null },
      lines.map((line, i) => s("tspan", { x: cx, y: first + i * size * 1.15 }, line)));
  }
}

function broken(text, fits) {
  const lines = [""];
  for (const word of text.split(" ")) {
    if (word.length > fits) return null;
    const last = lines.at(-1);
    if (last && last.length + 1 + word.length > fits) lines.push(word);
    else lines[lines.length - 1] = last ? `${last} ${word}` : word;
  }
  return lines;
}

function described(drawer, trays, held) {
  const inside = trays.map((tray) => held(tray.index).map((thing) => `${thing.count} ${thing.item}`).join(", ") || tray.name || tray.mark);
  return `${t("plan_of", { name: drawer.name })}. ${t("trays_count", { count: trays.length })}${inside.length ? `: ${inside.join("; ")}` : ""}.`;
}
