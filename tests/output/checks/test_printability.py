"""Each printability limit has a part that keeps it exactly and one that passes it."""

from math import inf, pi, radians, tan

import manifold3d
import numpy as np
import pytest
import shapely
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from tests.output.checks.layer_slices import first_layer, floating_pieces, unsupported_area
from tests.solids.tray_shapes import plain
from worker.layout.model.shapes import Ledge, Lettering, MagnetHoles, Ramp, Wall
from worker.layout.planner import lay_out
from worker.layout.tray.tray_builder import tray_shape
from worker.output.checks.part_checks import Expected, expected_of, inspect
from worker.output.checks.printability import printability, printed_share
from worker.output.checks.undersides import components, measure_undersides
from worker.output.checks.wall_thickness import Widths, section_widths
from worker.output.meshes.stl import read_stl, write_stl
from worker.output.meshes.threemf import write_3mf
from worker.solids.kernel import build, genus
from worker.solids.lettering import outlines
from worker.solids.mesh import Mesh
from worker.spec import Spec
from worker.spec.drawer.joint import Joint, default_profile
from worker.spec.drawer.tray import Tray
from worker.spec.manifest import PRINTABILITY_NAMES
from worker.spec.printer.printer import Printer

PRINTER = Printer(bed=(220.0, 220.0, 250.0))
WIDE = Widths(inf, inf)


def solid_box(x, y, z, at=(0.0, 0.0, 0.0)):
    return manifold3d.Manifold.cube((x, y, z)).translate(at)


def figures_of(solid, *, widths=WIDE, printer=PRINTER, letterings=()):
    mesh = read_stl(write_stl(Mesh.of(solid), "x"))
    return {entry.name: entry for entry in printability(mesh, widths, printer, letterings)}


def wedge(angle):
    """A block with a side that leans out by this angle from the vertical, 10 mm tall."""
    out = 10.0 * tan(radians(angle))
    ring = np.array([[0.0, 0.0], [20.0, 0.0], [20.0 + out, 10.0], [0.0, 10.0]])
    return manifold3d.CrossSection([ring]).extrude(10.0).rotate((90.0, 0.0, 0.0)).translate((0.0, 10.0, 0.0))


def bridge(span):
    """A deck on two piers."""
    piers = solid_box(5.0, 30.0, 5.0) + solid_box(5.0, 30.0, 5.0, (5.0 + span, 0.0, 0.0))
    return piers + solid_box(10.0 + span, 30.0, 2.0, (0.0, 0.0, 5.0))


def balcony(width):
    """A block with a shelf 2 mm deep in the middle of its side: its free edge is 4 mm longer than the shelf is wide."""
    return solid_box(40.0, 10.0, 10.0) + solid_box(width, 2.0, 3.0, (10.0, -2.0, 5.0))


def recess(span):
    """A block with a square recess from below."""
    return solid_box(40.0, 40.0, 10.0) - solid_box(span, span, 3.0, (5.0, 5.0, -1.0))


def hook(clear):
    """A column with an arm from which a peg hangs down to this far above the bed."""
    column = solid_box(10.0, 10.0, 20.0) + solid_box(20.0, 10.0, 5.0, (0.0, 0.0, 15.0))
    return column + solid_box(5.0, 10.0, 16.0 - clear, (15.0, 0.0, clear))


def standing(base, height):
    """A column on a square base."""
    return solid_box(base, base, height)


def text_widths(cap_height):
    return (Lettering("F12", "top", (5.0, 5.0), cap_height),)


