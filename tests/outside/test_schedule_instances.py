"""Timetables of instances with known optima from the theory of parallel machines."""

from datetime import UTC, datetime, timedelta

import pytest

from worker.printing.scheduling.timetable import make_timetable
from worker.spec.manifest import RunEntry, RunPiece
from worker.spec.printer.material import Material
from worker.spec.printer.schedule import Schedule

pytestmark = pytest.mark.outside

_NOW = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)


def _finish(machines, times):
    """Return the timetable's length in hours: nobody has to be there, and beds are free at once."""
    schedule = Schedule.model_validate(
        {
            "printers": [{"name": f"p{number}"} for number in range(machines)],
            "first_layer_minutes": 0,
            "cool_down_minutes": 0,
            "bed_change_minutes": 0,
        }
    )
    runs = [
        RunEntry(
            number=number, material="PLA", colour=None, layer=0.2, line_width=0.44, seconds=time * 3600.0, grams=1.0,
            pieces=(RunPiece(mark="T1", at=(0.0, 0.0), turn=0, drawer="top"),),
        )
        for number, time in enumerate(times, start=1)
    ]  # fmt: skip
    table = make_timetable(schedule, runs, [Material()], _NOW)
    assert table.proven
    return (table.finish - _NOW) / timedelta(hours=1)


# R. L. Graham, "Bounds on multiprocessing timing anomalies", SIAM Journal on Applied Mathematics 17 (1969), from
# memory: of the times 2m-1, 2m-1, 2m-2, 2m-2, ..., m+1, m+1, m, m, m, longest first ends at 4m-1, the optimum is 3m.
@pytest.mark.parametrize("machines", [2, 3, 4, 5])
def test_the_instances_on_which_longest_first_is_worst_are_solved(machines):
    times = [time for time in range(2 * machines - 1, machines, -1) for _ in range(2)] + [machines] * 3
    assert _finish(machines, times) == 3 * machines


# The same, and Graham 1966: times 1 (m (m-1) of them) and m: in the order given a list ends at 2m-1, the optimum is m.
@pytest.mark.parametrize("machines", [2, 3, 4])
def test_the_instances_on_which_any_list_is_worst_are_solved(machines):
    assert _finish(machines, [1] * (machines * (machines - 1)) + [machines]) == machines


# Multiprocessor scheduling contains number partitioning; this instance is perfect by construction: each machine
# gets one of the rows.
def test_a_perfect_partition_is_recovered():
    rows = [(9, 8, 7), (11, 10, 3), (13, 6, 5), (12, 8, 4)]
    assert _finish(4, sorted(time for row in rows for time in row)) == 24
