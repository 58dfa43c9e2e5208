from math import hypot, prod

import manifold3d
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from worker.layout.model.plan import Cell, DrawerPlan, FloorPlan, Lattice, Plan, SeamPair
from worker.layout.model.shapes import KeyShape, Part, Placement, TileShape, TrayShape
from worker.output.checks.assembly_checks import check_assembly, placed
from worker.solids.mesh import Mesh

RING = ((0.0, 0.0), (1.0, 0.0), (0.0, 1.0))
LEVELS = ((1.0, 0.0), (1.0, 3.0))
AIR = 0.3


def tile_shape(height=3.0):
    return TileShape(RING, (), (), LEVELS, 5.0, height)


def tray_shape(inset=AIR):
    return TrayShape(
        halves=(2, 2), half_feet=False, pitch=42.0, inset=inset, foot_levels=LEVELS, rim_levels=None, corner_radius=5.0,
        height=20.0, wall=1.2, floor_top=5.0, fill_top=5.0,
    )  # fmt: skip


SHAPES = {"tile": tile_shape(), "tray": tray_shape(), "key": KeyShape(RING, 2.8)}


def plan_of(parts, placements, *, outline=None, size=(100.0, 60.0, 40.0), seams=(), copies=1, loose=None):
    """Return a plan with one drawer; ``parts`` gives each mark its kind and mesh.

    ``loose`` are the tiles that the plan says nothing holds: all but the first, as these are plain boxes.
    """
    loose = range(1, len(placements)) if loose is None else loose
    outline = outline or (((0.0, 0.0), (size[0], 0.0), (size[0], size[1]), (0.0, size[1])),)
    drawer = DrawerPlan(
        name="bench left, top", outline=outline, size=size, lattice=Lattice((0.0, 0.0), 42.0, (Cell(0, 0, 2, 2),)),
        whole=1, half=0, across=(1, 1), leftover=(0.0, 0.0), free=0, placements=tuple(placements), seams=tuple(seams),
        copies=copies, floor=FloorPlan(loose=tuple(loose)),
    )  # fmt: skip
    made = tuple(
        Part(mark, kind, mark, SHAPES[kind], tuple(mesh.bounds[1].tolist()), 1) for mark, (kind, mesh) in parts.items()
    )
    return Plan("bench", (drawer,), made, (), ())


def checks_of(parts, placements, **kwargs):
    plan = plan_of(parts, placements, **kwargs)
    return {check.name: check for check in check_assembly(plan, {mark: mesh for mark, (_, mesh) in parts.items()})}


def failures(*args, **kwargs):
    return {name for name, check in checks_of(*args, **kwargs).items() if not check.passed}


@pytest.fixture
def frame():
    """A tile 40 x 40 with a square hole 20 x 20 in its middle."""
    outer = manifold3d.Manifold.cube((40.0, 40.0, 3.0))
    return Mesh.of(outer - manifold3d.Manifold.cube((20.0, 20.0, 5.0)).translate((10.0, 10.0, -1.0)))


def test_a_floor_with_a_tray_passes_every_check(box, frame):
    parts = {"F1": ("tile", frame), "T1": ("tray", box(19.4, 19.4, 20.0))}
    places = [
        Placement("F1", (0.0, 0.0, 0.0)),
        Placement("F1", (40.2, 0.0, 0.0)),
        Placement("T1", (10.3, 10.3, 0.0)),
    ]
    checks = checks_of(parts, places, seams=[SeamPair(0, 1, 0.2)])
    assert {name: check.passed for name, check in checks.items()} == dict.fromkeys(
        ["apart", "seam", "joint", "outline", "height", "held"], True
    )
    assert checks["seam"].value == pytest.approx(0.2)
    assert checks["joint"].value == pytest.approx(0.3)
    assert checks["height"].value == 20.0
    assert checks["joint"].subject == "bench left, top: F1 at 0, 0 and T1 at 10.3, 10.3"


@pytest.mark.parametrize(
    ("gap", "expected"), [(0.2, set()), (0.191, set()), (0.18, {"seam"}), (-0.1, {"seam", "apart"})]
)
def test_a_seam_keeps_its_gap(box, gap, expected):
    parts = {"F1": ("tile", box(40.0, 40.0, 3.0))}
    places = [Placement("F1", (0.0, 0.0, 0.0)), Placement("F1", (40.0 + gap, 0.0, 0.0))]
    assert failures(parts, places, seams=[SeamPair(0, 1, 0.2)]) == expected


