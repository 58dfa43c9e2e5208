// What a form about hours and printers says as a schedule of the spec, and a schedule as such a form. Data in, data out.

/** @typedef {{from: string, to: string}} Hours times of day such as "07:30"; two empty ones mean at any time */
/**
 * @typedef {{printers: string[], goal: string, printing: Hours, weekdays: Hours, weekend: Hours}} CalendarForm
 * `printing` is when printers may work, the other two are when somebody is there to start a run and to watch its first layer.
 */
/** @typedef {Record<string, any>} Schedule */

export const GOALS = ["finish", "drawers", "visits", "quiet_nights"];

const WEEKDAYS = ["mon", "tue", "wed", "thu", "fri"];
const WEEKEND = ["sat", "sun"];

/** Hours in which most people are at home and awake. */
const AT_HOME = { weekdays: { from: "17:30", to: "22:30" }, weekend: { from: "09:00", to: "22:30" } };

/** A schedule to begin with, in a time zone of the tz database. @param {string} timezone @returns {Schedule} */
export const firstSchedule = (timezone) => withForm({ timezone }, { printers: ["1"], goal: "finish", printing: { from: "", to: "" }, ...AT_HOME });

/** @param {string[] | undefined} days @param {string[]} all */
const covers = (days, all) => all.every((day) => !days || days.includes(day));

/** @param {any} window @returns {Hours} */
const hoursOf = (window) => ({ from: window?.start ?? "", to: window?.end ?? "" });

/**
 * The form of a schedule; null if it says more than the form can.
 * @param {Schedule} schedule
 * @returns {CalendarForm | null}
 */
export function formOf({ printers = [{ name: "1" }], goal = "finish", printing = [], attended = [] }) {
  const covering = (/** @type {string[]} */ days) => attended.filter((/** @type {any} */ window) => covers(window.days, days));
  const rest = attended.filter((/** @type {any} */ window) => !covers(window.days, WEEKDAYS) && !covers(window.days, WEEKEND));
  if (printing.length > 1 || printing[0]?.days || covering(WEEKDAYS).length > 1 || covering(WEEKEND).length > 1 || rest.length) return null;
  return {
    printers: printers.map((/** @type {any} */ printer) => printer.name),
    goal,
    printing: hoursOf(printing[0]),
    weekdays: hoursOf(covering(WEEKDAYS)[0]),
    weekend: hoursOf(covering(WEEKEND)[0]),
  };
}

/** @param {Hours} hours @param {string[]} [days] */
const windowsOf = ({ from, to }, days) => (from && to ? [{ ...(days ? { days } : {}), start: from, end: to }] : []);

/**
 * A schedule with what a form says; all else in it stays as it is, what is known of each printer too.
 * @param {Schedule} schedule
 * @param {CalendarForm} form
 * @returns {Schedule}
 */
export function withForm(schedule, { printers, goal, printing, weekdays, weekend }) {
  const before = schedule.printers ?? [];
  return {
    ...schedule,
    goal,
    printers: printers.map((name, n) => ({ ...before[n], name })),
    printing: windowsOf(printing),
    attended: [...windowsOf(weekdays, WEEKDAYS), ...windowsOf(weekend, WEEKEND)],
  };
}