#: By name: the figure at its limit, and past it.
LIMITS = {
    "overhang": (lambda: figures_of(wedge(45.0)), lambda: figures_of(wedge(46.5))),
    "bridge": (lambda: figures_of(bridge(15.0)), lambda: figures_of(bridge(15.1))),
    "free_edge": (lambda: figures_of(balcony(11.0)), lambda: figures_of(balcony(11.1))),
    "roof": (lambda: figures_of(recess(10.0)), lambda: figures_of(recess(10.1))),
    "island": (lambda: figures_of(hook(0.0)), lambda: figures_of(hook(0.2))),
    "wall": (
        lambda: figures_of(standing(20.0, 5.0), widths=Widths(0.88, inf)),
        lambda: figures_of(standing(20.0, 5.0), widths=Widths(0.85, inf)),
    ),
    "gap": (
        lambda: figures_of(standing(20.0, 5.0), widths=Widths(inf, 0.3)),
        lambda: figures_of(standing(20.0, 5.0), widths=Widths(inf, 0.29)),
    ),
    "contact": (
        lambda: figures_of(solid_box(8.8, 1.0, 1.0)),
        lambda: figures_of(solid_box(8.7, 1.0, 1.0)),
    ),
    "slenderness": (lambda: figures_of(standing(10.0, 50.0)), lambda: figures_of(standing(10.0, 50.2))),
    "text": (
        lambda: figures_of(standing(20.0, 5.0), letterings=text_widths(3.0)),
        lambda: figures_of(standing(20.0, 5.0), letterings=text_widths(2.0)),
    ),
}


def test_every_figure_has_a_part_at_its_limit_and_one_past_it():
    assert set(LIMITS) == set(PRINTABILITY_NAMES)


@pytest.mark.parametrize("name", LIMITS)
def test_a_figure_at_its_limit_carries_no_caution(name):
    at_limit, _ = LIMITS[name]
    entry = at_limit()[name]

    assert entry.caution is None
    if name != "text":  # its share jumps where a stroke is as wide as the line
        assert entry.value == pytest.approx(entry.limit, rel=1e-3)


@pytest.mark.parametrize("name", LIMITS)
def test_a_figure_past_its_limit_carries_a_caution_and_no_other_does(name):
    _, past_limit = LIMITS[name]
    cautioned = {entry.name for entry in past_limit().values() if entry.caution is not None}

    # the open sides of a bridge and of the island's arm are free edges, as long as they
    assert cautioned == ({name, "free_edge"} if name in {"bridge", "island"} else {name})


def test_limits_follow_from_the_printer():
    coarse = Printer(bed=(220.0, 220.0, 250.0), nozzle=0.8, layer=0.3, max_bridge=8.0)
    figures = figures_of(bridge(9.0), widths=Widths(1.0, 0.5), printer=coarse)

    assert {name: figures[name].limit for name in ("bridge", "roof", "wall", "gap", "contact")} == pytest.approx(
        {"bridge": 8.0, "roof": 8.0, "wall": 1.76, "gap": 0.6, "contact": 17.6}
    )
    assert all(figures[name].caution for name in ("bridge", "wall", "gap"))


def test_an_overhang_has_an_area_and_a_place():
    entry = figures_of(wedge(60.0))["overhang"]

    assert entry.value == pytest.approx(60.0)
    assert entry.area == pytest.approx(10.0 * 10.0 / np.cos(radians(60.0)), rel=1e-4)
    assert 20.0 < entry.at[0] < 20.0 + 10.0 * tan(radians(60.0))


def test_an_underside_no_wider_than_a_line_is_carried_by_the_line_beside_it():
    step = solid_box(40.0, 10.0, 10.0) + solid_box(40.0, 0.4, 5.0, (0.0, -0.4, 5.0))
    wider = solid_box(40.0, 10.0, 10.0) + solid_box(40.0, 0.5, 5.0, (0.0, -0.5, 5.0))

    assert figures_of(step)["free_edge"].value is None
    assert figures_of(wider)["free_edge"].value == pytest.approx(41.0, rel=1e-4)


@pytest.mark.parametrize("peg", [0.2, 5.0])
def test_an_island_is_where_a_peg_starts(peg):
    entry = figures_of(hook(peg))["island"]

    assert (entry.value, entry.at[2]) == (1.0, pytest.approx(peg))