@pytest.mark.parametrize(
    ("shift", "expected"), [(0.0, set()), (0.009, set()), (0.02, {"joint"}), (0.35, {"joint", "apart"})]
)
def test_a_joint_keeps_its_clearance(box, frame, shift, expected):
    parts = {"F1": ("tile", frame), "T1": ("tray", box(19.4, 19.4, 20.0))}
    places = [Placement("F1", (0.0, 0.0, 0.0)), Placement("T1", (10.3 + shift, 10.3, 0.0))]
    assert failures(parts, places) == expected


@pytest.mark.parametrize(("gap", "expected"), [(0.6, set()), (0.58, {"trays"}), (-1.0, {"trays", "apart"})])
def test_neighbouring_trays_keep_twice_the_clearance(box, gap, expected):
    parts = {"T1": ("tray", box(20.0, 20.0, 20.0)), "T2": ("tray", box(30.0, 20.0, 20.0))}
    places = [Placement("T1", (0.0, 0.0, 0.0)), Placement("T2", (20.0 + gap, 0.0, 0.0))]
    assert failures(parts, places) == expected


@pytest.mark.parametrize(("y", "expected"), [(10.2, set()), (10.1, {"key"})])
def test_a_key_keeps_the_seams_gap(box, frame, y, expected):
    parts = {"F1": ("tile", frame), "K1": ("key", box(19.6, 19.6, 2.8))}
    places = [Placement("F1", (0, 0, 0)), Placement("F1", (40.2, 0, 0)), Placement("K1", (10.2, y, 0.0))]
    assert failures(parts, places, seams=[SeamPair(0, 1, 0.2)]) == expected


def test_a_part_wholly_inside_another_is_found(box):
    parts = {"F1": ("tile", box(40.0, 40.0, 3.0)), "T1": ("tray", box(10.0, 10.0, 1.0))}
    places = [Placement("F1", (0.0, 0.0, 0.0)), Placement("T1", (10.0, 10.0, 1.0))]
    assert failures(parts, places) == {"apart", "joint"}


def test_tiles_may_touch_where_no_gap_is_asked_for(box):
    parts = {"F1": ("tile", box(40.0, 40.0, 3.0))}
    places = [Placement("F1", (0.0, 0.0, 0.0)), Placement("F1", (40.0, 0.0, 0.0))]
    assert failures(parts, places, seams=[SeamPair(0, 1, 0.0)]) == set()


@pytest.mark.parametrize(
    ("x", "expected"), [(60.0, set()), (60.0015, set()), (60.01, {"outline"}), (-0.01, {"outline"})]
)
def test_parts_lie_inside_the_outline(box, x, expected):
    parts = {"F1": ("tile", box(40.0, 40.0, 3.0))}
    assert failures(parts, [Placement("F1", (x, 0.0, 0.0))]) == expected


L_SHAPE = (((0.0, 0.0), (100.0, 0.0), (100.0, 30.0), (50.0, 30.0), (50.0, 60.0), (0.0, 60.0)),)
PILLAR = (
    ((0.0, 0.0), (100.0, 0.0), (100.0, 60.0), (0.0, 60.0)),
    ((20.0, 20.0), (20.0, 30.0), (30.0, 30.0), (30.0, 20.0)),
)


@pytest.mark.parametrize(
    ("outline", "at", "expected"),
    [
        (L_SHAPE, (10.0, 20.0), set()),
        (L_SHAPE, (20.0, 20.0), {"outline"}),
        (PILLAR, (30.0, 10.0), set()),
        (PILLAR, (5.0, 5.0), {"outline"}),
    ],
)
def test_notches_and_pillars_are_no_place(box, outline, at, expected):
    parts = {"F1": ("tile", box(40.0, 40.0, 3.0))}
    assert failures(parts, [Placement("F1", (*at, 0.0))], outline=outline) == expected


def test_a_tile_around_a_pillar_lies_inside_though_its_box_does_not(frame):
    parts = {"F1": ("tile", frame)}
    assert failures(parts, [Placement("F1", (5.0, 5.0, 0.0))], outline=PILLAR) == set()
    assert failures(parts, [Placement("F1", (11.0, 5.0, 0.0))], outline=PILLAR) == {"outline"}


