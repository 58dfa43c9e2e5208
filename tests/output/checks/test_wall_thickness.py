from math import inf, radians, tan

import manifold3d
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from worker.output.checks.wall_thickness import section_heights, section_widths
from worker.solids.mesh import Mesh

LIMIT = 0.82


def plate(*rings, height=2.0):
    """A plate between rings: the outer one counter-clockwise, holes clockwise."""
    return Mesh.of(manifold3d.CrossSection([np.array(ring, dtype=float) for ring in rings]).extrude(height))


def measured(mesh, limit=LIMIT, skip=()):
    return section_widths(mesh, mesh.manifold(), limit, skip).wall


def square(side=20.0):
    return [[0, 0], [side, 0], [side, side], [0, side]]


def hole(x, y, width, depth):
    return [[x, y], [x, y + depth], [x + width, y + depth], [x + width, y]]


def round_hole(x, y, radius):
    angles = -np.linspace(0.0, 2.0 * np.pi, 32, endpoint=False)
    return np.column_stack([x + radius * np.cos(angles), y + radius * np.sin(angles)])


def fin(width, length):
    return [[0, 0], [20, 0], [20, 5], [20 + length, 5], [20 + length, 5 + width], [20, 5 + width], [20, 10], [0, 10]]


def turned(rings, degrees):
    angle = np.radians(degrees)
    matrix = np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
    return [np.asarray(ring, dtype=float) @ matrix for ring in rings]


@settings(max_examples=40)
@given(st.floats(0.3, 1.2), st.floats(0.0, 360.0))
def test_a_wall_between_a_side_and_a_hole_is_measured(width, degrees):
    assert measured(plate(*turned([square(), hole(width, 5, 5, 5)], degrees))) == pytest.approx(width, abs=2e-3)


@settings(max_examples=40)
@given(st.floats(0.3, 1.2), st.floats(0.0, 360.0))
def test_a_fin_is_measured(width, degrees):
    assert measured(plate(*turned([fin(width, 10.0)], degrees))) == pytest.approx(width, abs=2e-3)


@settings(max_examples=20)
@given(st.floats(0.3, 1.2), st.floats(0.0, 90.0))
def test_a_neck_between_two_corners_is_measured(width, degrees):
    step = width / np.sqrt(2.0)
    rings = [square(), hole(4, 4, 5, 5), hole(9 + step, 9 + step, 5, 5)]
    assert measured(plate(*turned(rings, degrees))) == pytest.approx(width, abs=2e-3)


@settings(max_examples=20)
@given(st.floats(0.3, 1.2))
def test_a_neck_between_two_round_holes_is_measured(width):
    rings = [square(), round_hole(6, 10, 3.5), round_hole(13 + width, 10, 3.5)]
    assert measured(plate(*rings)) == pytest.approx(width, abs=2e-3)


@pytest.mark.parametrize("width", [0.7, 0.84])
def test_two_lines_pass_and_less_does_not(width):
    assert (measured(plate(square(), hole(width, 5, 5, 5))) >= LIMIT) == (width == 0.84)


@pytest.mark.parametrize("angle", [30.0, 45.0, 60.0])
def test_a_sharp_corner_is_no_wall(angle):
    assert measured(plate([[0, 0], [20, 0], [20, 20 * tan(radians(angle))]])) == inf


@pytest.mark.parametrize("angle", [1.0, 5.0, 10.0, 15.0])
def test_a_feather_is_a_wall(angle):
    assert measured(plate([[0, 0], [20, 0], [20, 20 * tan(radians(angle))]])) < LIMIT


def test_a_wall_with_a_round_end_of_two_lines_passes():
    angles = np.linspace(-np.pi / 2, np.pi / 2, 17)
    end = np.column_stack([30 + 0.42 * np.cos(angles), 5.42 + 0.42 * np.sin(angles)])
    assert measured(plate([[0, 0], [20, 0], [20, 5], *end, [20, 5.84], [20, 10], [0, 10]])) == pytest.approx(
        0.84, abs=2e-3
    )


def test_a_taper_is_measured_at_its_thin_end():
    assert measured(plate([[0, 0], [20, 0], [20, 0.5], [0, 2.0]])) < 0.65


def test_a_plain_plate_has_no_wall_to_measure():
    assert measured(plate(square())) == inf


def test_air_between_two_walls_is_no_wall():
    assert measured(plate(square(), hole(5, 5, 0.3, 10))) == inf


def test_walls_are_measured_at_every_height():
    low = manifold3d.Manifold.cube((20.0, 20.0, 2.0))
    thin = manifold3d.Manifold.cube((0.6, 20.0, 5.0)).translate((3.0, 0.0, 1.5))
    assert measured(Mesh.of(low + thin)) == pytest.approx(0.6, abs=2e-3)


def test_what_lies_in_a_lettering_is_not_measured():
    plain = manifold3d.Manifold.cube((20.0, 20.0, 2.0))
    stroke = manifold3d.Manifold.cube((0.4, 10.0, 0.5)).translate((3.0, 5.0, 1.9))
    mesh = Mesh.of(plain + stroke)
    assert measured(mesh) == pytest.approx(0.4, abs=2e-3)
    assert measured(mesh, skip=[(2.0, 2.4)]) == inf


def test_a_knife_edge_is_found_though_the_middle_of_its_band_is_thick():
    cone = manifold3d.CrossSection([np.array(square(), dtype=float)]).extrude(2.0)
    cutter = manifold3d.Manifold.hull_points(
        np.array(
            [
                [x, y, z]
                for z, inset in ((-1.0, 4.0), (2.0, 0.2))
                for x in (inset, 20 - inset)
                for y in (inset, 20 - inset)
            ]
        )
    )
    assert measured(Mesh.of(cone - cutter)) < 0.6


def test_bands_are_cut_once_and_tall_sloping_ones_twice(floor, box):
    assert section_heights(box(z=5.0)) == [2.5]
    assert section_heights(floor(1, 1)) == pytest.approx([0.2, 0.7, 1.3, 2.3])
    wedge = Mesh.of(manifold3d.Manifold.hull_points([(0, 0, 0), (30, 0, 0), (0, 30, 0), (0, 0, 10)]))
    assert section_heights(wedge) == pytest.approx([1.0, 9.0])


def test_a_floor_has_its_land(floor):
    assert measured(floor(2, 2), limit=1.0) == pytest.approx(1.2, abs=2e-3)
