import dataclasses

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.solids.tray_oracle import oracle
from tests.solids.tray_shapes import plain
from worker.solids.tray import build_tray, tray_genus
from worker.spec.joint import Joint, default_profile
from worker.spec.tolerances import COORDINATE_GRID, SLIVER_ALTITUDE


def altitudes(mesh):
    corners = mesh.vertices[mesh.triangles]
    sides = np.stack([corners[:, i] - corners[:, i - 1] for i in range(3)], axis=1)
    doubled = np.linalg.norm(np.cross(sides[:, 1], sides[:, 2]), axis=1)
    return doubled / np.linalg.norm(sides, axis=2).max(axis=1)


def assert_sound(mesh, genus):
    """Closed, oriented, no vertex twice, on the grid, no slivers, and the library takes it as it is."""
    edges = np.concatenate([mesh.triangles[:, [0, 1]], mesh.triangles[:, [1, 2]], mesh.triangles[:, [2, 0]]])
    forth, counts = np.unique(edges, axis=0, return_counts=True)
    assert (counts == 1).all()
    assert np.array_equal(forth, np.unique(edges[:, ::-1], axis=0))
    assert len(np.unique(mesh.triangles)) == len(mesh.vertices)
    assert len(np.unique(mesh.vertices, axis=0)) == len(mesh.vertices)
    steps = mesh.vertices / COORDINATE_GRID
    assert np.abs(steps - np.round(steps)).max() < 1e-6
    assert altitudes(mesh).min() > SLIVER_ALTITUDE
    solid = mesh.manifold()
    assert solid.status().name == "NoError"
    assert solid.genus() == genus
    assert len(solid.decompose()) == 1
    assert solid.volume() == pytest.approx(mesh.volume, rel=1e-9)


plain_trays = st.builds(
    plain,
    halves=st.tuples(st.integers(1, 4), st.integers(1, 4)).map(lambda cells: (2 * cells[0], 2 * cells[1])),
    height=st.floats(14.0, 90.0),
    stacking=st.booleans(),
    half_feet=st.booleans(),
    pitch=st.sampled_from([36.0, 42.0, 50.8]),
    joint=st.sampled_from([0.1, 0.25, 0.4]).map(lambda air: Joint(default_profile(air, 0.42), air, 0.42)),
    wall=st.sampled_from([0.84, 1.2, 1.55, 2.4, 4.0]),
)


@settings(max_examples=25, deadline=None)
@given(plain_trays)
def test_the_direct_tray_is_the_boolean_of_whole_solids(shape):
    mesh = build_tray(shape)
    assert_sound(mesh, tray_genus(shape))
    direct, expected = mesh.manifold(), oracle(shape)
    assert direct.genus() == expected.genus() == 0
    assert direct.volume() == pytest.approx(expected.volume(), rel=1e-7)
    assert (direct ^ expected).volume() == pytest.approx(expected.volume(), rel=1e-9)
    assert (direct - expected).volume() + (expected - direct).volume() < 1e-6
    low, high = mesh.bounds
    across, back = (halves * shape.pitch / 2.0 - 2.0 * shape.inset for halves in shape.halves)
    assert low == pytest.approx([0.0, 0.0, 0.0], abs=1e-9)
    assert high == pytest.approx([across, back, shape.height], abs=COORDINATE_GRID)


@pytest.mark.parametrize("halves", [(1, 1), (1, 2), (3, 5)])
def test_half_feet_stand_one_to_a_half_cell(halves):
    shape = plain(halves, 30.0, half_feet=True)
    mesh = build_tray(shape)
    assert_sound(mesh, 0)
    standing = mesh.manifold().slice(0.5).decompose()
    assert len(standing) == halves[0] * halves[1]


def test_a_foot_is_the_stack_of_its_levels():
    # Closed form rounded-rect-chamfer of the reference's geometry: Simpson's rule is exact for a linear inset.
    shape = plain((2, 2), 20.0, stacking=False)
    section = mesh_volume_below(build_tray(shape), shape.foot_levels[-1][1])
    expected = 0.0
    for (u0, z0), (u1, z1) in zip(shape.foot_levels, shape.foot_levels[1:], strict=False):
        areas = [rounded_area(42.0 - 2.0 * u, 5.0 - u) for u in (u0, (u0 + u1) / 2.0, u1)]
        expected += (z1 - z0) * (areas[0] + 4.0 * areas[1] + areas[2]) / 6.0
    # Facets are inscribed: eight to a quarter take 0.64 % of the corner circles' area, 0.02 % of the foot's.
    assert section == pytest.approx(expected, rel=4e-4)
    assert section < expected


def rounded_area(side, radius):
    return side * side - (4.0 - np.pi) * radius**2


def mesh_volume_below(mesh, z):
    return mesh.manifold().trim_by_plane((0.0, 0.0, -1.0), -z).volume()


def test_reference_values_hold_for_the_formulas_used_here():
    # geometry_worked_examples: rounded-rect-area and rounded-rect-chamfer.
    assert 41.5 * 83.5 - (4.0 - np.pi) * 3.75**2 == pytest.approx(3453.17864669, rel=1e-11)
    areas = [rounded_area(41.5 - 2.0 * t, 3.75 - t) for t in (0.0, 1.075, 2.15)]
    assert 2.15 * (areas[0] + 4.0 * areas[1] + areas[2]) / 6.0 == pytest.approx(3318.50398719, rel=1e-11)


def test_building_twice_gives_the_same_bytes():
    shape = plain((4, 2), 33.0)
    one, two = build_tray(shape), build_tray(dataclasses.replace(shape))
    assert one.vertices.tobytes() == two.vertices.tobytes()
    assert one.triangles.tobytes() == two.triangles.tobytes()
