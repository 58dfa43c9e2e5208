"""The exact packer against an exhaustive search over cells, and its answers in the runs of a job."""

from collections import Counter
from itertools import combinations, product

from hypothesis import assume, given, settings
from hypothesis import strategies as st

from tests.printing.packing.exhaustive_packing import fewest_runs
from worker.layout.floor.print_bed import Bed
from worker.printing.packing.bed_model import BedGrid
from worker.printing.packing.bed_surface import UNITS, Surface
from worker.printing.packing.exact_packer import PackedPiece, pack_into
from worker.printing.packing.pieces import Piece
from worker.printing.packing.run_contents import PieceKind, run_contents
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


def _group(*sizes):
    return [Piece(f"T{index}", width, depth, 20.0, count) for index, (count, width, depth) in enumerate(sizes)]


def test_a_run_that_the_heuristics_need_is_saved():
    # trays on cells of 42 mm that cover 97 % of what they can cover of five beds
    pieces = _group((5, 62.5, 83.5), (6, 41.5, 125.5), (5, 62.5, 125.5), (12, 41.5, 41.5), (3, 83.5, 83.5))
    bed = Bed.of((180.0, 180.0), 0.5, [])
    heuristic, exact = pack_runs(pieces, bed), pack_runs(pieces, bed, exact=True)
    assert (len(heuristic.runs), len(exact.runs), exact.lower_bound) == (6, 5, 5)
    assert Counter(piece.mark for run in exact.runs for piece in run.pieces) == {
        piece.mark: piece.quantity for piece in pieces
    }


def test_runs_of_many_alike_pieces_are_saved():
    pieces = _group((14, 83.5, 125.5), (18, 41.5, 125.5), (49, 41.5, 83.5))
    bed = Bed.of((180.0, 180.0), 0.5, [])
    heuristic, exact = pack_runs(pieces, bed), pack_runs(pieces, bed, exact=True)
    assert (len(heuristic.runs), len(exact.runs), exact.lower_bound) == (17, 15, 15)


@settings(max_examples=40, deadline=None)
@given(
    st.lists(st.tuples(st.integers(1, 5), st.integers(2, 5), st.integers(1, 4)), min_size=1, max_size=4),
    _FORBIDDEN, st.sampled_from([None, 5.0]),
)  # fmt: skip
def test_what_the_runs_of_a_packing_hold_is_among_the_contents(sizes, forbidden, limit):
    surface = _surface(forbidden)
    sizes = {(max(pair), min(pair)): count for *pair, count in sizes if surface.holds(tuple(s * UNITS for s in pair))}
    assume(sizes)
    pieces = [Piece(f"{a}x{b}", float(a), float(b), 1.0, count) for (a, b), count in sizes.items()]
    bed = Bed.of((float(WIDTH), float(DEPTH)), 0.0, [tuple(map(float, area)) for area in forbidden])
    packed = pack_runs(pieces, bed, spacing=0.0, hours=lambda _: 1.0, max_run_hours=limit)

    kinds = [PieceKind((a * UNITS, b * UNITS), 1.0, 0.0) for a, b in sizes]
    counts = tuple(sizes.values())
    grid = BedGrid.of([kind.size for kind, count in zip(kinds, counts, strict=True) for _ in range(count)], surface)
    contents = run_contents(kinds, counts, grid, limit, len(packed.runs))

    for run in packed.runs:
        held = Counter(piece.mark for piece in run.pieces)
        assert tuple(held[piece.mark] for piece in pieces) in contents
