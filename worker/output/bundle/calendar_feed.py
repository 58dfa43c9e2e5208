"""The timetable as a calendar feed: iCalendar (RFC 5545), with a name and a refresh interval (RFC 7986)."""

from collections import Counter
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from typing import Final

from icalendar import Alarm, Calendar, Event, vText

from worker.spec.manifest import RunEntry, ScheduleEntry, StepEntry

__all__ = ["write_feed"]

_PRODUCT: Final = "-//drawerwright//schedule//EN"

#: How often a calendar looks for a newer one.
_REFRESH: Final = timedelta(hours=1)

#: Revisions of an event are counted in seconds from here, so that a later feed always has the higher one; 31 bits last
#: until 2093.
_COUNTED_FROM: Final = datetime(2025, 1, 1, tzinfo=UTC)
_LAST_REVISION: Final = 2**31 - 1

_SAFETY: Final = (
    "Do not leave a printer running unattended; keep flammable things away from it, and follow its maker's "
    "instructions and the local rules, which come before this calendar."
)


def write_feed(schedule: ScheduleEntry, runs: Sequence[RunEntry], *, name: str, uid_base: str, made: datetime) -> bytes:
    """Return the feed: one event for each run that has a time, in UTC.

    An event keeps its identifier from feed to feed, so that a calendar moves it and does not show it twice.

    Args:
        schedule: the timetable.
        runs: the runs that it dates.
        name: what the job is called.
        uid_base: what no other job has, as the job's id.
        made: when the timetable was made; a later one counts as the newer.
    """
    of_number = {run.number: run for run in runs}
    calendar = Calendar()
    calendar.add("prodid", _PRODUCT)
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    calendar.add("method", "PUBLISH")
    calendar.add("name", vText(name))
    calendar.add("x-wr-calname", vText(name))  # what calendars read that do not know RFC 7986
    calendar.add("last-modified", made.astimezone(UTC))
    calendar.add("refresh-interval", _REFRESH, parameters={"VALUE": "DURATION"})
    calendar.add("x-published-ttl", vText("PT1H"))
    for step in schedule.steps:
        calendar.add_component(_event(step, of_number[step.run], name, uid_base, made.astimezone(UTC)))
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
    alarm.add("description", f"{summary} is to begin. {_watch(step)}")
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
    lines.append(_watch(step))
    lines += [
        "Have the next spool ready before it begins."
        if swap.after_grams == 0.0
        else f"A spool runs out after about {swap.after_grams:.0f} g: have the next one ready."
        for swap in step.swaps
    ]
    return [*lines, f"The bed is free at {step.free:%H:%M on %Y-%m-%d}.", _SAFETY]


def _watch(step: StepEntry) -> str:
    if step.attended_until == step.begin:
        return "Be there when it begins."
    return f"Be there until {step.attended_until:%H:%M}, and see the first layer down."
