from collections import Counter
from itertools import combinations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from worker.layout.floor.print_bed import Bed
from worker.printing.packing.pieces import Piece
from worker.printing.packing.run_packer import pack_runs
from worker.spec.errors import LayoutError

SLACK = 2e-6
SIDE = st.one_of(st.integers(10, 120).map(float), st.floats(10.0, 120.0))


@st.composite
def beds(draw):
    size = (draw(st.sampled_from([180.0, 220.0, 256.0])), draw(st.sampled_from([180.0, 210.5])))
    margin = draw(st.sampled_from([0.0, 0.5, 4.3]))
    forbidden = []
    for _ in range(draw(st.integers(0, 2))):
        # at the front or back, so that 120 mm stay free; some are narrower than the spacing
        x, y = draw(st.floats(0.0, size[0] - 10.0)), draw(st.sampled_from([0.0, 10.0, size[1] - 25.0]))
        forbidden.append((x, y, min(size[0], x + draw(st.sampled_from([2.0, 30.0]))), y + draw(st.floats(1.0, 20.0))))
    return size, margin, forbidden


@st.composite
def jobs(draw):
    count = draw(st.integers(1, 9))
    return [
        Piece(
            f"T{k + 1}",
            draw(SIDE),
            draw(SIDE),
            40.0,
            draw(st.integers(1, 4)),
            draw(st.sampled_from([("PLA", "grey"), ("PLA", "red"), ("PETG", "grey")])),
            draw(st.sampled_from([0, 1, 2, None])),
        )
        for k in range(count)
    ]


def boxes(run, pieces):
    """Return the footprints in a run as left, front, right, back."""
    sizes = {piece.mark: (piece.width, piece.depth) for piece in pieces}
    for piece in run.pieces:
        width, depth = sizes[piece.mark] if piece.turn == 0 else sizes[piece.mark][::-1]
        yield piece.x, piece.y, piece.x + width, piece.y + depth


def apart(a, b, distance):
    gaps = (b[0] - a[2], a[0] - b[2], b[1] - a[3], a[1] - b[3])
    return max(gaps) >= distance - SLACK


@settings(max_examples=30, deadline=None)
@given(beds(), jobs(), st.sampled_from([0.0, 2.5, 5.0]))
def test_every_piece_stands_free_on_the_bed(bed, pieces, spacing):
    size, margin, forbidden = bed
    runs = pack_runs(pieces, Bed.of(size, margin, forbidden), spacing=spacing)
    groups = {piece.mark: piece.group for piece in pieces}
    for run in runs.runs:
        footprints = list(boxes(run, pieces))
        for box in footprints:
            assert min(box[0], box[1]) >= margin - SLACK
            assert box[2] <= size[0] - margin + SLACK
            assert box[3] <= size[1] - margin + SLACK
            assert all(apart(box, area, 0.0) for area in forbidden)
        assert all(apart(a, b, spacing) for a, b in combinations(footprints, 2))
        assert {groups[piece.mark] for piece in run.pieces} == {run.group}
        assert run.hours is None
    assert Counter((piece.mark, piece.drawer) for run in runs.runs for piece in run.pieces) == Counter(
        {(piece.mark, piece.drawer): piece.quantity for piece in pieces}
    )
    assert [run.index for run in runs.runs] == list(range(1, len(runs.runs) + 1))
    assert len({piece.group for piece in pieces}) <= runs.lower_bound <= len(runs.runs)


@settings(max_examples=12, deadline=None)
@given(beds(), jobs(), st.randoms(use_true_random=False))
def test_the_order_of_the_pieces_does_not_matter(bed, pieces, random):
    plate = Bed.of(*bed)
    mixed = random.sample(pieces, len(pieces))
    assert pack_runs(pieces, plate) == pack_runs(pieces, plate) == pack_runs(mixed, plate)


@settings(max_examples=25, deadline=None)
@given(beds(), jobs(), st.floats(1.0, 12.0))
def test_long_runs_are_split(bed, pieces, limit):
    def hours(mark):
        return 0.7 * int(mark[1:])

    runs = pack_runs(pieces, Bed.of(*bed), hours=hours, max_run_hours=limit)
    for run in runs.runs:
        assert run.hours == pytest.approx(sum(hours(piece.mark) for piece in run.pieces))
        assert run.hours <= limit + 1e-6 or len(run.pieces) == 1
    over = {piece.mark for piece in pieces if hours(piece.mark) > limit + 1e-9}
    assert set(runs.too_long) == over
    assert runs.lower_bound <= len(runs.runs)
    assert pack_runs(pieces, Bed.of(*bed), hours=hours).lower_bound <= len(runs.runs)


