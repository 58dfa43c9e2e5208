"""The calendar feed of a timetable: iCalendar (RFC 5545) with a name and a refresh interval (RFC 7986)."""

from collections import Counter
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from typing import Final

from icalendar import Alarm, Calendar, Event, vText, vUri

from worker.output.filament_changes import filament_changes
from worker.spec.manifest import RunEntry, ScheduleEntry, StepEntry, SwapEntry

__all__ = ["spool_change", "write_feed"]

_PRODUCT: Final = "-//drawerwright//schedule//EN"

#: How often calendar programs fetch the feed.
_REFRESH: Final = timedelta(hours=1)

#: An event's SEQUENCE counts seconds from here, so that later feeds supersede earlier ones; 31 bits last until 2093.
_COUNTED_FROM: Final = datetime(2025, 1, 1, tzinfo=UTC)
_LAST_REVISION: Final = 2**31 - 1

_SAFETY: Final = (
    "Do not leave a running printer unattended, and keep flammable material away from it. The manufacturer's "
    "instructions and local regulations take precedence over this calendar."
)


def write_feed(
    schedule: ScheduleEntry,
    runs: Sequence[RunEntry],
    *,
    name: str,
    uid_base: str,
    made: datetime,
    sheets: str | None = None,
) -> bytes:
    """Return the feed as UTF-8: one event in UTC for each scheduled run.

    An event keeps its UID in later feeds, so that calendar programs move it instead of showing it twice.

    Args:
        schedule: the timetable.
        runs: the runs of the timetable.
        name: the job's name.
        uid_base: unique to the job, such as its id.
        made: the time of the timetable; a later one supersedes it.
        sheets: the URL below which each run's sheet is, as ``3.pdf``; without it events have no URL.

    Raises:
        KeyError: when a run of the timetable is missing.
    """
    runs_by_number = {run.number: run for run in runs}
    calendar = Calendar()
    calendar.add("prodid", _PRODUCT)
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    calendar.add("method", "PUBLISH")
    calendar.add("name", vText(name))
    calendar.add("x-wr-calname", vText(name))  # for programs that do not know RFC 7986
    calendar.add("last-modified", made.astimezone(UTC))
    calendar.add("refresh-interval", _REFRESH, parameters={"VALUE": "DURATION"})
    calendar.add("x-published-ttl", vText("PT1H"))
    for step in schedule.steps:
        event = _event(step, runs_by_number[step.run], name, uid_base, made.astimezone(UTC))
        if sheets is not None:
            event.add("url", vUri(f"{sheets}/{step.run}.pdf"))
        calendar.add_component(event)
    return bytes(calendar.to_ical())


def _event(step: StepEntry, run: RunEntry, name: str, uid_base: str, made: datetime) -> Event:
    summary = f"Print run {run.number} on {step.printer}"
    event = Event()
    event.add("uid", f"{uid_base}-run-{run.number}@drawerwright")
    event.add("dtstamp", made)
    event.add("last-modified", made)
    event.add("sequence", min(max(int((made - _COUNTED_FROM).total_seconds()), 0), _LAST_REVISION))
    event.add("dtstart", step.begin.astimezone(UTC))
    event.add("dtend", step.end.astimezone(UTC))
    event.add("summary", summary)
    event.add("description", "\n".join(_lines(step, run, name)))
    event.add("location", step.printer)
    event.add("transp", "TRANSPARENT")  # the printer is busy, not the person
    alarm = Alarm()
    alarm.add("action", "DISPLAY")
    alarm.add("trigger", timedelta(0))
    alarm.add("description", f"{summary} starts now. {_attendance(step)}")
    event.add_component(alarm)
    return event


def _lines(step: StepEntry, run: RunEntry, name: str) -> list[str]:
    marks = Counter(piece.mark for piece in run.pieces)
    pieces = ", ".join(mark if count == 1 else f"{count} x {mark}" for mark, count in marks.items())
    filament = " ".join(word for word in (run.material, run.colour) if word)
    weight = "" if run.grams is None else f", {run.grams:.0f} g"
    lines = [f"Job: {name}", f"Pieces: {pieces}", f"Filament: {filament}{weight}; layer {run.layer:g} mm"]
    if run.file is not None:
        lines.append(f"File: {run.file}")
    lines.append(_attendance(step))
    lines += [spool_change(swap) for swap in step.swaps]
    lines += filament_changes(run, step)
    return [*lines, f"The bed is free from {step.free:%H:%M on %Y-%m-%d}.", _SAFETY]


def spool_change(swap: SwapEntry) -> str:
    """Return what to do at a change of spools."""
    onto = "" if swap.onto is None else f" with {swap.onto:.0f} g"
    if swap.after_grams == 0.0:
        return f"Change to a spool{onto} before the start: the one on the printer does not last."
    at = "" if swap.at is None else f", at about {swap.at:%H:%M on %a}"
    absent = "" if swap.attended else ", when nobody is present"
    return f"The spool runs out after about {swap.after_grams:.0f} g{at}{absent}: have one{onto} ready."


def _attendance(step: StepEntry) -> str:
    if step.attended_until == step.begin:
        return "Attend the start."
    return f"Attend the printer until {step.attended_until:%H:%M}, while it prints the first layer."
