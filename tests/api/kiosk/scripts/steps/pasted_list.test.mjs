// Lists as spreadsheets copy them (tab-separated) and as files hold them (CSV, RFC 4180).

import assert from "node:assert/strict";
import { test } from "node:test";

import { cellsOf, readList } from "../../../../../api/kiosk/page/steps/pasted_list.js";

test("rows without heads are name, length, width, height, count", () => {
  assert.deepEqual(readList("pen\t140\t11\t11\t8\neraser\t44\t19\t12\t"), [
    { line: 1, name: "pen", sizes: ["140", "11", "11"], kind: "box", count: 8, fault: null },
    { line: 2, name: "eraser", sizes: ["44", "19", "12"], kind: "box", count: 1, fault: null },
  ]);
});

test("heads give the order, and a diameter makes a cylinder", () => {
  assert.deepEqual(readList("Qty;Item;Diameter (mm);Length\r\n12;pencil;8;176\r\n"), [
    { line: 2, name: "pencil", sizes: ["8", "176"], kind: "cylinder", count: 12, fault: null },
  ]);
});

test("quotes, separators and line breaks within quotes (RFC 4180, 2.5 to 2.7)", () => {
  assert.deepEqual(cellsOf('"a ""b"", c",2\r\n"two\nlines",3\r\n\r\nlast,4'), [
    { line: 1, cells: ['a "b", c', "2"] },
    { line: 2, cells: ["two\nlines", "3"] },
    { line: 5, cells: ["last", "4"] },
  ]);
});

test("decimal commas with semicolons, units and inches", () => {
  const [row] = readList("rule;30,5 cm;3,2 cm;1,5;2");
  assert.deepEqual([row?.sizes, row?.fault], [["30,5 cm", "3,2 cm", "1,5"], null]);
});

test("each row that is not understood says why", () => {
  assert.deepEqual(readList("\t1\t2\t3\t4\npen\t1\t\t3\t4\npen\t1\tx\t3\t4\npen\t1\t2\t3\tmany\npen\t1\t2\t3\t0").map((row) => row.fault), ["name", "sizes", "sizes", "count", "count"]);
});

test("any text is read without an error", () => {
  for (const text of ["", "\n\n", '"', '"open', ",,,", "\t", "\u0000", "name", "a,b\n\"c", "1,2,3,4,5"]) assert.ok(Array.isArray(readList(text)), text);
});