def test_hours_that_add_up_to_the_limit_are_one_run():
    pieces = [Piece("T1", 20.0, 20.0, 30.0, 30)]
    runs = pack_runs(pieces, Bed.of((256.0, 256.0), 0.5, []), hours=lambda _: 0.1, max_run_hours=1.0)
    assert [len(run.pieces) for run in runs.runs] == [10, 10, 10]
    assert runs.lower_bound == 3


@pytest.mark.parametrize(("distance", "count"), [(5.0, 1), (5.1, 2)])
def test_the_spacing_lies_between_pieces_only(distance, count):
    # 50 + 5 + 45 is the bed's width: nothing is lost at its edges
    pieces = [Piece("T1", 50.0, 100.0, 30.0), Piece("T2", 100.0, 45.0, 30.0)]
    runs = pack_runs(pieces, Bed.of((100.0, 100.0), 0.0, []), spacing=distance)
    assert len(runs.runs) == runs.lower_bound == count


def test_a_forbidden_rectangle_narrower_than_the_spacing_does_not_cost_the_spacing():
    # 49 mm stay on either side of a strip of 2 mm
    bed = Bed.of((100.0, 100.0), 0.0, [(49.0, 0.0, 51.0, 100.0)])
    runs = pack_runs([Piece("T1", 49.0, 100.0, 30.0, 2)], bed, spacing=2.0)
    assert [[(piece.x, piece.y) for piece in run.pieces] for run in runs.runs] == [[(0.0, 0.0), (51.0, 0.0)]]


def test_drawers_stay_together_when_that_costs_no_run():
    # four to a bed; by mark alone each bed would hold both drawers
    pieces = [Piece(f"T{k + 1}", 100.0, 100.0, 30.0, 2, drawer=drawer) for k in range(2) for drawer in (0, 1)]
    runs = pack_runs(pieces, Bed.of((210.0, 210.0), 0.0, []))
    assert [{piece.drawer for piece in run.pieces} for run in runs.runs] == [{0}, {1}]
    # and never at the price of a run: three of each take two beds only when one is shared
    six = [Piece("T1", 100.0, 100.0, 30.0, 3, drawer=drawer) for drawer in (0, 1)]
    assert len(pack_runs([*six, Piece("C1", 40.0, 40.0, 30.0, 1)], Bed.of((210.0, 255.0), 0.0, [])).runs) == 2


def test_big_pieces_that_share_no_bed_raise_the_bound():
    # half the area each, yet 60 + 5 + 60 > 100; a corner is taken, and two small ones fit beside
    bed = Bed.of((100.0, 100.0), 0.0, [(90.0, 90.0, 100.0, 100.0)])
    runs = pack_runs([Piece("T1", 60.0, 60.0, 30.0, 3), Piece("T2", 30.0, 30.0, 30.0, 2)], bed)
    assert len(runs.runs) == runs.lower_bound == 3


def test_a_piece_that_fits_no_bed_is_named():
    bed = Bed.of((220.0, 220.0), 5.0, [(0.0, 0.0, 20.0, 220.0)])
    with pytest.raises(LayoutError) as caught:
        pack_runs([Piece("T7", 205.0, 205.0, 30.0, pointer="/drawers/0/trays/3")], bed)
    error = caught.value
    assert (error.part, error.pointer, error.value) == ("T7", "/drawers/0/trays/3", (205.0, 205.0))
    assert "T7" in error.message
    assert "210 x 195 mm" in error.limit
    assert error.remedy
    with pytest.raises(LayoutError, match="taller") as caught:
        pack_runs([Piece("T7", 20.0, 20.0, 260.0)], bed, height=250.0)
    assert caught.value.pointer is None
    with pytest.raises(LayoutError, match="no free area"):
        pack_runs([Piece("T7", 20.0, 20.0, 30.0)], Bed.of((100.0, 100.0), 0.0, [(0.0, 0.0, 100.0, 100.0)]))


def test_nothing_needs_no_run():
    runs = pack_runs([], Bed.of((220.0, 220.0), 0.5, []))
    assert (runs.runs, runs.lower_bound) == ((), 0)
