// The views of lists, each loaded when it is first opened: drawers of the household, and jobs.

import { byId, h, show } from "../elements/dom.js";
import { t } from "../language/messages.js";
import { householdAddress } from "./household_text.js";

/** What the address names of the household. */
export const householdNow = () => householdAddress(window.location.hash);

export const jobsNow = () => window.location.hash === "#jobs";

/** Ends the list that is on show. */
let leave = () => {};

/**
 * Return a module, or null if it cannot be loaded.
 * @template T
 * @param {Promise<T>} loading
 */
const loaded = (loading) => loading.catch(() => null);

/** Draw the list that the address names, or say that it cannot be loaded. */
export async function drawList() {
  leaveList();
  if (jobsNow()) {
    const list = await loaded(import("../jobs/jobs_list.js"));
    if (list) list.drawJobs();
    else drawLost();
    return;
  }
  const household = await loaded(import("./household.js"));
  if (!household) {
    drawLost();
    return;
  }
  leave = household.leaveHousehold;
  await household.drawHousehold();
}

const drawLost = () => show(byId("household-body"), h("p", { class: "problems", role: "alert" }, t("lost")));

export function leaveList() {
  leave();
  leave = () => {};
}
