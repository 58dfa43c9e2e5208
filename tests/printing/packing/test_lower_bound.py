from itertools import product

from hypothesis import given, settings
from hypothesis import strategies as st

from worker.layout.floor.print_bed import Bed
from worker.printing.packing.bed_surface import UNITS, Surface
from worker.printing.packing.lower_bound import least_runs
from worker.printing.packing.pieces import Piece
from worker.printing.packing.run_packer import pack_runs

SPAN = 9


@st.composite
def areas(draw):
    left, front = draw(st.integers(0, SPAN - 1)), draw(st.integers(0, SPAN - 1))
    return (left, front, draw(st.integers(left + 1, SPAN)), draw(st.integers(front + 1, SPAN)))


def places(size, forbidden):
    """Yield every whole place of a footprint on the bed, clear of the forbidden."""
    for width, depth in {size, size[::-1]}:
        for x, y in product(range(SPAN - width + 1), range(SPAN - depth + 1)):
            box = (x, y, x + width, y + depth)
            if all(distance(box, area) >= 0 for area in forbidden):
                yield box


def distance(a, b):
    return max(b[0] - a[2], a[0] - b[2], b[1] - a[3], a[1] - b[3])


SIZES = st.tuples(st.integers(1, SPAN), st.integers(1, SPAN))


@settings(max_examples=60, deadline=None)
@given(st.lists(areas(), max_size=3), SIZES, SIZES, st.integers(0, 2))
def test_two_pieces_share_a_bed_just_where_brute_force_finds_places(forbidden, size, other_size, spacing):
    # all edges are whole, so whole places are enough
    surface = Surface.of(Bed.of((SPAN, SPAN), 0.0, forbidden), spacing)
    first, second = list(places(size, forbidden)), list(places(other_size, forbidden))
    grown = [surface.grown(*own) for own in (size, other_size)]
    assert [surface.holds(own) for own in grown] == [bool(first), bool(second)]
    if first and second:
        together = any(distance(a, b) >= spacing for a in first for b in second)
        assert surface.holds_both(*grown) == together
        assert least_runs([(own, 0.0) for own in grown], surface, None) == 2 - together


@settings(max_examples=60, deadline=None)
@given(st.lists(areas(), max_size=4), st.integers(0, 2))
def test_the_clear_area_is_that_of_the_unit_squares(forbidden, spacing):
    surface = Surface.of(Bed.of((SPAN, SPAN), 0.0, forbidden), spacing)
    squares = {
        (x, y)
        for left, front, right, back in surface.boxes
        for x, y in product(range(left // UNITS, right // UNITS), range(front // UNITS, back // UNITS))
    }
    assert surface.area == len(squares) * UNITS**2
    if spacing == 0:
        clear = [
            box
            for box in product(range(SPAN), range(SPAN))
            if all(distance((*box, box[0] + 1, box[1] + 1), f) >= 0 for f in forbidden)
        ]
        assert squares == set(clear)


@st.composite
def cuttings(draw):
    """Cut some beds by guillotine, with the spacing as the saw's kerf: as many runs are known to be enough."""
    spacing, count = draw(st.sampled_from([0.0, 5.0])), draw(st.integers(1, 4))
    done, parts = [], [(250.0, 210.0)] * count
    while parts:
        width, depth = parts.pop()
        across = draw(st.booleans())
        length = width if across else depth
        if length < 60.0 or draw(st.integers(0, 3)) == 0:
            done.append((width, depth))
            continue
        cut = draw(st.floats(0.25, 0.75)) * length
        rest = length - cut - spacing
        parts += [(cut, depth), (rest, depth)] if across else [(width, cut), (width, rest)]
    return spacing, count, done


@settings(max_examples=60, deadline=None)
@given(cuttings())
def test_the_bound_never_passes_a_known_packing(cutting):
    spacing, count, sizes = cutting
    surface = Surface.of(Bed.of((250.001, 210.001), 0.0, []), spacing)
    assert least_runs([(surface.grown(*size), 0.0) for size in sizes], surface, None) <= count


def test_scaled_lengths_raise_the_bound_where_area_does_not():
    # two to a side of 100 with 5 between: four of 35 mm to a bed, though nine times the area is less than two beds'
    bed = Bed.of((100.0, 100.0), 0.0, [])
    runs = pack_runs([Piece("T1", 35.0, 35.0, 20.0, 9)], bed)
    assert len(runs.runs) == runs.lower_bound == 3


@settings(max_examples=60, deadline=None)
@given(st.lists(areas(), max_size=3), st.lists(st.tuples(SIZES, st.integers(1, 30)), min_size=1, max_size=4))
def test_no_bed_holds_more_than_its_clear_area(forbidden, kinds):
    surface = Surface.of(Bed.of((SPAN, SPAN), 0.0, forbidden), 0)
    kinds = [(size, count) for size, count in kinds if list(places(size, forbidden))]
    clear = sum(1 for _ in places((1, 1), forbidden))
    copies = [(surface.grown(*size), 0.0) for size, count in kinds for _ in range(count)]
    area = sum(size[0] * size[1] * count for size, count in kinds)
    assert least_runs(copies, surface, None) >= (-(-area // clear) if kinds else 0)


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.tuples(st.tuples(st.integers(1, 4), st.integers(1, 4)), st.integers(1, 9)), min_size=1, max_size=5),
    st.floats(168.0, 209.9), st.floats(168.0, 209.9),
)  # fmt: skip
def test_of_pieces_on_a_grid_a_bed_holds_no_more_than_its_whole_cells(kinds, wide, deep):
    """Trays of whole cells of 42 mm: four to a side of 168 to 209 mm, whatever is left over."""
    surface = Surface.of(Bed.of((wide, deep), 0.0, []), 0.0)
    copies = [(surface.grown(42.0 * x, 42.0 * y), 0.0) for (x, y), count in kinds for _ in range(count)]
    cells = sum(x * y * count for (x, y), count in kinds)
    assert least_runs(copies, surface, None) >= -(-cells // 16)
