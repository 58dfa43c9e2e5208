"""Processor time of a timetable of 60 runs on 4 printers, for each goal: under 2 s."""

import statistics
from datetime import UTC, datetime
from random import Random
from time import process_time

import ortools.sat.python.cp_model  # noqa: F401 - loaded before the first timetable is timed

from worker.printing.scheduling.timetable import make_timetable
from worker.spec.manifest import RunEntry, RunPiece
from worker.spec.printer.material import Material
from worker.spec.printer.schedule import Schedule

CASES = 6
GOAL = 2.0
HOURS = [
    {"days": ["mon", "tue", "wed", "thu", "fri"], "start": "17:30", "end": "23:00"},
    {"days": ["sat", "sun"], "start": "09:00", "end": "20:00"},
]


def runs_of(random: Random) -> list[RunEntry]:
    """Return 60 runs of 40 minutes to 14 hours for eight drawers."""
    return [
        RunEntry(
            number=number, material="PLA", colour=None, layer=0.2, line_width=0.44,
            seconds=round(3600.0 * random.triangular(0.7, 14.0, 4.0)), grams=round(random.uniform(20.0, 200.0), 1),
            pieces=(RunPiece(mark=f"T{number}", at=(0.0, 0.0), turn=0, drawer=f"drawer {random.randint(1, 8)}"),),
        )
        for number in range(1, 61)
    ]  # fmt: skip


def main() -> None:
    """Print median and highest processor time by goal."""
    printers = [{"name": f"p{number}"} for number in range(4)]
    for goal in ("finish", "drawers", "visits", "quiet_nights"):
        schedule = Schedule.model_validate({"printers": printers, "attended": HOURS, "goal": goal})
        times = []
        for case in range(CASES):
            runs = runs_of(Random(case))
            start = process_time()
            make_timetable(schedule, runs, [Material()], datetime(2026, 3, 2, 8, 0, tzinfo=UTC))
            times.append(process_time() - start)
        print(f"{goal}: median {statistics.median(times):.2f} s of CPU, highest {max(times):.2f} (under {GOAL:g})")


if __name__ == "__main__":
    main()
