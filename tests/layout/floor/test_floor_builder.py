import contextlib

import pytest
import shapely
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from shapely.geometry import MultiPolygon, Polygon

from tests.layout.floor.tile_checks import air_left, check_floor, fewest, insets, placed_keys, put
from worker.layout.drawer.grid_placement import fit_lattice
from worker.layout.floor.floor_builder import tile_floor
from worker.layout.floor.print_bed import Bed
from worker.layout.model.plan import Cell, Lattice
from worker.spec.drawer.joint import Joint, default_profile
from worker.spec.errors import LayoutError
from worker.spec.printer.printer import Printer

JOINT = Joint(default_profile(0.3, 0.44), 0.3, 0.44)
L_SHAPE = Polygon([(0, 0), (400, 0), (400, 200), (230, 200), (230, 420), (0, 420)])


def printer(bed, **more):
    size = bed if isinstance(bed, tuple) else (bed, bed)
    return Printer(bed=(*size, 200), **more)


def bed_of(given_printer):
    return Bed.of(
        given_printer.bed[:2],
        given_printer.margin,
        [(f.at[0], f.at[1], f.at[0] + f.size[0], f.at[1] + f.size[1]) for f in given_printer.forbidden],
    )


def grid(columns, rows, pitch=42.0):
    return Lattice((0.0, 0.0), pitch, tuple(Cell(2 * i, 2 * j, 2, 2) for j in range(rows) for i in range(columns)))


class LatticeTooSmall(Exception):
    """Not one cell fits, which is for the lattice's own tests."""


def tenths(low, high):
    return st.floats(low, high).map(lambda x: round(x, 1))


def floor_of(usable, *, pitch=42.0, bed=256, seam="dovetail", gap=0.2, half_cells=False, joint=JOINT, **more):
    try:
        lattice = fit_lattice(usable, pitch=pitch, half_cells=half_cells)
    except LayoutError as error:
        raise LatticeTooSmall from error
    made = printer(bed, **more)
    floor = tile_floor(usable, lattice, joint=joint, seam=seam, seam_gap=gap, printer=made)
    outlines = check_floor(floor, usable, lattice, gap=gap, printer=made, bed=bed_of(made))
    return floor, outlines, lattice


def test_one_tile_when_it_fits():
    floor, _, _ = floor_of(shapely.box(0, 0, 252, 252))
    assert len(floor.pieces) == 1
    assert floor.seams == ()
    assert floor.warnings == ()
    (piece,) = floor.pieces
    assert piece.at == (0.0, 0.0)
    assert piece.shape.outline == ((0.0, 0.0), (252.0, 0.0), (252.0, 252.0), (0.0, 252.0))
    assert len(piece.shape.sockets) == 36
    assert piece.shape.windows == ()


@pytest.mark.parametrize("seam", ["dovetail", "key", "plain"])
@pytest.mark.parametrize("half_cells", [False, True])
@pytest.mark.parametrize(
    "usable",
    [
        shapely.box(0, 0, 310, 425),
        shapely.box(0, 0, 520, 450),
        Polygon([(0, 0), (400, 0), (385, 300), (0, 300)]),
        L_SHAPE,
        shapely.box(0, 0, 420, 330).difference(shapely.box(150, 100, 205, 160)),
        shapely.box(0, 0, 420, 330).buffer(-20).buffer(20, quad_segs=8),
    ],
    ids=["plain", "large", "taper", "ell", "obstacle", "rounded"],
)
def test_floors_keep_every_rule(usable, seam, half_cells):
    floor, outlines, _ = floor_of(usable, seam=seam, half_cells=half_cells, bed=200)
    assert len(floor.pieces) > 1
    assert air_left(floor, usable, outlines, 0.44, 0.2) < 0.5
    assert not floor.keys or seam == "key"


