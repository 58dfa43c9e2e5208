"""The free rectangles of a bed, on beds that are not square: with its axes swapped, other sizes would fit."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from worker.layout.floor.print_bed import Bed
from worker.spec.printer.printer import Forbidden, Printer

#: 200 x 100 mm with a clip of 80 x 40 mm in the back right corner.
LONG = Printer(bed=(200.0, 100.0, 100.0), margin=0.0, forbidden=(Forbidden(at=(120.0, 60.0), size=(80.0, 40.0)),))


@pytest.mark.parametrize(
    ("size", "fits"),
    [
        ((120.0, 100.0), True),  # left of the clip
        ((200.0, 60.0), True),  # in front of it
        ((121.0, 61.0), False),
        ((60.0, 200.0), True),  # turned
        ((100.0, 120.0), True),
        ((100.0, 121.0), False),
        ((61.0, 121.0), False),
    ],
)
def test_a_forbidden_corner_of_a_long_bed(size, fits):
    assert Bed.of_printer(LONG).holds(*size) == fits


def test_the_boxes_of_a_long_bed_stand_where_they_are():
    assert set(Bed.of_printer(LONG).boxes) == {(0.0, 0.0, 120.0, 100.0), (0.0, 0.0, 200.0, 60.0)}
    margin = LONG.model_copy(update={"margin": 5.0})
    assert set(Bed.of_printer(margin).boxes) == {(5.0, 5.0, 120.0, 95.0), (5.0, 5.0, 195.0, 60.0)}


@given(
    st.integers(5, 24),
    st.integers(3, 12),
    st.lists(st.tuples(st.integers(0, 20), st.integers(0, 9), st.integers(1, 8), st.integers(1, 5)), max_size=3),
    st.integers(1, 20),
    st.integers(1, 12),
)
def test_a_part_is_held_where_brute_force_finds_a_place(across, deep, clips, width, depth):
    """Every whole place and both orientations, on beds of any proportions; the clips end at the bed's edges."""
    boxes = [(x, y, min(x + w, across), min(y + d, deep)) for x, y, w, d in clips if x < across and y < deep]
    expected = any(
        all(box[0] >= x + w or box[2] <= x or box[1] >= y + d or box[3] <= y for box in boxes)
        for w, d in ((width, depth), (depth, width))
        for x in range(across - w + 1)
        for y in range(deep - d + 1)
    )
    bed = Bed.of((float(across), float(deep)), 0.0, [tuple(map(float, box)) for box in boxes])
    assert bed.holds(float(width), float(depth)) == expected