@pytest.mark.parametrize(
    ("height", "z", "expected"), [(40.0, 0, set()), (40.1, 0, {"height"}), (20.0, -0.1, {"height"})]
)
def test_parts_stay_under_the_height_and_on_the_bottom(box, height, z, expected):
    parts = {"T1": ("tray", box(20.0, 20.0, height))}
    assert failures(parts, [Placement("T1", (10.0, 10.0, z))]) == expected


def test_a_turned_part_is_checked_as_it_stands(box):
    parts = {"T1": ("tray", box(55.0, 20.0, 20.0))}
    assert failures(parts, [Placement("T1", (70.0, 2.0, 0.0), turn=90)]) == set()
    assert failures(parts, [Placement("T1", (70.0, 2.0, 0.0), turn=180)]) == {"outline"}


@pytest.mark.parametrize("turn", [90, 270])
def test_a_part_that_stands_out_only_because_it_is_turned_is_found(box, turn):
    parts = {"T1": ("tray", box(40.0, 10.0, 20.0))}
    assert failures(parts, [Placement("T1", (0.0, 30.0, 0.0))]) == set()
    assert failures(parts, [Placement("T1", (0.0, 30.0, 0.0), turn=turn)]) == {"outline"}


def test_a_part_is_as_large_as_its_box_wherever_its_file_has_it(box):
    mesh = box(20.0, 20.0, 40.0)
    lifted = Mesh(mesh.vertices + 5.0, mesh.triangles)
    check = checks_of({"T1": ("tray", lifted)}, [Placement("T1", (0.0, 0.0, 0.0))])["height"]
    assert (check.passed, check.value) == (True, 40.0)


def test_an_empty_drawer_passes(box):
    assert failures({"F1": ("tile", box())}, []) == set()


@settings(max_examples=40)
@given(st.sampled_from([0, 90, 180, 270]), st.tuples(*(st.integers(-500, 500),) * 3))
def test_a_part_is_turned_and_its_box_moved_to_its_place(turn, at):
    wedge = manifold3d.Manifold.hull_points([(0, 0, 0), (30, 0, 0), (0, 10, 0), (0, 0, 5)])
    solid = placed(wedge, Placement("T1", tuple(map(float, at)), turn))
    low, high = solid.bounding_box()[:3], solid.bounding_box()[3:]
    size = (10.0, 30.0, 5.0) if turn in {90, 270} else (30.0, 10.0, 5.0)
    assert low == pytest.approx(at, abs=1e-9)
    assert [b - a for a, b in zip(low, high, strict=True)] == pytest.approx(size, abs=1e-9)
    # the wedge's right angle turns counter-clockwise from the front left
    corner = {0: (0, 0), 90: (1, 0), 180: (1, 1), 270: (0, 1)}[turn]
    tip = max(Mesh.of(solid).vertices.tolist(), key=lambda point: point[2])
    assert tip[:2] == pytest.approx([at[k] + corner[k] * size[k] for k in range(2)], abs=1e-9)


_SIZES = st.tuples(*(st.integers(5, 30),) * 3)


@settings(max_examples=60)
@given(_SIZES, _SIZES, st.tuples(*(st.integers(-33, 33),) * 3))
def test_no_pair_is_too_near_wherever_it_stands(first, second, offset):
    """The oracle is the distance of two boxes, worked out from their coordinates."""
    cubes = [Mesh.of(manifold3d.Manifold.cube(tuple(map(float, size)))) for size in (first, second)]
    parts = {"F1": ("tile", cubes[0]), "F2": ("tile", cubes[1])}
    at = [50.0 + step for step in offset]
    places = [Placement("F1", (50.0, 50.0, 50.0)), Placement("F2", tuple(at))]
    between = [max(at[k] - 50.0 - first[k], 50.0 - at[k] - second[k]) for k in range(3)]
    distance, least = hypot(*(max(gap, 0.0) for gap in between)), 2.5
    seam = checks_of(parts, places, seams=[SeamPair(0, 1, least)]).get("seam")
    assert (seam is None or seam.passed) == (distance >= least)
    shared = [min(first[k], offset[k] + second[k]) - max(0, offset[k]) for k in range(3)]
    volume = prod(max(length, 0) for length in shared)
    assert checks_of(parts, places)["apart"].value == pytest.approx(volume, abs=1e-4)


