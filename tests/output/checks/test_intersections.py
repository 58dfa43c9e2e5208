import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from worker.output.checks.intersections import intersecting_pairs
from worker.solids.mesh import Mesh

steps = st.integers(-3000, 3000).map(lambda micrometres: micrometres / 1000)
points = st.tuples(steps, steps, steps)


def pair(*six):
    return Mesh(np.array(six, dtype=float), np.array([[0, 1, 2], [3, 4, 5]], dtype=np.int32))


def count(mesh):
    return intersecting_pairs(mesh).shape[1]


FLAT = ((0, 0, 0), (4, 0, 0), (0, 4, 0))


@pytest.mark.parametrize(
    ("other", "expected"),
    [
        (((1, 1, -1), (1, 1, 1), (2, 2, 2)), 1),  # pierces
        (((1, 1, 0.5), (1, 1, 1), (2, 2, 2)), 0),  # above
        (((1, 1, 0), (1, 1, 1), (2, 2, 2)), 0),  # stands on it
        (((1, 1, -0.0005), (1, 1, 1), (2, 2, 2)), 0),  # pierces by less than rounding
        (((3, 3, -1), (3, 3, 1), (5, 5, 0)), 0),  # crosses its plane, beside it
        (((1, 1, 0), (2, 1, 0), (1, 2, 0)), 1),  # lies in it
        (((1, 1, 0), (1, 2, 0), (2, 1, 0)), 1),  # lies in it, upside down
        (((4, 0, 0), (4, 4, 0), (0, 4, 0)), 0),  # lies beside it, edge to edge
        (((3, 3, 0), (5, 3, 0), (3, 5, 0)), 0),  # lies beside it, boxes touching
        (((-1, 1, 0), (5, 1, 0), (2, 2, 0)), 1),  # crosses it in its plane
        (((0, 1, -1), (0, 1, 1), (9, 1, 0)), 1),  # long and thin through it
    ],
)
def test_two_triangles(other, expected):
    assert count(pair(*FLAT, *other)) == expected
    assert count(pair(*other, *FLAT)) == expected


@pytest.mark.parametrize(
    ("apex", "expected"),
    [((4, 4, 0), 0), ((4, 4, 3), 0), ((0, 0, 3), 0), ((0.5, 0.5, 0), 1), ((0.5, 0.5, 0.0005), 1), ((0.5, 0.5, 0.1), 0)],
)
def test_triangles_that_share_an_edge_cross_only_when_folded_flat(apex, expected):
    mesh = Mesh(np.array([*FLAT, apex], dtype=float), np.array([[0, 1, 2], [2, 1, 3]], dtype=np.int32))
    assert count(mesh) == expected


@pytest.mark.parametrize(
    ("far", "expected"),
    [
        (((-1, 0, 0), (0, -1, 0)), 0),  # beyond the corner
        (((1, 1, 0), (1, 2, 0)), 1),  # inside it, in its plane
        (((1, 1, 1), (1, 1, -1)), 1),  # through it
        (((1, 1, 1), (1, 2, 1)), 0),  # above it
    ],
)
def test_triangles_that_share_a_corner(far, expected):
    mesh = Mesh(np.array([*FLAT, *far], dtype=float), np.array([[0, 1, 2], [0, 3, 4]], dtype=np.int32))
    assert count(mesh) == expected


def _crosses_segment(a, b, triangle):
    """Tell whether a segment passes well through a triangle, by signed volumes; None when it is a near thing."""

    def volume(p, q, r, s):
        return np.dot(np.cross(q - p, r - p), s - p)

    sides = [volume(*triangle, a), volume(*triangle, b)]
    turns = [volume(a, b, triangle[k], triangle[(k + 1) % 3]) for k in range(3)]
    if min(map(abs, sides + turns)) < 0.2:
        return None
    return sides[0] * sides[1] < 0 and (min(turns) > 0 or max(turns) < 0)


@settings(max_examples=80)
@given(st.tuples(points, points, points), st.tuples(points, points, points))
def test_the_answer_is_that_of_edges_through_triangles(first, second):
    first_triangle, second_triangle = np.array(first), np.array(second)
    answers = [_crosses_segment(first_triangle[k], first_triangle[(k + 1) % 3], second_triangle) for k in range(3)]
    answers += [_crosses_segment(second_triangle[k], second_triangle[(k + 1) % 3], first_triangle) for k in range(3)]
    assume(None not in answers)
    assert count(pair(*first_triangle, *second_triangle)) == int(any(answers))


@settings(max_examples=40)
@given(st.integers(0, 10_000), st.integers(2, 20), st.sampled_from([1.0, 0.25]), st.sampled_from([2.0, 10.0]))
def test_no_near_pair_is_lost_among_the_layers(seed, size, step, spread):
    random = np.random.default_rng(seed)
    corners = np.round(random.uniform(0.0, 10.0, (size, 1, 3)) + random.uniform(-spread, spread, (size, 3, 3)), 3)
    corners[:, :, 2] = np.round(corners[:, :, 2] / step) * step  # many heights alike, many triangles level
    mesh = Mesh(corners.reshape(-1, 3), np.arange(3 * size, dtype=np.int32).reshape(-1, 3))
    pairs = set(map(tuple, intersecting_pairs(mesh).T.tolist()))
    alone = {(i, j) for i in range(size) for j in range(i + 1, size) if count(pair(*corners[i], *corners[j]))}
    assert pairs == alone


def test_a_good_mesh_has_none(floor, box):
    assert count(floor(2, 3)) == 0
    assert count(box()) == 0


def test_two_boxes_through_each_other_are_found(box, together):
    assert count(together(box(), box(at=(5.0, 5.0, 2.0)))) > 0


def test_two_boxes_apart_are_not(box, together):
    assert count(together(box(), box(at=(10.5, 0.0, 0.0)))) == 0


def test_two_boxes_with_faces_on_each_other_are_found(box, together):
    assert count(together(box(), box(at=(10.0, 0.0, 0.0)))) > 0
