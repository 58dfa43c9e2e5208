"""The exact packer against an exhaustive search over cells, and its answers in the runs of a job."""

from itertools import combinations, product

from hypothesis import assume, given, settings
from hypothesis import strategies as st

from tests.printing.packing.exhaustive_packing import fewest_runs
from worker.layout.floor.print_bed import Bed
from worker.printing.packing.bed_surface import UNITS, Surface
from worker.printing.packing.exact_packer import PackedPiece, pack_into
from worker.printing.packing.pieces import Piece
from worker.printing.packing.run_packer import pack_runs

WIDTH, DEPTH = 6, 5
_SIZES = st.lists(st.tuples(st.integers(1, 5), st.integers(2, 5), st.integers(0, 3)), min_size=1, max_size=6)
_FORBIDDEN = st.sampled_from([(), ((0, 0, 1, 1),), ((2, 0, 3, 2),), ((5, 3, 6, 5), (0, 4, 2, 5))])


def _cells(forbidden):
    covered = {cell for a, b, c, d in forbidden for cell in product(range(a, c), range(b, d))}
    return set(product(range(WIDTH), range(DEPTH))) - covered


def _surface(forbidden):
    bed = Bed.of((float(WIDTH), float(DEPTH)), 0.0, [tuple(map(float, area)) for area in forbidden])
    return Surface.of(bed, 0.0)


@settings(max_examples=25, deadline=None)
@given(_SIZES, _FORBIDDEN, st.sampled_from([None, 4.0]))
def test_as_many_runs_are_enough_as_an_exhaustive_search_needs(sizes, forbidden, limit):
    surface, cells = _surface(forbidden), _cells(forbidden)
    assume(all(surface.holds((width * UNITS, depth * UNITS)) for width, depth, _ in sizes))
    fewest = fewest_runs(sizes, cells, limit)
    pieces = [PackedPiece((width * UNITS, depth * UNITS), float(hours), 0.0) for width, depth, hours in sizes]

    places = pack_into(pieces, surface, limit, fewest).places

    boxes = []
    for (width, depth, _), place in zip(sizes, places, strict=True):
        across, along = (depth, width) if place.turned else (width, depth)
        x, y = place.x // UNITS, place.y // UNITS
        boxes.append({(place.run, *cell) for cell in product(range(x, x + across), range(y, y + along))})
    assert all(box <= {(run, *cell) for run in range(fewest) for cell in cells} for box in boxes)
    assert all(first.isdisjoint(second) for first, second in combinations(boxes, 2))
    if limit is not None:
        for run in range(fewest):
            assert sum(hours for (_, _, hours), place in zip(sizes, places, strict=True) if place.run == run) <= limit
    if fewest > 1:
        assert pack_into(pieces, surface, limit, fewest - 1).impossible


def test_a_setup_counts_once_in_a_run():
    surface = _surface(())
    pieces = [PackedPiece((UNITS, UNITS), 1.0, setup) for setup in (0.5, 2.0, 0.5, 2.0)]
    assert {place.run for place in pack_into(pieces, surface, 6.0, 1).places} == {0}
    assert pack_into(pieces, surface, 5.5, 1).impossible
    assert len({place.run for place in pack_into(pieces, surface, 4.5, 2).places}) == 2


def test_pieces_that_fit_together_are_not_kept_apart():
    """Two full beds: 6 and 4 of 10 in one, twice 5 in the other. The largest and the smallest share a bed."""
    surface = Surface.of(Bed.of((10.0, 10.0), 0.0, []), 0.0)
    pieces = [PackedPiece((10 * UNITS, deep * UNITS), 0.0, 0.0) for deep in (6, 5, 5, 4)]
    places = pack_into(pieces, surface, None, 2).places
    assert [place.run for place in places] in ([0, 1, 1, 0], [1, 0, 0, 1])


def test_sizes_that_share_no_grid_are_rounded_up_and_prove_nothing():
    surface = Surface.of(Bed.of((100.0, 100.0), 0.0, []), 0.0)
    halves = [PackedPiece((100 * UNITS, 50 * UNITS - 1), 0.0, 0.0), PackedPiece((99_999_999, 50 * UNITS - 7), 0.0, 0.0)]
    assert len(pack_into(halves, surface, None, 1).places) == 2
    over = [PackedPiece((100 * UNITS, 50 * UNITS + 1), 0.0, 0.0)] * 2
    assert pack_into(over, surface, None, 1) == pack_into(over, surface, None, 1)
    assert not pack_into(over, surface, None, 1).impossible


def test_a_run_is_proven_to_be_needed_where_the_bound_leaves_it_open():
    # trays on cells of 42 mm: their area, their pairs and their scaled sides leave three runs open
    sizes = [(62.5, 125.5, 3), (41.5, 83.5, 2), (104.5, 83.5, 6)]
    pieces = [Piece(f"T{index}", width, depth, 20.0, count) for index, (width, depth, count) in enumerate(sizes)]
    bed = Bed.of((180.0, 180.0), 0.5, [])
    heuristic, exact = pack_runs(pieces, bed), pack_runs(pieces, bed, exact=True)
    assert (len(heuristic.runs), heuristic.lower_bound) == (4, 3)
    assert (len(exact.runs), exact.lower_bound) == (4, 4)
    assert exact.runs == heuristic.runs
