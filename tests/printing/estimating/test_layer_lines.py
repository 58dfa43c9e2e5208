from math import pi, sqrt

import manifold3d
import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from worker.printing.estimating.chords import Chords
from worker.printing.estimating.layer_lines import Hatches, Walls
from worker.printing.estimating.process import Process
from worker.printing.estimating.sections import bands
from worker.solids import Mesh

WIDTH = 0.44


def rectangle(x, y, width, depth):
    return np.array([(x, y), (x + width, y), (x + width, y + depth), (x, y + depth)], dtype=float)


def polygon(corners, radii):
    angles = np.arange(corners) * 2.0 * pi / corners
    return np.stack([radii * np.cos(angles), radii * np.sin(angles)], axis=1)


def frame(wall):
    """A square frame of 60 mm with walls of one thickness."""
    inside = 60.0 - 2.0 * wall
    solid = manifold3d.Manifold.cube([60.0, 60.0, 3.0])
    return Mesh.of(solid - manifold3d.Manifold.cube([inside, inside, 3.0]).translate([wall, wall, 0.0]))


def walls_of(mesh, process):
    walls = Walls.of(bands(mesh, process.walls * process.line_width), process)
    return float(walls.outer[0] + walls.inner[0])


@given(st.lists(st.floats(15.0, 60.0), min_size=3, max_size=12), st.floats(-50.0, 50.0))
@settings(max_examples=60)
def test_chords_by_an_independent_geometry_library(radii, offset):
    """Area by Cavalieri, each chord as shapely cuts it."""
    ring = polygon(len(radii), np.array(radii)) + offset
    spacing = 0.7
    chords = Chords.of([[ring]], np.array([spacing]))
    region = shapely.Polygon(ring)
    apart = float(chords.apart[0])
    assert (chords.lengths.sum() * apart / 2.0) == pytest.approx(region.area, rel=0.02)
    total = 0.0
    for sign in (1.0, -1.0):
        middle = ring @ np.array([-sign, 1.0]) / sqrt(2.0)
        origin = middle.mean()
        for line in range(int((middle.min() - origin) / apart) - 2, int((middle.max() - origin) / apart) + 2):
            start = np.array([-sign, 1.0]) / sqrt(2.0) * (origin + (line + 0.5) * apart)
            ends = [start + along * np.array([1.0, sign]) / sqrt(2.0) for along in (-500.0, 500.0)]
            total += region.intersection(shapely.LineString(ends)).length
    assert chords.lengths.sum() == pytest.approx(total, rel=1e-6)


@given(st.floats(0.0, 3.0), st.integers(1, 4))
def test_straight_walls_apart_are_pieces(turn, count):
    """Strips as far apart as they are long, turned as one."""
    strips = [rectangle(0.0, 40.0 * place, 30.0, 1.0) for place in range(count)]
    rotation = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    chords = Chords.of([[strip @ rotation.T for strip in strips]], np.array([WIDTH]))
    assert chords.pieces(np.full(len(chords.lengths), fill_value=True), 2.0 * chords.apart + 4.0 * WIDTH).tolist() == [
        count
    ]


@given(st.floats(10.0, 80.0), st.floats(10.0, 80.0))
def test_hatch_lines_cover_a_rectangle(width, depth):
    """Lines and turns together are as long as the area over the spacing, in one path."""
    hatches = Hatches.of([[rectangle(0.0, 0.0, width, depth)]], np.array([WIDTH]), WIDTH)
    assert (hatches.lengths * hatches.weights).sum() == pytest.approx(width * depth / WIDTH, rel=0.03)
    assert hatches.paths.tolist() == [1.0]


def test_slivers_narrower_than_a_line_have_no_hatch():
    hatches = Hatches.of([[rectangle(0.0, 0.0, 50.0, 0.9 * WIDTH)]], np.array([WIDTH]), WIDTH)
    assert hatches.paths.tolist() == [0.0]
    assert hatches.times(np.array([100.0]), Process()).tolist() == [0.0]


def test_a_hole_breaks_the_path_once_more():
    outer, hole = rectangle(0.0, 0.0, 60.0, 60.0), rectangle(20.0, 20.0, 20.0, 20.0)[::-1]
    assert Hatches.of([[outer, hole]], np.array([WIDTH]), WIDTH).paths.tolist() == [2.0]


@pytest.mark.parametrize(("gap", "lines"), [(0.05, 2.0), (0.2, 3.0), (0.4, 3.0)])
def test_a_gap_between_loops_is_one_line_or_none(gap, lines):
    """Two loops of a wall and a gap: one line along the middle of the wall, whatever its width."""
    process = Process()
    wall = 2.0 * process.line_width + gap
    middle = 4.0 * (60.0 - wall)
    assert walls_of(frame(wall), process) == pytest.approx(lines * middle, rel=0.03)
