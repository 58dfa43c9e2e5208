"""When printing ends by a schedule, as lines of text."""

from collections.abc import Iterator

from worker.spec.manifest import ScheduleEntry

__all__ = ["finish_lines"]


def finish_lines(schedule: ScheduleEntry) -> Iterator[str]:
    """Yield when printing ends, at best and at worst, and when each of several drawers is complete."""
    if schedule.finish is not None:
        yield f"Printing ends on {schedule.finish:%a %Y-%m-%d %H:%M} ({schedule.timezone}) if no run fails."
    if schedule.earliest_finish is not None:
        yield f"No schedule of these runs ends before {schedule.earliest_finish:%a %Y-%m-%d %H:%M}."
    if schedule.late_finish is not None:
        yield f"With slow and failed prints it may last until {schedule.late_finish:%a %Y-%m-%d %H:%M}."
    if len(schedule.drawers) > 1:
        for drawer in schedule.drawers:
            yield f"All parts of {drawer.drawer} are printed by {drawer.complete:%a %Y-%m-%d %H:%M}."
