import manifold3d
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
