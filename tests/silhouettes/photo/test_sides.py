"""Sides that are found, and sides that mirror the sheet, of a block seen from beside it."""

import cv2
import numpy as np
import pytest
import shapely
import shapely.affinity

from worker.silhouettes.photo.rectify import Rectified
from worker.silhouettes.photo.sides import mirrors_sheet, with_sides

_NADIR, _SHARE, _PER_MM = np.array([140.0, 20.0]), 0.05, 5.0
_FIELD, _TOP, _SIDE = (0.2, 0.7, 0.35), (0.6, 0.6, 0.6), (0.25, 0.35, 0.28)


def _scaled(shape, factor):
    return shapely.affinity.scale(shape, factor, factor, origin=tuple(_NADIR))


def _photo(*shapes):
    """Return the field with shapes ``(polygon, light)`` on it, with noise."""
    light = np.empty((500, 500, 3), dtype=np.float32)
    light[:] = _FIELD
    for polygon, colour in shapes:
        corners = (shapely.get_coordinates(polygon) - [0.0, 100.0]) * [_PER_MM, -_PER_MM] - 0.5
        cv2.fillPoly(light, [np.round(corners).astype(np.int32)], colour)
    light += np.random.default_rng(3).normal(0.0, 0.02, light.shape).astype(np.float32)
    return Rectified(np.clip(light, 0.0, 1.0), 0.0, 100.0, _PER_MM)


@pytest.fixture(scope="module")
def block():
    """Return the outline of a block from above, of its top as seen, and of all that it hides."""
    base = shapely.box(20.0, 30.0, 60.0, 70.0)
    top = _scaled(base, 1.0 / (1.0 - _SHARE))
    return base, top, with_sides(top, _NADIR, _SHARE)


def test_sides_go_from_the_top_to_the_foot(block):
    base, top, whole = block
    assert base.difference(whole.buffer(1e-6)).is_empty
    assert whole.area == pytest.approx(shapely.union_all([base, top]).convex_hull.area, rel=1e-3)


def test_sides_in_another_light_are_found(block):
    _, top, whole = block
    assert not mirrors_sheet(whole, _photo((whole, _SIDE), (top, _TOP)), _NADIR, _SHARE)


def test_a_top_without_sides_mirrors_the_sheet(block):
    _, top, whole = block
    assert mirrors_sheet(top, _photo((whole, _FIELD), (top, _TOP)), _NADIR, _SHARE)


def test_sides_too_narrow_to_be_compared_miss_nothing(block):
    _, top, _ = block
    assert not mirrors_sheet(top, _photo((top, _TOP)), _NADIR, 0.002)