@pytest.mark.parametrize("order", [1, -1])
@pytest.mark.parametrize("axis", [0, 1])
@pytest.mark.parametrize("sign", [1, -1])
def test_a_seam_that_is_too_narrow_is_seen_on_every_side(box, axis, sign, order):
    """Tiles of two sizes, so that no side of the one lies in line with a side of the other."""
    parts = {"F1": ("tile", box(30.0, 20.0, 3.0)), "F2": ("tile", box(12.0, 8.0, 3.0))}
    at = [35.0, 26.0, 0.0]
    at[axis] = 30.0 + (30.0, 20.0)[axis] + 0.15 if sign > 0 else 30.0 - (12.0, 8.0)[axis] - 0.15
    if axis == 1:
        at[1] -= 10.0
    places = [Placement("F1", (30.0, 20.0, 0.0)), Placement("F2", tuple(at))][::order]
    assert failures(parts, places, seams=[SeamPair(0, 1, 0.2)]) == {"seam"}


def test_tiles_hold_together_wherever_their_files_have_them():
    """The plan says where a part stands, not its file: this one begins left of, in front of and above the origin."""
    parts = {
        mark: ("tile", Mesh(mesh.vertices + np.array([-7.0, -60.0, 9.0]), mesh.triangles))
        for mark, mesh in zip(("F1", "F2"), tabbed(head=8.0), strict=True)
    }
    places = [Placement("F1", (0.0, 0.0, 0.0)), Placement("F2", (40.2, 0.0, 0.0))]
    assert checks_of(parts, places, seams=[SeamPair(0, 1, 0.2)], loose=())["held"].passed


def test_pairs_that_stand_alike_are_measured_alike(box):
    parts = {"T1": ("tray", box(19.4, 19.4, 20.0))}
    places = [Placement("T1", (20.0 * k, 0.0, 0.0)) for k in range(5)]
    assert checks_of(parts, places)["trays"].value == pytest.approx(0.6)


def tabbed(*, head):
    """Return two tiles with one tab on the first and its recess in the second, 0.2 mm apart; ``head`` is its width."""
    tile, neck = manifold3d.Manifold.cube((40.0, 40.0, 3.0)), manifold3d.Manifold.cube((3.0, 4.0, 3.0))
    wide = manifold3d.Manifold.cube((2.0, head, 3.0)).translate((3.0, 0.0, 0.0))
    tab = (neck.translate((0.0, 18.0, 0.0)) + wide.translate((0.0, 20.0 - head / 2.0, 0.0))).translate((40.0, 0.0, 0.0))
    room = manifold3d.Manifold.cube((3.2, 4.4, 9.0)).translate((0.0, 17.8, -1.0))
    room += manifold3d.Manifold.cube((2.4, head + 0.4, 9.0)).translate((2.6, 19.8 - head / 2.0, -1.0))
    return Mesh.of(tile + tab), Mesh.of(tile - room)


@pytest.mark.parametrize(("head", "expected"), [(8.0, set()), (4.0, {"held"})])
def test_tiles_that_the_plan_joins_hold_together(head, expected):
    """A tab with a head stops the second tile in every direction; one without slides out along its neck."""
    first, second = tabbed(head=head)
    parts = {"F1": ("tile", first), "F2": ("tile", second)}
    places = [Placement("F1", (0.0, 0.0, 0.0)), Placement("F2", (40.2, 0.0, 0.0))]
    assert failures(parts, places, seams=[SeamPair(0, 1, 0.2)], loose=()) == expected
    check = checks_of(parts, places, seams=[SeamPair(0, 1, 0.2)], loose=(1,))["held"]
    assert (check.passed, check.value) == (True, len(expected))


@pytest.mark.parametrize(("turn", "at"), [(90, (0.0, 40.2)), (180, (-40.2, 0.0)), (270, (0.0, -40.2))])
def test_turned_tiles_hold_together(turn, at):
    parts = dict(zip(("F1", "F2"), (("tile", mesh) for mesh in tabbed(head=8.0)), strict=True))
    x, y = 50.0 + at[0], 50.0 + at[1]
    corner = {90: (50.0, 50.0), 180: (45.0, 50.0), 270: (50.0, 45.0)}[turn]
    places = [Placement("F1", (*corner, 0.0), turn), Placement("F2", (x, y, 0.0), turn)]
    assert failures(parts, places, seams=[SeamPair(0, 1, 0.2)], size=(140.0, 140.0, 40.0), loose=()) == set()


