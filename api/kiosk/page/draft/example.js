// An example to try the page with: a drawer of a household and what lies in it.

import { blankDraft, blankDrawer } from "./draft_format.js";

/** @type {[name: string, kind: "box" | "cylinder", sizes: string[], count: number, access: string, group: string][]} */
const THINGS = [
  ["scissors", "box", ["175", "70", "12"], 1, "often", ""],
  ["glue stick", "cylinder", ["26", "98"], 3, "often", ""],
  ["pencil", "cylinder", ["8", "176"], 12, "often", "writing"],
  ["felt pen", "cylinder", ["11", "140"], 8, "sometimes", "writing"],
  ["eraser", "box", ["44", "19", "12"], 3, "sometimes", "writing"],
  ["sticky notes", "box", ["76", "76", "15"], 4, "sometimes", ""],
  ["paper clip box", "box", ["68", "52", "22"], 2, "sometimes", ""],
  ["hole punch", "box", ["112", "62", "52"], 1, "rarely", ""],
];

/** @returns {import("./draft_format.js").Draft} */
export function exampleDraft() {
  const drawer = { ...blankDrawer("desk drawer", "d1"), width: ["412", "", ""], depth: ["410", "", ""], height: "68" };
  const things = THINGS.map(([name, kind, sizes, count, access, group], i) => ({
    key: `t${i + 1}`, kind, id: "", name, sizes, count, access, storage: "", group, near: "", label: false,
  }));
  return { ...blankDraft(), drawers: [drawer], things, bed: ["220", "220", "220"] };
}
