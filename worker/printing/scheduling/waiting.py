"""Why a run has no slot on any printer, and the remedy."""

from collections.abc import Sequence
from math import ceil, floor
from typing import Final

from worker.printing.scheduling.occupancy import Occupancy
from worker.printing.scheduling.problem import HORIZON_DAYS, Task

__all__ = ["reason_of"]

_HOUR: Final = 3600
_MINUTE: Final = 60

#: The minimum of printing.max_run_hours.
_LEAST_MAX_RUN_HOURS: Final = 0.25


def reason_of(task: Task, printers: Sequence[Occupancy]) -> str:
    """Return why a run has no slot on any of the printers, and the remedy.

    Args:
        task: the run.
        printers: with all runs that have a slot.
    """
    duration = min(task.durations)
    longest = max(printer.longest_run(duration) for printer in printers)
    need = f"It takes {ceil(duration / _MINUTE) / 60:.2f} hours"
    if longest == 0:
        return (
            f"{need}, but printing hours and attended hours never overlap long enough to watch the first layer. "
            "Widen either of them."
        )
    if longest < duration:
        most = floor(longest * 100 / _HOUR) / 100
        split = f"Set printing.max_run_hours to {most:.2f} or less, or " if most >= _LEAST_MAX_RUN_HOURS else ""
        remedy = f"{split}widen the printing or attended hours"
        return (
            f"{need}, but the longest stretch of printing hours with an attended start is {most:.2f} hours. "
            f"{remedy[0].upper()}{remedy[1:]}. A single piece that takes longer cannot be split."
        )
    if not any(printer.bed_is_changed(duration) for printer in printers):
        change = printers[0].start_times.handling.bed_change // _MINUTE
        return (
            f"No attended hours last the {change} minutes of a bed change. "
            "Widen the attended hours or lower bed_change_minutes."
        )
    if task.pauses:
        return (
            "It pauses for changes of filament, and no start puts its pauses into attended hours. Widen them, or print "
            "the lettering in the parts' own filament."
        )
    return f"No printer has a slot for it within {HORIZON_DAYS} days of the start. Add printers or widen the hours."