@pytest.mark.parametrize("turn", [0, 90])
def test_a_pair_that_stands_like_another_in_one_direction_only_is_tried_by_itself(turn):
    """The third tile stands 20 mm further off than the one of its mark that holds."""
    parts = dict(zip(("F1", "F2"), (("tile", mesh) for mesh in tabbed(head=8.0)), strict=True))
    ways = [("F1", 0.0), ("F2", 40.2), ("F2", 60.2)]
    places = [Placement(mark, (along, 0.0, 0.0) if turn == 0 else (0.0, along, 0.0), turn) for mark, along in ways]
    assert checks_of(parts, places, seams=[SeamPair(0, 1, 0.2), SeamPair(0, 2, 0.2)])["held"].value == 1


def test_a_key_holds_two_tiles():
    """A key of two heads in two recesses; without the key, or with a straight one, the tiles come apart."""
    tile = manifold3d.Manifold.cube((40.0, 40.0, 3.0))
    room = manifold3d.Manifold.cube((3.2, 4.4, 9.0)).translate((0.0, 17.8, -1.0))
    room += manifold3d.Manifold.cube((2.4, 8.4, 9.0)).translate((2.8, 15.8, -1.0))
    right = tile - room
    left = right.mirror((1.0, 0.0, 0.0)).translate((40.0, 0.0, 0.0))
    bar = manifold3d.Manifold.cube((10.2, 4.0, 2.8)).translate((0.0, 2.0, 0.0))
    heads = manifold3d.Manifold.cube((2.0, 8.0, 2.8)) + manifold3d.Manifold.cube((2.0, 8.0, 2.8)).translate((8.2, 0, 0))
    parts = {"F1": ("tile", Mesh.of(left)), "F2": ("tile", Mesh.of(right)), "K1": ("key", Mesh.of(bar + heads))}
    tiles = [Placement("F1", (0.0, 0.0, 0.0)), Placement("F2", (40.2, 0.0, 0.0))]
    key = Placement("K1", (35.0, 16.0, 0.0))
    seams = [SeamPair(0, 1, 0.2)]
    assert failures(parts, [*tiles, key], seams=seams, loose=()) == set()
    assert failures(parts, tiles, seams=seams, loose=()) == {"held"}
    straight = {**parts, "K1": ("key", Mesh.of(bar.translate((0.0, -2.0, 0.0))))}
    assert failures(straight, [*tiles, Placement("K1", (35.0, 18.0, 0.0))], seams=seams, loose=()) == {"held"}


def test_gaps_are_measured_a_tenth_of_a_millimetre_beyond_the_clearance(box):
    parts = {"T1": ("tray", box(20.0, 20.0, 20.0))}
    gaps = {gap: [Placement("T1", (0, 0, 0)), Placement("T1", (20.0 + gap, 0, 0))] for gap in (0.650123, 0.75)}
    assert checks_of(parts, gaps[0.650123])["trays"].value == 0.6501
    assert "trays" not in checks_of(parts, gaps[0.75])


def test_the_worst_of_two_seams_is_the_one_with_least_to_spare(box):
    parts = {"F1": ("tile", box(30.0, 30.0, 3.0))}
    places = [Placement("F1", (0, 0, 0)), Placement("F1", (30.25, 0, 0)), Placement("F1", (60.66, 0, 0))]
    checks = checks_of(parts, places, seams=[SeamPair(0, 1, 0.2), SeamPair(1, 2, 0.4)])
    assert checks["seam"].value == pytest.approx(0.41)
    assert checks["seam"].subject == "bench left, top: F1 at 30.25, 0 and F1 at 60.66, 0"


def test_the_subject_names_a_pair_only_where_it_overlaps(box):
    parts = {"F1": ("tile", box(40.0, 40.0, 3.0))}
    apart = checks_of(parts, [Placement("F1", (0, 0, 0)), Placement("F1", (40.05, 0, 0))])["apart"]
    overlap = checks_of(parts, [Placement("F1", (0, 0, 0)), Placement("F1", (39.5, 0, 0))])["apart"]
    assert (apart.passed, apart.value, apart.subject) == (True, 0.0, "bench left, top")
    assert (overlap.passed, overlap.subject) == (False, "bench left, top: F1 at 0, 0 and F1 at 39.5, 0")
    assert overlap.value == pytest.approx(0.5 * 40.0 * 3.0)


