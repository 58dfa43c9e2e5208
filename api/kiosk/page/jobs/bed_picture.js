// A picture of a print bed from above: where each piece of a run lies, with its mark as on the map.

import { s } from "../elements/dom.js";
import { t } from "../language/messages.js";

/** @typedef {import("../documents").Run} Run */
/** @typedef {import("../documents").Part} Part */
/** @typedef {{mark: string, x: number, y: number, w: number, d: number}} Rectangle in mm, from the front left corner of the bed */

/** Height of the letters as a share of the bed's longer side, and how wide a letter is beside its height. */
const LETTER = 0.14;
const LETTER_WIDTH = 0.65;

/**
 * The bounding boxes of the pieces of a run; those of parts that are not listed are left out.
 * @param {Pick<Run, "pieces">} run
 * @param {Pick<Part, "mark" | "size">[]} parts
 * @returns {Rectangle[]}
 */
export function rectangles({ pieces }, parts) {
  const sizes = new Map(parts.map((part) => [part.mark, part.size]));
  return pieces.flatMap(({ mark, at, turn }) => {
    const size = sizes.get(mark);
    if (!size) return [];
    const [w, d] = turn % 180 === 0 ? [size[0], size[1]] : [size[1], size[0]];
    return [{ mark, x: at[0], y: at[1], w, d }];
  });
}

/**
 * The bed of a printer in a spec, mm: of the first of these names where printers are not alike.
 * @param {any} spec
 * @param {string[]} names
 * @returns {[number, number] | null}
 */
export function bedOf(spec, names) {
  const printer = (spec?.printers ?? []).find((/** @type {any} */ own) => names.includes(own.name)) ?? spec?.printer;
  const [w, d] = printer?.bed ?? [];
  return typeof w === "number" && typeof d === "number" ? [w, d] : null;
}

/**
 * @param {Run} run
 * @param {Part[]} parts
 * @param {[number, number] | null} bed its width and depth in mm; if it is not known, the picture shows the pieces alone
 */
export function bedPicture(run, parts, bed) {
  const boxes = rectangles(run, parts);
  const [w, d] = bed ?? [Math.max(1, ...boxes.map((box) => box.x + box.w)), Math.max(1, ...boxes.map((box) => box.y + box.d))];
  const letter = LETTER * Math.max(w, d);
  return s("svg", { class: "bed", viewBox: `-1 -1 ${w + 2} ${d + 2}`, role: "img", "aria-label": t("bed_picture", { number: run.number }) },
    s("rect", { class: "bed-plate", x: 0, y: 0, width: w, height: d }),
    boxes.map((box) => {
      const size = Math.min(letter, box.d * 0.8, box.w / (LETTER_WIDTH * box.mark.length));
      const [x, y] = [box.x + box.w / 2, d - box.y - box.d / 2];
      return s("g", {},
        s("rect", { class: "bed-piece", x: box.x, y: d - box.y - box.d, width: box.w, height: box.d, rx: 1 }),
        s("text", { x, y: y + size * 0.35, "font-size": size, "text-anchor": "middle" }, box.mark));
    }));
}
