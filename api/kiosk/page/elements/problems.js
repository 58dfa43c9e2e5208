// Problems of the spec: each beside the field that it concerns, and above the form those whose field is not on show.

import { announce, button, byId, find, h, show } from "./dom.js";
import { t } from "../language/messages.js";

/** @typedef {{text: string, id: string | null}} Placed */
/** @typedef {import("../draft/spec_of.js").Where} Where */

/** @type {Placed[]} */
let current = [];

/** @type {{go: (id: string) => void, title: (id: string) => string}} */
let steps = { go: () => {}, title: () => "" };

/** Set what brings a field on show and focuses it, and the title of the step where it is. @param {typeof steps} made */
export function whenFollowed(made) {
  steps = made;
}

/**
 * Return the field id of the longest known prefix of a JSON Pointer, or null.
 * @param {string | null} pointer
 * @param {Where} where
 */
function place(pointer, where) {
  let at = pointer ?? "";
  while (at) {
    const id = where.get(at);
    if (id) return id;
    at = at.slice(0, at.lastIndexOf("/"));
  }
  return null;
}

/**
 * Show problems: beside their fields, and above the form those without a field. `mark` repeats it after a redraw.
 * @param {import("../documents").Fault[]} faults
 * @param {Where} where
 */
export function showProblems(faults, where) {
  const news = faults.length !== current.length;
  current = faults.map((fault) => ({ text: fault.text, id: place(fault.pointer, where) }));
  mark();
  if (current.length && news) announce(t("problems", { count: current.length }));
}

export const clear = () => showProblems([], new Map());

export const hasProblems = () => current.length > 0;

/** Return the first field with a problem, or null. */
export function firstField() {
  for (const { id } of current) {
    const field = id ? find(id) : null;
    if (field) return field;
  }
  return null;
}

/** Attach the current problems to the fields that are on show now. */
export function mark() {
  for (const note of document.querySelectorAll(".fault")) note.remove();
  for (const field of document.querySelectorAll("[aria-invalid]")) {
    field.removeAttribute("aria-invalid");
    field.removeAttribute("aria-describedby");
  }
  /** @type {Placed[]} */
  const left = [];
  current.forEach((fault, index) => {
    const field = fault.id ? find(fault.id) : null;
    if (!field || field.closest("[hidden], svg")) {
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
  show(general, left.map(({ text, id }) => h("p", {}, text, " ", id && button(t("go_to_field", { step: steps.title(id) }), () => steps.go(id), { class: "quiet", id: `to-${id}` }))));
}
