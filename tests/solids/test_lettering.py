import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from worker.layout.model.shapes import Lettering
from worker.layout.tray.font import extent
from worker.solids.lettering import cross_section, outlines
from worker.solids.ring import signed_area
from worker.spec.errors import TrayError
from worker.spec.tolerances import COORDINATE_GRID

LATIN = "".join(chr(code) for code in [*range(33, 127), *range(161, 173), *range(174, 256)])
texts = st.text(LATIN + " ", min_size=1, max_size=8).filter(lambda text: text.strip())


@settings(max_examples=60, deadline=None)
@given(texts, st.floats(2.0, 12.0), st.sampled_from([0.0, 90.0, 180.0, 270.0, 33.0, -45.0]))
def test_rings_are_simple_apart_and_on_the_grid(text, cap_height, turn):
    rings = outlines(text, cap_height, turn)
    assert rings
    for ring in rings:
        assert np.array_equal(np.round(ring / COORDINATE_GRID) * COORDINATE_GRID, ring)
        assert abs(signed_area(ring)) > 0.0
        sides = np.linalg.norm(ring - np.roll(ring, 1, axis=0), axis=1)
        assert sides.min() > 1e-3
    outer = [shapely.Polygon(ring) for ring in rings if signed_area(ring) > 0.0]
    holes = [shapely.Polygon(ring) for ring in rings if signed_area(ring) < 0.0]
    assert all(polygon.is_valid for polygon in outer + holes)
    lines = [shapely.LinearRing(ring) for ring in rings]
    assert not any(a.intersects(b) for place, a in enumerate(lines) for b in lines[:place])
    section = cross_section(Lettering(text, "top", (0.0, 0.0), cap_height, turn=turn))
    assert section.area() == pytest.approx(sum(signed_area(ring) for ring in rings), rel=1e-6)


@given(texts, st.floats(2.0, 12.0))
def test_the_middle_is_half_the_ink_and_half_a_capital(text, cap_height):
    points = np.concatenate(outlines(text, cap_height, 0.0))
    left, low, right, high = extent(text)
    width = (right - left) * cap_height
    assert points.min(axis=0) == pytest.approx([-width / 2.0, (low - 0.5) * cap_height], abs=0.003)
    assert points.max(axis=0) == pytest.approx([width / 2.0, (high - 0.5) * cap_height], abs=0.003)


def test_a_capital_is_as_tall_as_asked_and_turns_to_the_left():
    section = cross_section(Lettering("H", "top", (0.0, 0.0), 7.0))
    x0, y0, x1, y1 = section.bounds()
    assert (y0, y1) == pytest.approx((-3.5, 3.5), abs=1e-6)
    assert x1 == pytest.approx(-x0, abs=1e-3)
    upright = outlines("L", 6.0, 0.0)[0]
    turned = outlines("L", 6.0, 90.0)[0]
    # A quarter turn to the left takes (x, y) to (-y, x).
    expected = {(round(-y, 2) + 0.0, round(x, 2) + 0.0) for x, y in upright.tolist()}
    assert {(round(x, 2) + 0.0, round(y, 2) + 0.0) for x, y in turned.tolist()} == expected


def test_holes_are_left_open():
    rings = outlines("8", 5.0, 0.0)
    assert sorted(signed_area(ring) > 0.0 for ring in rings) == [False, False, True]
    assert len(outlines("Å", 5.0, 0.0)) >= 2


def test_spaces_are_nothing_and_strangers_are_refused_by_name():
    assert outlines("  ", 5.0, 0.0) == ()
    with pytest.raises(TrayError, match="漢"):
        cross_section(Lettering("a漢", "top", (0.0, 0.0), 5.0))