def test_every_part_outside_the_outline_counts(box):
    parts = {"F1": ("tile", box(40.0, 40.0, 3.0))}
    places = [Placement("F1", (-1, 0, 0)), Placement("F1", (45, 0, 0)), Placement("F1", (0, 50, 0))]
    check = checks_of(parts, places)["outline"]
    assert (check.value, check.subject) == (2, "bench left, top: F1")


def test_the_height_is_that_of_the_tallest_part_and_its_bottom_that_of_the_lowest(box):
    parts = {"T1": ("tray", box(20.0, 10.0, 30.0)), "T2": ("tray", box(20.0, 10.0, 12.0))}
    places = [Placement("T1", (0, 0, 0)), Placement("T2", (30, 40, 0)), Placement("T2", (60, 0, 0))]
    check = checks_of(parts, places)["height"]
    assert (check.value, check.subject) == (30.0, "bench left, top: T1")


@pytest.mark.parametrize(
    ("height", "z", "expected"), [(40.001, 0, set()), (40.004, 0, {"height"}), (20, -0.001, set())]
)
def test_heights_are_compared_within_rounding(box, height, z, expected):
    assert failures({"T1": ("tray", box(20.0, 20.0, height))}, [Placement("T1", (10, 10, z))]) == expected


@pytest.mark.parametrize("order", [1, -1])
def test_a_tray_rests_on_another_whichever_is_listed_first(box, order):
    parts = {"T1": ("tray", box(19.4, 19.4, 10.0))}
    expected = {10.0: set(), 9.9: {"apart"}, 9.85: {"apart", "stack"}}
    for z, failed in expected.items():
        places = [Placement("T1", (0, 0, 0), cell=(0.0, 0.0)), Placement("T1", (0, 0, z), cell=(0.0, 0.0))][::order]
        checks = checks_of(parts, places)
        assert {name for name, check in checks.items() if not check.passed} == failed
        assert "stack" in checks


@pytest.mark.parametrize(
    ("cells", "lift"), [((None, None), 1.0), (((0.0, 0.0), (1.0, 0.0)), 1.0), (((0.0, 0.0), (0.0, 0.0)), 0.0)]
)
def test_only_trays_above_each_other_in_one_cell_are_a_stack(box, cells, lift):
    parts = {"T1": ("tray", box(20.0, 20.0, 20.0))}
    places = [Placement("T1", (0, 0, 0), cell=cells[0]), Placement("T1", (20.5, 0, lift), cell=cells[1])]
    assert failures(parts, places) == {"trays"}


@pytest.mark.parametrize("order", [1, -1])
def test_what_is_far_above_a_tile_has_no_joint_with_it(box, frame, order):
    parts = {"F1": ("tile", frame), "T1": ("tray", box(19.4, 19.4, 20.0))}
    for z, joint in ((0.0, {"joint"}), (9.0, set())):
        places = [Placement("F1", (0, 0, 0)), Placement("T1", (10.32, 10.3, z))][::order]
        assert failures(parts, places) == joint
        assert ("joint" in checks_of(parts, places)) == bool(joint)


def test_a_key_of_a_floor_without_seams_may_touch(box):
    parts = {"F1": ("tile", box(40.0, 40.0, 3.0)), "K1": ("key", box(4.0, 4.0, 3.0))}
    check = checks_of(parts, [Placement("F1", (0, 0, 0)), Placement("K1", (40.05, 0, 0))])["key"]
    assert check.passed
    assert check.limit.startswith("a gap of at least 0 mm")


