// Problems beside the field that they are about.

import { byId, h, say, show } from "./dom.js";
import { t } from "./messages.js";

let told = [];

/** The element of the longest pointer that the fault's pointer begins with. */
function place(pointer, where) {
  let at = pointer ?? "";
  while (at) {
    if (where.has(at)) return where.get(at);
    at = at.slice(0, at.lastIndexOf("/"));
  }
  return null;
}

/** Show faults: each at its field where the page has one, the others above the form. Told again when fields are drawn anew. */
export function tell(faults, where) {
  told = faults.map((fault) => ({ ...fault, id: place(fault.pointer, where) }));
  mark();
  if (told.length) say(t("problems", { count: told.length }));
}

export const clear = () => tell([], new Map());

export const any = () => told.length > 0;

/** The step of the page that holds the first problem, or null. */
export function firstField() {
  const one = told.find((fault) => fault.id && byId(fault.id));
  return one ? byId(one.id) : null;
}

/** Put the notes beside the fields that are there now. */
export function mark() {
  for (const note of document.querySelectorAll(".fault")) note.remove();
  for (const field of document.querySelectorAll("[aria-invalid]")) {
    field.removeAttribute("aria-invalid");
    field.removeAttribute("aria-describedby");
  }
  const left = [];
  told.forEach((fault, index) => {
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
