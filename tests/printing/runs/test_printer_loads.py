"""When printers that are not alike would have printed pieces, from the times of these alone."""

from collections import Counter
from dataclasses import dataclass
from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from worker.printing.runs.printer_loads import PrinterLoads
from worker.spec import load
from worker.spec.errors import LayoutError
from worker.spec.manifest import EstimateEntry

_PRINTERS = (
    {"name": "small", "bed": [100, 100, 100]},
    {"name": "large", "bed": [200, 200, 100]},
    {"name": "small too", "bed": [100, 100, 100]},
)
#: Printing alone: no bed is changed, and nothing is heated.
_AT_ONCE = {"cool_down_minutes": 0, "bed_change_minutes": 0}


@dataclass(frozen=True)
class _Part:
    mark: str
    kind: str
    size: tuple[float, float, float]


def _loads(pieces, **fields):
    """Return the loads of parts with these sides, mm, and times, s; the time includes no heating."""
    drawer = {"name": "d", "width": 300, "depth": 300, "height": 60}
    job = {"spec": "1", "name": "bench", "drawers": [drawer], "printers": list(_PRINTERS), "schedule": _AT_ONCE}
    spec = load(job | fields).for_printer("large")
    parts = {mark: _Part(mark, "tray", (side, side, 20.0)) for mark, (side, _) in pieces.items()}
    estimates = {
        mark: EstimateEntry(
            material="PLA", colour=None, layer=0.2, line_width=0.44, grams=1.0, metres=1.0, cost=None,
            seconds=seconds, laying_seconds=seconds, layers=5,
        )
        for mark, (_, seconds) in pieces.items()
    }  # fmt: skip
    return PrinterLoads(spec, parts, estimates, {})


def test_each_piece_goes_where_it_ends_soonest():
    """A large piece of 1,000 s has the large printer to itself; three small ones of 600 s have the others."""
    loads = _loads({"T1": (150.0, 1000.0), "T2": (50.0, 600.0)})
    assert loads.able("T1") != loads.able("T2")
    assert loads.finish({"T1": 1, "T2": 2}) == pytest.approx(1000.0)
    assert loads.finish({"T1": 1, "T2": 3}) == pytest.approx(1200.0)
    assert loads.finish({"T1": 2, "T2": 1}) == pytest.approx(2000.0)
    assert loads.finish({}) == loads.finish({"T1": 0}) == 0.0


def test_printers_that_print_half_the_time_take_twice_as_long():
    half = [
        {"days": [day], "start": "00:00", "end": "12:00"} for day in ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
    ]
    own = {"printers": [{"name": "large", "printing": half}]}
    loads = _loads({"T1": (150.0, 1000.0)}, schedule=_AT_ONCE | own)
    assert loads.finish({"T1": 3}) == pytest.approx(6000.0, rel=0.01)


def test_a_part_that_no_printer_can_print_is_refused_each_time():
    loads = _loads({"T1": (250.0, 1000.0)})
    for _ in range(2):
        with pytest.raises(LayoutError, match="No printer can print T1"):
            loads.finish({"T1": 1})


@given(
    st.lists(
        st.tuples(st.sampled_from([50.0, 150.0]), st.integers(60, 5000), st.integers(1, 2)), min_size=1, max_size=4
    )
)
def test_the_finish_is_near_the_soonest_of_all_shares(pieces):
    """Against every share of single pieces on three printers: never sooner, and not twice as late.

    The longest first on printers that are alike ends within 4/3 of the soonest (Graham, 1969); pieces that one printer
    alone can print come before all others.
    """
    named = {f"T{number}": piece for number, piece in enumerate(pieces)}
    loads = _loads({mark: (side, float(seconds)) for mark, (side, seconds, _) in named.items()})
    counts = Counter({mark: count for mark, (_, _, count) in named.items()})
    units = list(counts.elements())
    ends = []
    for share in product(range(3), repeat=len(units)):
        if all(named[mark][0] < 100.0 or printer == 1 for mark, printer in zip(units, share, strict=True)):
            sums = [0.0, 0.0, 0.0]
            for mark, printer in zip(units, share, strict=True):
                sums[printer] += named[mark][1]
            ends.append(max(sums))
    assert min(ends) - 1e-6 <= loads.finish(counts) <= 2.0 * min(ends)