@pytest.mark.parametrize("radius", [0.5, 3.0, 5.0])
def test_a_cone_that_points_down_is_an_island_and_a_conical_pit_is_none(radius):
    cone = manifold3d.Manifold.cylinder(3.0, 0.0, radius, 24)
    plate = solid_box(40.0, 40.0, 6.0)
    pit = plate - cone.translate((20.0, 20.0, 3.5))
    hanging = hook(8.0) - solid_box(6.0, 12.0, 5.0, (14.5, -1.0, 7.0)) + cone.translate((17.5, 5.0, 12.0))

    assert figures_of(pit)["island"].value == 0.0
    assert figures_of(hanging)["island"].value == 1.0


def test_a_block_has_nothing_in_mid_air():
    figures = figures_of(solid_box(30.0, 20.0, 10.0))
    assert [figures[name].value for name in ("overhang", "bridge", "free_edge", "roof")] == [None] * 4
    assert figures["island"].value == 0.0


_CORNER = st.tuples(*(st.integers(-8, 8),) * 3)


@settings(max_examples=60, deadline=None)
@given(st.lists(_CORNER, min_size=4, max_size=4, unique_by=lambda corner: corner[2]))
def test_a_tetrahedron_in_mid_air_is_an_island_and_a_hollow_like_it_is_none(corners):
    """However it leans: its lowest corner, with faces that look up and down, is the only place where it could begin."""
    points = [(float(x), float(y), float(z)) for x, y, z in corners]
    solid = manifold3d.Manifold.hull_points(points).translate((20.0, 20.0, 20.0))
    assume(solid.volume() > 1.0)
    hanging = Mesh.of(solid_box(40.0, 40.0, 2.0) + solid)
    (island,) = measure_undersides(hanging, 0.44).islands
    lowest = min(points, key=lambda point: point[2])
    assert island == pytest.approx([20.0 + step for step in lowest], abs=1e-3)
    assert measure_undersides(Mesh.of(solid_box(40.0, 40.0, 40.0) - solid), 0.44).islands == ()


def test_a_narrow_gap_is_measured_as_a_wall_of_air():
    slotted = solid_box(30.0, 30.0, 5.0) - solid_box(0.25, 20.0, 10.0, (10.0, 5.0, -1.0))
    mesh = Mesh.of(slotted)
    widths = section_widths(mesh, slotted, 0.86)

    assert widths.gap == pytest.approx(0.25)
    assert widths.wall == inf


@settings(max_examples=30)
@given(st.floats(0.2, 1.2), st.floats(2.0, 8.0), st.floats(0.0, 360.0))
def test_a_gap_between_two_pillars_is_their_distance(gap, side, turn):
    pair = solid_box(side, side, 5.0) + solid_box(side, side, 5.0, (side + gap, 0.0, 0.0))
    turned = (pair + solid_box(2.0 * side + gap, side, 2.0, (0.0, 0.0, -2.0))).rotate((0.0, 0.0, turn))

    assert section_widths(Mesh.of(turned), turned, 0.86).gap == pytest.approx(gap, abs=2e-3)


@settings(max_examples=30)
@given(st.lists(st.tuples(st.integers(0, 19), st.integers(0, 19)), max_size=30))
def test_components_are_those_of_a_search(links):
    labels = components(20, *np.array(links, dtype=np.int64).reshape(-1, 2).T)
    reached = {node: {node} for node in range(20)}
    for _ in range(20):
        for a, b in links:
            joined = reached[a] | reached[b]
            for node in joined:
                reached[node] = joined

    assert labels.tolist() == [min(reached[node]) for node in range(20)]


TRAYS = {
    "plain": plain(),
    "magnets": plain(magnets=MagnetHoles(8.0, 3.0, ((11.0, 11.0), (30.4, 30.4)))),
    "label": plain(ledge=Ledge(12.0, 56.0, 3.0)),
    "ramp": plain(ramp=Ramp(12.0)),
    "dividers": plain(walls=(Wall("x", 42.0, 1.2, 50.0),)),
    "half feet": plain((4, 1), 30.0, half_feet=True),
}


