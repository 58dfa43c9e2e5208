// Fields about when is printed, on how many printers, and from which spools.

import { firstSchedule, formOf, GOALS, withForm } from "./calendar_form.js";
import { find, h } from "../elements/dom.js";
import { changed, draft } from "../draft/draft.js";
import { t } from "../language/messages.js";

/** @typedef {import("./calendar_form.js").CalendarForm} CalendarForm */

const MOST_PRINTERS = 8;

/** The time zone of this device. */
const here = () => Intl.DateTimeFormat().resolvedOptions().timeZone || "UTC";

/** Fields of the calendar, which are shown once it is switched on. @param {() => void} redraw */
export function calendarFields(redraw) {
  const toggle = (/** @type {any} */ event) => {
    if (event.target.checked) draft.rest.schedule = firstSchedule(here());
    else delete draft.rest.schedule;
    changed("field");
    redraw();
  };
  const { schedule } = draft.rest;
  return h("fieldset", { id: "calendar" },
    h("legend", {}, t("calendar")),
    h("label", { class: "check" }, h("input", { type: "checkbox", id: "with-calendar", checked: Boolean(schedule), onchange: toggle }), t("with_calendar")),
    schedule && (formFields(schedule, redraw) ?? h("p", { class: "hint" }, t("calendar_as_given"))));
}

/** @param {Record<string, any>} schedule @param {() => void} redraw */
function formFields(schedule, redraw) {
  const form = formOf(schedule);
  if (!form) return null;
  const set = (/** @type {Partial<CalendarForm>} */ part) => {
    draft.rest.schedule = withForm(schedule, { ...form, ...part });
    changed("field");
  };
  const count = (/** @type {any} */ event) => {
    const number = Number(event.target.value);
    set({ printers: Array.from({ length: number }, (_, n) => form.printers[n] ?? `${n + 1}`) });
    redraw();
    find("printers")?.focus();
  };
  const hours = (/** @type {"printing" | "weekdays" | "weekend"} */ key) => h("fieldset", { class: "hours" }, h("legend", {}, t(`hours_${key}`)),
    h("div", { class: "two" }, /** @type {const} */ (["from", "to"]).map((side) => {
      const change = (/** @type {any} */ event) => {
        form[key] = { ...form[key], [side]: event.target.value };
        set({});
      };
      return h("div", { class: "field" }, h("label", { for: `${key}-${side}` }, t(`hours_${side}`)),
        h("input", { id: `${key}-${side}`, type: "time", value: form[key][side], onchange: change }));
    })));
  return [
    h("div", { class: "two" },
      h("div", { class: "field" }, h("label", { for: "printers" }, t("printers")),
        h("select", { id: "printers", onchange: count }, Array.from({ length: MOST_PRINTERS }, (_, n) => h("option", { value: n + 1, selected: n + 1 === form.printers.length }, String(n + 1))))),
      h("div", { class: "field" }, h("label", { for: "goal" }, t("goal")),
        h("select", { id: "goal", onchange: (/** @type {any} */ event) => set({ goal: event.target.value }) }, GOALS.map((goal) => h("option", { value: goal, selected: goal === form.goal }, t(`goal_${goal}`)))))),
    hours("printing"), hours("weekdays"), hours("weekend"),
    h("p", { class: "hint" }, t("calendar_hint")),
  ];
}

/** Fields of the filament's colour and of what is left on spools. */
export function spoolFields() {
  const material = () => draft.rest.material ?? {};
  const set = (/** @type {Record<string, any>} */ part) => {
    const kept = Object.entries({ ...material(), ...part }).filter(([, value]) => value !== null);
    if (kept.length) draft.rest.material = Object.fromEntries(kept);
    else delete draft.rest.material;
    changed("field");
  };
  const left = (/** @type {any} */ event) => {
    const grams = event.target.value.split(/[;\s]+/).filter(Boolean).map((/** @type {string} */ text) => (Number.isFinite(Number(text.replace(",", "."))) ? Number(text.replace(",", ".")) : text));
    set({ left: grams.length ? grams : null });
  };
  return h("div", {}, h("div", { class: "two" },
    h("div", { class: "field" }, h("label", { for: "colour" }, t("colour")),
      h("input", { id: "colour", type: "color", value: material().colour ?? "#808080", onchange: (/** @type {any} */ event) => set({ colour: event.target.value.toUpperCase() }) })),
    h("div", { class: "field" }, h("label", { for: "spools" }, `${t("spools")} (${t("optional")})`),
      h("input", { id: "spools", inputmode: "decimal", autocomplete: "off", maxlength: 120, value: (material().left ?? []).join("; "), "aria-describedby": "spools-hint", onchange: left }))),
    h("p", { class: "hint", id: "spools-hint" }, t("spools_hint")));
}
