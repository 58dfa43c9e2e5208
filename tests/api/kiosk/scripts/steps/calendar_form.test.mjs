// The form about hours and printers, and the schedule that it says.

import assert from "node:assert/strict";
import { test } from "node:test";

import { firstSchedule, formOf, withForm } from "../../../../../api/kiosk/page/steps/calendar_form.js";

test("a form and its schedule say the same", () => {
  const form = { printers: ["left", "right"], goal: "visits", printing: { from: "06:00", to: "24:00" }, weekdays: { from: "18:00", to: "22:00" }, weekend: { from: "", to: "" } };
  const schedule = withForm({ timezone: "Europe/Lisbon" }, form);
  assert.deepEqual(schedule.attended, [{ days: ["mon", "tue", "wed", "thu", "fri"], start: "18:00", end: "22:00" }]);
  assert.deepEqual(schedule.printing, [{ start: "06:00", end: "24:00" }]);
  assert.deepEqual(formOf(schedule), form);
});

test("what the form does not show stays as it is", () => {
  const given = { timezone: "UTC", quiet: [{ start: "23:00", end: "06:00" }], printers: [{ name: "a", spools: [400] }, { name: "b" }] };
  const form = formOf(given);
  assert.ok(form);
  const changed = withForm(given, { ...form, printers: ["a", "b", "3"] });
  assert.deepEqual(changed.quiet, given.quiet);
  assert.deepEqual(changed.printers, [{ name: "a", spools: [400] }, { name: "b" }, { name: "3" }]);
});

test("hours of every day stand for weekdays and weekend alike", () => {
  const form = formOf({ attended: [{ start: "08:00", end: "20:00" }] });
  assert.deepEqual(form?.weekdays, { from: "08:00", to: "20:00" });
  assert.deepEqual(form?.weekend, { from: "08:00", to: "20:00" });
});

test("a schedule that says more than the form has none", () => {
  assert.equal(formOf({ printing: [{ start: "08:00", end: "10:00" }, { start: "12:00", end: "14:00" }] }), null);
  assert.equal(formOf({ attended: [{ days: ["mon"], start: "08:00", end: "10:00" }] }), null);
  assert.equal(formOf({ printing: [{ days: ["sun"], start: "08:00", end: "10:00" }] }), null);
});

test("the first schedule has one printer and somebody at home in the evening", () => {
  const schedule = firstSchedule("Asia/Tokyo");
  assert.equal(schedule.timezone, "Asia/Tokyo");
  assert.equal(schedule.printers.length, 1);
  assert.equal(schedule.attended.length, 2);
});
