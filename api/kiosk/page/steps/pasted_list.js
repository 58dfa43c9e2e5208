// A list of things as text: pasted from a spreadsheet, or the content of a CSV file. Reads; changes nothing.

import { length } from "../language/units.js";

/** @typedef {{line: number, name: string, sizes: string[], kind: "box" | "cylinder", count: number, fault: null | "name" | "sizes" | "count"}} Row */

/** Heads of columns, by what they mean. */
const HEADS = {
  name: ["name", "item", "thing", "what", "description"],
  length: ["length", "long", "l", "x"],
  width: ["width", "wide", "w", "y", "breadth"],
  height: ["height", "high", "h", "z", "thickness"],
  diameter: ["diameter", "dia", "d", "\u00d8", "\u2300"],
  count: ["count", "quantity", "qty", "number", "pieces", "pcs"],
};

/** @typedef {keyof typeof HEADS} Column */

/** The order of columns without heads. @type {Column[]} */
const ORDER = ["name", "length", "width", "height", "count"];

/**
 * Split CSV (RFC 4180) or tab-separated text into rows of cells.
 * @param {string} text
 * @returns {{line: number, cells: string[]}[]}
 */
export function cellsOf(text) {
  const body = text.replace(/^\ufeff/, "");
  const head = body.split(/\r?\n/, 1)[0] ?? "";
  const separator = ["\t", ";", ","].find((mark) => head.includes(mark)) ?? ",";
  /** @type {{line: number, cells: string[]}[]} */
  const rows = [];
  let line = 1;
  let start = 1;
  let cell = "";
  /** @type {string[]} */
  let cells = [];
  let quoted = false;
  const end = () => {
    cells.push(cell.trim());
    cell = "";
  };
  const endRow = () => {
    end();
    if (cells.some(Boolean)) rows.push({ line: start, cells });
    cells = [];
    start = line;
  };
  for (let i = 0; i < body.length; i += 1) {
    const sign = body[i];
    if (sign === "\n") line += 1;
    if (quoted) {
      if (sign === '"' && body[i + 1] === '"') i += 1;
      else if (sign === '"') quoted = false;
      if (sign !== '"' || quoted) cell += sign;
    } else if (sign === '"' && !cell.trim()) {
      quoted = true;
      cell = "";
    } else if (sign === separator) end();
    else if (sign === "\n") endRow();
    else if (sign !== "\r") cell += sign;
  }
  endRow();
  return rows;
}

/** @param {string[]} cells @returns {(Column | null)[] | null} the columns that a row of heads names */
function headsOf(cells) {
  const columns = cells.map((cell) => {
    const word = cell.toLowerCase().replace(/[([].*$/, "").trim();
    return /** @type {Column[]} */ (Object.keys(HEADS)).find((column) => HEADS[column].includes(word)) ?? null;
  });
  return columns.includes("name") && columns.some((column) => column !== null && column !== "name") ? columns : null;
}

/**
 * Return what is understood of a list: a row for each line with content, with its fault.
 * @param {string} text
 * @returns {Row[]}
 */
export function readList(text) {
  const rows = cellsOf(text);
  const heads = rows[0] ? headsOf(rows[0].cells) : null;
  const columns = heads ?? ORDER;
  return (heads ? rows.slice(1) : rows).map(({ line, cells }) => {
    const of = (/** @type {Column} */ column) => cells[columns.indexOf(column)] ?? "";
    const across = of("diameter");
    const sizes = across ? [across, of("length") || of("height")] : [of("length"), of("width"), of("height")];
    const written = of("count") || "1";
    const row = { line, name: of("name").slice(0, 80), sizes, kind: /** @type {"box" | "cylinder"} */ (across ? "cylinder" : "box"), count: Number(written) };
    return { ...row, fault: faultOf(row) };
  });
}

/** @param {Omit<Row, "fault">} row @returns {Row["fault"]} */
function faultOf({ name, sizes, count }) {
  if (!name) return "name";
  const isLength = (/** @type {string} */ size) => {
    const made = length(size);
    return typeof made === "number" ? made > 0 : /^\d[\d\s.,/]*\s*(mm|cm|m|in|"|')?$/i.test(made);
  };
  if (!sizes.every(isLength)) return "sizes";
  return Number.isInteger(count) && count > 0 && count <= 10_000 ? null : "count";
}
