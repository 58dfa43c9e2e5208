"""The printers of a schedule with their start times, and its quiet hours."""

from math import ceil
from typing import Final
from zoneinfo import ZoneInfo

from worker.printing.scheduling.problem import HORIZON_SECONDS, TimedPrinter
from worker.printing.scheduling.start_times import SEARCH_SPAN, HandlingTimes, QuietStartTimes, StartTimes
from worker.printing.scheduling.week_hours import Hours
from worker.spec.printer.schedule import Schedule, Window

__all__ = ["attended_hours", "printers_of"]

_MINUTE: Final = 60

#: How far beyond the horizon hours are expanded, s: searches for a start and for a bed change reach there.
_MARGIN: Final = 4 * SEARCH_SPAN


def printers_of(schedule: Schedule, since: int) -> tuple[tuple[TimedPrinter, ...], Hours]:
    """Return the printers and the quiet hours; printers with equal hours share their start times.

    Args:
        schedule: printers and hours.
        since: the earliest start of a run, in Unix seconds.
    """
    hours: dict[tuple[Window, ...], Hours] = {}
    pairs: dict[tuple[tuple[Window, ...], tuple[Window, ...]], StartTimes] = {}
    handling, zone = _handling_times(schedule), schedule.zone

    def expanded(windows: tuple[Window, ...]) -> Hours:
        if windows not in hours:
            hours[windows] = _expanded(windows, zone, since)
        return hours[windows]

    printers = []
    for printer in schedule.printers:
        printing = schedule.printing if printer.printing is None else printer.printing
        attended = schedule.attended if printer.attended is None else printer.attended
        if (printing, attended) not in pairs:
            own = expanded(printing), expanded(attended), handling
            pairs[printing, attended] = (
                QuietStartTimes(*own, expanded(schedule.quiet)) if schedule.goal == "quiet_nights" else StartTimes(*own)
            )
        printers.append(TimedPrinter(printer.name, pairs[printing, attended]))
    return tuple(printers), expanded(schedule.quiet)


def attended_hours(schedule: Schedule, since: int) -> dict[str, Hours]:
    """Return the attended hours of each printer by its name.

    Args:
        schedule: printers and hours.
        since: the earliest moment of interest, in Unix seconds.
    """
    windows = {own.name: schedule.attended if own.attended is None else own.attended for own in schedule.printers}
    hours = {each: _expanded(each, schedule.zone, since) for each in set(windows.values())}
    return {name: hours[each] for name, each in windows.items()}


def _expanded(windows: tuple[Window, ...], zone: ZoneInfo, since: int) -> Hours:
    return Hours(windows, zone, since, since + HORIZON_SECONDS + _MARGIN)


def _handling_times(schedule: Schedule) -> HandlingTimes:
    minutes = (schedule.first_layer_minutes, schedule.cool_down_minutes, schedule.bed_change_minutes)
    return HandlingTimes(*(ceil(length * _MINUTE) for length in minutes))