def hooked(*, play, air=0.2, low=0.0):
    """Return two tiles 0.2 mm apart: a tab with a head that has room to ``play`` outwards, ``air`` mm at its sides.

    ``low`` is the height in mm from which the tab has a head.
    """
    tile, neck = manifold3d.Manifold.cube((40.0, 40.0, 3.0)), manifold3d.Manifold.cube((3.0, 4.0, 3.0))
    head = manifold3d.Manifold.cube((2.0, 8.0, 3.0 - low)).translate((3.0, 16.0, low))
    tab = (neck.translate((0.0, 18.0, 0.0)) + head).translate((40.0, 0.0, 0.0))
    room = manifold3d.Manifold.cube((3.0, 4.0 + 2.0 * air, 9.0)).translate((-0.1, 18.0 - air, -1.0))
    behind = manifold3d.Manifold.cube((2.2 + play, 8.0 + 2.0 * air, 9.0)).translate((2.8 - play, 16.0 - air, -1.0))
    return Mesh.of(tile + tab), Mesh.of(tile - room - behind)


@pytest.mark.parametrize(
    ("play", "low", "expected"), [(0.9, 0.0, set()), (1.1, 0.0, {"held"}), (0.2, 1.2, set()), (0.2, 1.8, {"held"})]
)
def test_tiles_hold_after_a_millimetre_of_play_by_what_is_halfway_up(play, low, expected):
    """With a gap of 0.2 mm the tiles are moved by 3.5 gaps and 0.3 mm more: 1.0 mm."""
    first, second = hooked(play=play, low=low)
    places = [Placement("F1", (0.0, 0.0, 0.0)), Placement("F2", (40.2, 0.0, 0.0))]
    failed = failures({"F1": ("tile", first), "F2": ("tile", second)}, places, seams=[SeamPair(0, 1, 0.2)], loose=())
    assert failed - {"apart", "seam"} == expected


def test_a_tile_that_slides_out_straight_to_the_left_is_loose():
    """A neck with 0.05 mm at its sides lets the second tile go in one direction of sixteen only."""
    tile = manifold3d.Manifold.cube((40.0, 40.0, 3.0))
    first = Mesh.of(tile + manifold3d.Manifold.cube((5.0, 4.0, 3.0)).translate((-5.0, 18.0, 0.0)))
    second = Mesh.of(tile - manifold3d.Manifold.cube((5.0, 4.1, 9.0)).translate((35.0, 17.95, -1.0)))
    places = [Placement("F1", (35.2, 0.0, 0.0)), Placement("F2", (0.0, 0.0, 0.0))]
    parts = {"F1": ("tile", first), "F2": ("tile", second)}
    assert "held" in failures(parts, places, seams=[SeamPair(0, 1, 0.2)], loose=())


@pytest.mark.parametrize(("slim", "expected"), [(0.0, set()), (0.3, {"held"})])
def test_a_key_with_more_air_than_the_gap_holds_nothing(slim, expected):
    tile = manifold3d.Manifold.cube((40.0, 40.0, 3.0))
    room = manifold3d.Manifold.cube((3.2, 4.4, 9.0)).translate((0.0, 17.8, -1.0))
    room += manifold3d.Manifold.cube((2.4, 8.4, 9.0)).translate((2.8, 15.8, -1.0))
    right = tile - room
    left = right.mirror((1.0, 0.0, 0.0)).translate((40.0, 0.0, 0.0))
    flat = manifold3d.CrossSection.square((10.2, 4.0)).translate((0.0, 2.0))
    for x in (0.0, 8.2):
        flat += manifold3d.CrossSection.square((2.0, 8.0)).translate((x, 0.0))
    key = Mesh.of(flat.offset(-slim, manifold3d.JoinType.Miter).extrude(2.8).translate((-slim, -slim, 0.0)))
    parts = {"F1": ("tile", Mesh.of(left)), "F2": ("tile", Mesh.of(right)), "K1": ("key", key)}
    places = [Placement("F1", (0, 0, 0)), Placement("F2", (40.2, 0, 0)), Placement("K1", (35 + slim, 16 + slim, 0))]
    assert failures(parts, places, seams=[SeamPair(0, 1, 0.2)], loose=()) == expected


def test_parts_of_known_marks_in_known_places_are_measured_as_they_are(box, frame):
    """Gaps are remembered by meshes, not by marks: a second job with the same marks and places is another one."""
    places = [Placement("F1", (0.0, 0.0, 0.0)), Placement("T1", (10.3, 10.3, 0.0))]
    for width, expected in ((19.4, set()), (19.9, {"joint", "apart"}), (19.4, set())):
        parts = {"F1": ("tile", frame), "T1": ("tray", box(width, 19.4, 20.0))}
        assert failures(parts, places) == expected
