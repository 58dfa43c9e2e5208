import dataclasses
import subprocess
import sys

import numpy as np
import pytest
from hypothesis import given, settings

from tests.solids.plate_oracle import tile_oracle
from tests.solids.plate_shapes import JOINT, tile, tiles
from tests.solids.soundness import assert_same, assert_sound
from worker.layout.model.shapes import Lettering
from worker.solids.ring import RING, rounded_rectangle, signed_area
from worker.solids.tile import build_tile, tile_genus
from worker.spec.tolerances import SLIVER_ALTITUDE


@settings(max_examples=40, deadline=None)
@given(tiles())
def test_the_direct_tile_is_the_boolean_of_whole_solids(shape):
    mesh = build_tile(shape)
    assert_sound(mesh, tile_genus(shape))
    assert_same(mesh, tile_oracle(shape))
    points = np.array(shape.outline)
    low, high = mesh.bounds
    assert low == pytest.approx([*points.min(axis=0), 0.0], abs=1e-9)
    assert high == pytest.approx([*points.max(axis=0), shape.height], abs=1e-9)


@pytest.mark.parametrize(("columns", "rows"), [(1, 1), (1, 4), (6, 6)])
def test_a_plain_tile_is_its_plate_less_the_stacks_of_its_sockets(columns, rows):
    # Between two levels a ring's area is quadratic in z, so Simpson's rule is exact; facets are straight.
    shape = tile(columns, rows)
    air = 0.0
    for (u0, z0), (u1, z1) in zip(shape.levels, shape.levels[1:], strict=False):
        areas = [
            signed_area(rounded_rectangle(0.0, 0.0, 42.0, 42.0, u, shape.corner_radius))
            for u in (u0, (u0 + u1) / 2.0, u1)
        ]
        air += (z1 - z0) * (areas[0] + 4.0 * areas[1] + areas[2]) / 6.0
    expected = columns * rows * (42.0**2 * shape.height - air)
    # Rounding to the grid moves a point by half a micrometre at most.
    assert build_tile(shape).volume == pytest.approx(expected, rel=1e-4)


def test_no_point_is_added_to_those_of_outline_windows_rings_and_text():
    shape = tile(4, 3, border=(0.0, 0.0, 14.0, 6.0), windows=True, seam=True)
    rings = len(shape.outline) + sum(len(window) for window in shape.windows)
    assert len(build_tile(shape).vertices) == 2 * rings + RING * len(shape.levels) * len(shape.sockets)


def test_triangles_are_well_over_slivers_where_everything_is_in_rows():
    for shape in (tile(6, 6), tile(5, 5, seam=True), tile(6, 4, halves=(True, True), border=(3.0,) * 4)):
        assert build_tile(shape).altitudes.min() > 10.0 * SLIVER_ALTITUDE


@pytest.mark.parametrize("text", ["F1", "F80", "B&Ø", "i%"])
@pytest.mark.parametrize("turn", [0.0, 90.0, 33.0])
def test_text_is_cut_into_the_top_and_islands_stay(text, turn):
    blank = tile(2, 2, border=(6.0, 40.0, 6.0, 6.0))
    shape = dataclasses.replace(blank, letterings=(Lettering(text, "top", (48.0, 20.0), 4.0, turn=turn),))
    mesh = build_tile(shape)
    assert_sound(mesh, tile_genus(shape))
    assert_same(mesh, tile_oracle(shape))
    assert mesh.volume < build_tile(blank).volume


def test_a_mark_on_a_node_is_cut_where_the_web_would_be():
    shape = tile(3, 3, mark="F1")
    assert shape.letterings[0].at in {(42.0, 42.0), (42.0, 84.0), (84.0, 42.0), (84.0, 84.0)}
    mesh = build_tile(shape)
    assert_sound(mesh, 9)
    assert_same(mesh, tile_oracle(shape))


def test_text_on_the_bottom_is_mirrored_and_raised_text_stands_out():
    blank = tile(1, 1, border=(0.0, 12.0, 0.0, 0.0))
    below = dataclasses.replace(blank, letterings=(Lettering("L", "bottom", (20.0, 6.0), 5.0),))
    mesh = build_tile(below)
    assert_sound(mesh, 1)
    assert_same(mesh, tile_oracle(below))
    # Seen from above, the upright of a mirrored L is on the right: most of what is cut lies there.
    cut = (build_tile(blank).manifold() - mesh.manifold()).slice(0.2)
    assert np.mean([ring[:, 0].mean() for ring in cut.to_polygons()]) > 20.0
    above = dataclasses.replace(blank, letterings=(Lettering("8", "top", (20.0, 6.0), 5.0, raised=True),))
    mesh = build_tile(above)
    assert_sound(mesh, 1)
    assert mesh.bounds[1][2] == pytest.approx(JOINT.height + 0.4)
    assert mesh.volume > build_tile(blank).volume


def test_building_twice_gives_the_same_bytes_over_processes():
    code = (
        "import hashlib; from tests.solids.plate_shapes import tile; from worker.solids import build;"
        "mesh = build(tile(3, 2, seam=True, mark='F7'));"
        "print(hashlib.sha256(mesh.vertices.tobytes() + mesh.triangles.tobytes()).hexdigest())"
    )
    runs = [
        subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True).stdout
        for _ in range(2)
    ]
    assert runs[0] == runs[1]
    assert len(runs[0].strip()) == 64