@pytest.mark.parametrize("seam", ["dovetail", "key"])
def test_seams_lock(seam):
    """Two tiles of a seam cannot be pulled apart in the plane: moved by more than the gap they would overlap."""
    floor, _, _ = floor_of(shapely.box(0, 0, 420, 168), seam=seam)
    assert len(floor.pieces) == 2
    first, second = (put(Polygon(p.shape.outline), p.shape, p) for p in floor.pieces)
    if seam == "key":
        assert len(floor.keys) == 3
        placed = next(placed_keys(floor))
        assert shapely.affinity.translate(second, 1.0, 0.0).intersection(placed).area > 0.05
        assert shapely.affinity.translate(first, -1.0, 0.0).intersection(placed).area > 0.05
    else:
        assert shapely.affinity.translate(second, 1.0, 0.0).intersection(first).area > 0.1


@pytest.mark.parametrize("bed", [(100, 100), (140, 100), (180, 100), (220, 140)])
def test_fewest_pieces(bed):
    made = printer(bed)
    room = bed_of(made)
    for columns in range(1, 6):
        for rows in range(1, 5):
            lattice = grid(columns, rows)
            usable = shapely.box(0, 0, 42 * columns, 42 * rows)
            floor = tile_floor(usable, lattice, joint=JOINT, seam="plain", seam_gap=0.2, printer=made)
            assert len(floor.pieces) == fewest(columns, rows, lambda w, d: room.holds(42 * w - 0.2, 42 * d - 0.2))


def test_tabs_count_for_the_bed():
    """84 mm of cells and a tab of 1.4 mm do not go on 85 mm, so the tile beside the last one is smaller."""
    usable, lattice = shapely.box(0, 0, 168, 84), grid(4, 2)
    plain = tile_floor(usable, lattice, joint=JOINT, seam="plain", seam_gap=0.2, printer=printer(85.0))
    joined = tile_floor(usable, lattice, joint=JOINT, seam="dovetail", seam_gap=0.2, printer=printer(85.0))
    assert len(plain.pieces) == 2
    assert len(joined.pieces) == 3 or max(Polygon(p.shape.outline).bounds[2] for p in joined.pieces) <= 84.0


def test_forbidden_rectangles_are_kept_clear():
    usable = shapely.box(0, 0, 336, 336)
    blocked = [{"at": [100, 0], "size": [10, 200]}]
    floor, _, _ = floor_of(usable, bed=200, forbidden=blocked)
    for piece in floor.pieces:
        _, _, width, depth = Polygon(piece.shape.outline).bounds
        assert min(width, depth) <= 99.5


def test_interior_tiles_share_one_shape():
    floor, _, _ = floor_of(shapely.box(0, 0, 42 * 16, 42 * 16), bed=180)
    assert len(floor.pieces) == 16
    # A side has one shape (its inner two tiles), a corner one; tabs make left and right differ.
    assert len({p.shape for p in floor.pieces}) == 9
    keyed, _, _ = floor_of(shapely.box(0, 0, 42 * 16, 42 * 16), bed=180, seam="key")
    # Keys look alike from all sides: corner, side, middle.
    assert len({p.shape for p in keyed.pieces}) == 3


def test_no_tab_reaches_into_a_strip_that_two_seams_cut_off():
    """Between the obstacle and the cells in front of it the border is 2.1 mm wide, too little to stand by itself."""
    usable = shapely.box(0, 0, 420, 394).difference(shapely.box(104, 172.375, 145.6, 192.375))
    floor, _, _ = floor_of(usable, bed=180)
    assert all(piece.shape.sockets for piece in floor.pieces)
    assert len(floor.pieces) == 9


def test_seams_stagger_where_it_costs_nothing():
    floor, _, _ = floor_of(shapely.box(0, 0, 42 * 7, 42 * 8), bed=200)
    cuts = {}
    for piece in floor.pieces:
        box = put(Polygon(piece.shape.outline), piece.shape, piece).bounds
        cuts.setdefault(round(box[1] / 42), set()).add(round(box[0] / 42))
    assert len(floor.pieces) == 4
    assert len(set(map(frozenset, cuts.values()))) == 2


def test_turned_tiles_compare_equal():
    """Key seams of a square drawer: all four corners are one shape, in four turns."""
    floor, _, _ = floor_of(shapely.box(0, 0, 356, 356), seam="key", bed=200)
    assert len(floor.pieces) == 4
    assert len({p.shape for p in floor.pieces}) == 1
    assert {p.turn for p in floor.pieces} == {0, 90, 180, 270}