@pytest.fixture(params=TRAYS)
def tray(request):
    return read_stl(write_stl(build(TRAYS[request.param]), "x"))


def test_a_tray_agrees_with_its_layers(tray):
    sides = measure_undersides(tray, 0.44)

    assert sides.contact_area == pytest.approx(first_layer(tray).area, rel=1e-3)
    assert len(sides.islands) == floating_pieces(tray)


@pytest.mark.parametrize(
    ("floor", "depth", "passes"),
    [(1.2, 2.0, True), (1.2, 4.0, False), (2.6, 4.0, True)],
)
def test_over_a_wide_magnet_the_roof_narrows_or_carries_a_caution(floor, depth, passes):
    """A magnet of 14 mm: the cone takes 2 mm of the floor's thickness, which is not always there."""
    tray = Tray.model_validate(
        {"name": "t", "cells": [1, 2], "height": 20, "floor": floor, "magnets": {"diameter": 14, "depth": depth}}
    )
    joint = Joint(default_profile(0.3, 0.44), 0.3, 0.44)
    shape = tray_shape(tray, joint=joint, pitch=42.0, line_width=0.44, half_feet=False, pointer="")
    figures = {entry.name: entry for entry in printability(build(shape), WIDE, PRINTER)}
    assert (figures["roof"].caution is None) is passes
    assert figures["overhang"].caution is None


def test_a_magnet_hole_has_a_roof_as_wide_as_the_magnet():
    figures = {}
    for diameter in (8.0, 12.0):
        mesh = build(plain(magnets=MagnetHoles(diameter, 3.0, ((20.7, 20.7),))))
        figures[diameter] = {entry.name: entry for entry in printability(mesh, WIDE, PRINTER)}["roof"]

    assert [entry.value for entry in figures.values()] == pytest.approx([8.0, 12.0], rel=0.01)
    assert [entry.caution is None for entry in figures.values()] == [True, False]
    assert figures[12.0].at == pytest.approx((20.7, 20.7, 3.0), abs=0.05)


def test_the_outer_wall_of_a_tray_bridges_the_corners_of_two_feet():
    mesh = read_stl(write_stl(build(plain()), "x"))
    edge = {entry.name: entry for entry in printability(mesh, WIDE, PRINTER)}["free_edge"]
    z = edge.at[2]
    below = shapely.unary_union(
        [shapely.Polygon(ring) for ring in mesh.manifold().slice(z - 1e-3).to_polygons()]
    )  # the feet
    (_, low), (_, _) = np.reshape(below.bounds, (2, 2))
    front = shapely.LineString([(0.0, low + 1e-3), (84.0, low + 1e-3)])
    gaps = front.difference(below)

    assert edge.value == pytest.approx(max(gap.length for gap in gaps.geoms if 1.0 < gap.centroid.x < 83.0), abs=0.1)


JOB = {
    "spec": "1",
    "name": "bench",
    "printer": {"bed": [230, 230, 230]},
    "drawers": [
        {
            "name": "top", "width": 200, "depth": 180, "height": 70,
            "trays": [
                {"name": "screws", "cells": [2, 2], "height": 40, "compartments": [2, 2], "finger_ramp": True,
                 "label_ledge": True},
                {"name": "sockets", "cells": [2, 1], "height": 30, "magnets": {"diameter": 8, "depth": 3},
                 "pockets": [{"shape": "circle", "at": [30, 20], "diameter": 18, "depth": 6}]},
                {"name": "cups", "cells": [3, 2], "height": 40, "filling": "walls", "pockets": [
                    {"shape": "circle", "at": [40, 40], "diameter": 40, "depth": 25},
                    {"shape": "rectangle", "at": [80, 20], "size": [8, 30], "depth": 12, "notch": {"width": 20}},
                    {"shape": "rectangle", "at": [100, 20], "size": [8, 30], "depth": 12, "notch": {"width": 20}}]},
            ],
        }
    ],
}  # fmt: skip


