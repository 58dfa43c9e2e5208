// Problems of the spec, each shown beside the field that it concerns.

import { announce, byId, h, show } from "./dom.js";
import { t } from "./messages.js";

let current = [];

/** Return the field id of the longest known prefix of a JSON Pointer, or null. */
function place(pointer, where) {
  let at = pointer ?? "";
  while (at) {
    if (where.has(at)) return where.get(at);
    at = at.slice(0, at.lastIndexOf("/"));
  }
  return null;
}

/** Show problems: beside their fields, and above the form those without a field. `mark` repeats it after a redraw. */
export function showProblems(faults, where) {
  current = faults.map((fault) => ({ ...fault, id: place(fault.pointer, where) }));
  mark();
  if (current.length) announce(t("problems", { count: current.length }));
}

export const clear = () => showProblems([], new Map());

/** Return the first field with a problem, or null. */
export function firstField() {
  const fault = current.find((fault) => fault.id && byId(fault.id));
  return fault ? byId(fault.id) : null;
}

/** Attach the current problems to the fields that are on the page now. */
export function mark() {
  for (const note of document.querySelectorAll(".fault")) note.remove();
  for (const field of document.querySelectorAll("[aria-invalid]")) {
    field.removeAttribute("aria-invalid");
    field.removeAttribute("aria-describedby");
  }
  const left = [];
  current.forEach((fault, index) => {
    const field = fault.id ? byId(fault.id) : null;
    if (!field) {
      left.push(fault);
      return;
    }
    const note = h("p", { class: "fault", id: `fault-${index}` }, fault.text);
    field.setAttribute("aria-invalid", "true");
    field.setAttribute("aria-describedby", note.id);
    (field.closest(".field") ?? field).append(note);
  });
  const general = byId("general");
  general.hidden = left.length === 0;
  show(general, left.map((fault) => h("p", {}, fault.text)));
}