def test_same_numbers_wherever_the_lattice_stands():
    first, _, _ = floor_of(shapely.box(0, 0, 310, 425))
    moved = shapely.affinity.translate(shapely.box(0, 0, 310, 425), 17.123, 3.457)
    second, _, _ = floor_of(moved)
    assert [p.shape for p in first.pieces] == [p.shape for p in second.pieces]
    assert first == floor_of(shapely.box(0, 0, 310, 425))[0]


def test_narrow_borders_are_air():
    floor, outlines, _ = floor_of(shapely.box(0, 0, 43.9 + 84, 126))
    assert shapely.union_all(outlines).bounds == pytest.approx((0.95, 0, 126.95, 126))
    assert len(floor.pieces) == 1


def test_wide_borders_are_open():
    floor, _, _ = floor_of(shapely.box(0, 0, 42 * 3 + 30, 42 * 3))
    (piece,) = floor.pieces
    assert len(piece.shape.windows) >= 6


def test_cells_that_touch_in_a_point_stay_apart():
    usable = shapely.union_all([shapely.box(0, 0, 84, 42), shapely.box(84, 42, 168, 84)])
    lattice = Lattice((0.0, 0.0), 42.0, (Cell(0, 0, 2, 2), Cell(2, 0, 2, 2), Cell(4, 2, 2, 2), Cell(6, 2, 2, 2)))
    made = printer(256)
    floor = tile_floor(usable, lattice, joint=JOINT, seam="dovetail", seam_gap=0.2, printer=made)
    check_floor(floor, usable, lattice, gap=0.2, printer=made, bed=bed_of(made))
    assert len(floor.pieces) == 2


def test_border_is_given_up_when_nothing_else_fits():
    usable = shapely.box(0, 0, 100, 100)
    lattice = Lattice((0.0, 0.0), 60.0, (Cell(0, 0, 2, 2),))
    floor = tile_floor(usable, lattice, joint=JOINT, seam="dovetail", seam_gap=0.2, printer=printer(90.0))
    assert len(floor.pieces) == 1
    assert [w.pointer for w in floor.warnings] == ["/printer/bed"]


def test_a_cell_larger_than_the_bed_is_refused():
    with pytest.raises(LayoutError) as caught:
        floor_of(shapely.box(0, 0, 200, 200), pitch=60.0, bed=55.0)
    error = caught.value
    assert error.pointer == "/printer/bed"
    assert error.value == [55.0, 55.0]
    assert "60 x 60 mm" in error.limit
    assert error.remedy


def test_a_seam_gap_that_thins_the_wall_is_refused():
    with pytest.raises(LayoutError) as caught:
        floor_of(shapely.box(0, 0, 420, 420), gap=0.7)
    assert caught.value.pointer == "/grid/seam_gap"
    assert caught.value.limit == "at most 0.640 mm"
    # Without a seam there is no wall to thin.
    assert len(floor_of(shapely.box(0, 0, 84, 84), gap=0.7)[0].pieces) == 1


def test_plain_seams_where_no_tab_fits():
    floor, _, _ = floor_of(shapely.box(0, 0, 420, 168), gap=0.51)
    assert [w.pointer for w in floor.warnings] == ["/grid/seam"]
    assert all(len(p.shape.outline) == 4 for p in floor.pieces)


def test_no_cells_no_floor():
    floor = tile_floor(
        shapely.box(0, 0, 50, 50), Lattice((0, 0), 42.0, ()), joint=JOINT, seam="key", seam_gap=0.2, printer=printer(99)
    )
    assert floor.pieces == ()


def test_half_micrometre_pitches():
    """1 5/8 in: a half cell is 20.6375 mm, between two steps of the coordinate grid."""
    floor, _, _ = floor_of(shapely.box(0, 0, 370, 370), pitch=41.275, half_cells=True, bed=180, seam="key")
    assert len({p.shape for p in floor.pieces}) < len(floor.pieces)