@pytest.fixture(scope="module")
def inspections():
    """The parts of a job with their inspections, and the meshes as read back."""
    spec = Spec.model_validate(JOB)
    parts = []
    for part in lay_out(spec).parts:
        solid = build(part.shape)
        stl, packed = write_stl(solid, "x"), write_3mf(solid, name="x", part_number="x")
        inspection = inspect(stl, packed, expected_of(part, solid, genus(part.shape)), spec.printer)
        parts.append((part, inspection, read_stl(stl)))
    return parts


def test_parts_of_a_job_print_without_caution(inspections):
    for part, inspection, _ in inspections:
        assert [entry.name for entry in inspection.printability] == list(PRINTABILITY_NAMES)
        assert [entry.caution for entry in inspection.printability if entry.caution] == [], part.mark


def test_parts_of_a_job_agree_with_their_layers(inspections):
    for part, inspection, mesh in inspections:
        figures = {entry.name: entry for entry in inspection.printability}
        assert figures["contact"].value == pytest.approx(first_layer(mesh).area, rel=1e-3), part.mark
        assert figures["island"].value == floating_pieces(mesh), part.mark
        if figures["bridge"].value is None and figures["roof"].value is None:
            assert unsupported_area(mesh) < 1.0, part.mark


def test_files_without_a_solid_have_no_printability():
    assert inspect(b"", b"", Expected(0, 1.0, (1.0, 1.0, 1.0)), PRINTER).printability == ()


@pytest.mark.parametrize(("line_width", "least", "most"), [(0.22, 0.99, 1.0), (0.44, 0.95, 1.0), (0.88, 0.0, 0.3)])
def test_strokes_thinner_than_a_line_do_not_print(line_width, least, most):
    assert least <= printed_share("F12", 3.0, line_width) <= most


@settings(max_examples=20, deadline=None)
@given(st.text(st.sampled_from("FTCK0123456789"), min_size=1, max_size=4), st.floats(3.0, 10.0))
def test_a_wider_line_prints_no_more_of_a_text_and_a_larger_text_prints_more(text, cap_height):
    shares = [printed_share(text, cap_height, width) for width in (0.22, 0.44, 0.66, 0.88)]

    assert shares == sorted(shares, reverse=True)
    assert printed_share(text, 2.0 * cap_height, 0.88) == pytest.approx(printed_share(text, cap_height, 0.44), abs=0.02)


@given(st.floats(3.0, 10.0), st.sampled_from([0.2, 0.3, 0.42]))
def test_of_a_straight_stroke_all_is_printed_but_its_corners(cap_height, line_width):
    """A disc does not get into the corners of a rectangle: each lacks a square less a quarter of a disc."""
    (stroke,) = outlines("I", cap_height, 0.0)
    width, height = np.ptp(stroke, axis=0)
    assert len(stroke) == 4
    if width > line_width:
        lost = (4.0 - pi) * (line_width / 2.0) ** 2
        assert printed_share("I", cap_height, line_width) == pytest.approx(1.0 - lost / (width * height), abs=5e-4)


def test_the_widest_bridge_counts_beside_a_longer_one():
    """A deck that is narrow and long on its piers, and one that is square: 7 x 60 and 10 x 10 mm."""
    piers = solid_box(5.0, 60.0, 5.0) + solid_box(5.0, 60.0, 5.0, (12.0, 0.0, 0.0))
    long = piers + solid_box(17.0, 60.0, 2.0, (0.0, 0.0, 5.0))
    feet = solid_box(5.0, 10.0, 5.0, (30.0, 0.0, 0.0)) + solid_box(5.0, 10.0, 5.0, (45.0, 0.0, 0.0))
    square = feet + solid_box(20.0, 10.0, 2.0, (30.0, 0.0, 5.0))
    assert figures_of(long)["bridge"].value == pytest.approx(7.0, rel=2e-3)
    assert figures_of(long + square)["bridge"].value == pytest.approx(10.0, rel=2e-3)