@st.composite
def drawers(draw):
    size = st.floats(90.0, 900.0).map(lambda x: round(x, 1))
    pitch = draw(st.sampled_from([30.0, 32.5, 42.0, 50.0, 60.0]) | st.floats(30.0, 60.0).map(lambda x: round(x, 3)))
    bed = draw(st.floats(120.0, 300.0).map(lambda x: round(x, 1)))
    most = pitch * 16
    width, depth = min(draw(size), most), min(draw(size), most)
    kind = draw(st.sampled_from(["plain", "taper", "ell", "obstacle"]))
    if kind == "taper":
        lean = draw(st.floats(-20.0, 20.0).map(lambda x: round(x, 1)))
        usable = Polygon([(0, 0), (width, 0), (width + lean, depth), (0, depth)])
    elif kind == "ell":
        x, y = (draw(st.floats(0.3, 0.7)) for _ in range(2))
        x, y = round(width * x, 1), round(depth * y, 1)
        usable = Polygon([(0, 0), (width, 0), (width, y), (x, y), (x, depth), (0, depth)])
    else:
        usable = shapely.box(0, 0, width, depth)
        if kind == "obstacle":
            x, y = (draw(st.floats(0.0, 0.8)) for _ in range(2))
            usable = usable.difference(
                shapely.box(*(round(c, 1) for c in (width * x, depth * y, width * x + 35.0, depth * y + 48.0)))
            )
    return usable, pitch, bed


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    drawers(),
    st.sampled_from(["dovetail", "key", "plain"]),
    st.booleans(),
    st.sampled_from([0.1, 0.2, 0.3]),
)
def test_any_floor_keeps_every_rule(drawer, seam, half_cells, gap):
    usable, pitch, bed = drawer
    with contextlib.suppress(LatticeTooSmall):
        floor, outlines, _ = floor_of(usable, pitch=pitch, bed=bed, seam=seam, gap=gap, half_cells=half_cells)
        if not floor.warnings:
            assert air_left(floor, usable, outlines, 0.44, gap) < 10.0
        assert all(insets(p.shape)[0] == pytest.approx(JOINT.land) for p in floor.pieces)


@st.composite
def odd_drawers(draw):
    """Slanted on all sides, rounded, with up to three obstacles anywhere."""
    width, depth = draw(tenths(90.0, 500.0)), draw(tenths(90.0, 500.0))
    off = tenths(-15.0, 15.0)
    corners = [(0.0, 0.0), (width, 0.0), (width, depth), (0.0, depth)]
    usable = Polygon([(x + draw(off), y + draw(off)) for x, y in corners])
    radius = draw(st.sampled_from([0.0, 4.0, 12.0, 30.0]))
    usable = usable.buffer(-radius, join_style="mitre").buffer(radius, quad_segs=8)
    for _ in range(draw(st.integers(0, 3))):
        x, y = draw(tenths(-20.0, width)), draw(tenths(-20.0, depth))
        usable = usable.difference(shapely.box(x, y, x + draw(tenths(3.0, 120.0)), y + draw(tenths(3.0, 120.0))))
    parts = [part for part in shapely.get_parts(shapely.set_precision(usable, 0.001)) if part.area > 1.0]
    return MultiPolygon(parts) if len(parts) > 1 else parts[0] if parts else shapely.box(0, 0, 9, 9)


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    odd_drawers(),
    st.sampled_from(["dovetail", "key"]),
    st.booleans(),
    st.sampled_from([0.44, 0.66]),
    st.sampled_from([30.0, 42.0, 47.3]),
    st.sampled_from([120, 150, 200, 256]),
)
def test_odd_drawers_keep_every_rule(usable, seam, half_cells, line_width, pitch, bed):  # noqa: PLR0917 - drawn by name
    joint = Joint(default_profile(0.3, line_width), 0.3, line_width)
    with contextlib.suppress(LatticeTooSmall):
        floor_of(
            usable,
            pitch=pitch,
            bed=bed,
            seam=seam,
            half_cells=half_cells,
            joint=joint,
            line_width=line_width,
            nozzle=0.4 if line_width < 0.6 else 0.6,
        )
