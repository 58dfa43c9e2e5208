import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from worker.layout.floor.tab import Tab
from worker.layout.floor.tab_strength import PLA_YIELD, pull


def square_tab(neck=1.0, undercut=0.8, lip=1.2, thickness=1.2, gap=0.2):
    """A tab with square shoulders and no chamfers, by its dimensions."""
    shoulder, head = gap / 2 + lip + gap, neck + gap + undercut
    tip = shoulder + thickness
    flank = ((-gap / 2, neck), (shoulder, neck), (shoulder, head), (tip, head))
    slot = ((gap / 2, neck + gap), (shoulder - gap, neck + gap), (shoulder - gap, head + gap), (tip + gap, head + gap))
    return Tab(flank, slot, gap, 0.9)


def test_dimensions():
    tab = square_tab()
    assert (tab.neck, tab.square) == (1.0, True)
    assert tab.undercut == pytest.approx(0.8)
    assert tab.lip == pytest.approx(1.2)
    assert tab.thickness == pytest.approx(1.2)
    assert tab.play == pytest.approx(0.2)


def test_pull_by_hand():
    """Computed on paper: two cantilevers 3 x 1.2 mm, each with half the pull 0.6 mm from its root, at 45 MPa.

    W = 3 * 1.2^2 / 6 = 0.72 mm3; M = 45 * 0.72 = 32.4 N mm; 32.4 / 0.6 = 54 N a side. Neck: 2 * 3 * 45 = 270 N;
    bearing: 1.6 * 3 * 45 = 216 N; shear: 3 * 1.2 * 25.98 / 1.5 = 62.4 N a side.
    """
    assert PLA_YIELD == 45.0
    assert pull(square_tab(), 3.0) == pytest.approx(108.0)


@pytest.mark.parametrize(
    ("tab", "force"),
    [
        (square_tab(neck=0.3, lip=3.0, thickness=3.0), 0.6 * 3.0 * 45.0),
        (square_tab(undercut=0.05, lip=3.0, thickness=3.0, neck=9.0), 0.1 * 3.0 * 45.0),
        (square_tab(undercut=0.5, lip=1.0, thickness=0.8, neck=9.0), 2 * 45.0 * 3.0 * 0.64 / 6.0 / 0.45),
        (square_tab(undercut=0.5, lip=0.8, thickness=1.0, neck=9.0), 2 * 45.0 * 3.0 * 0.64 / 6.0 / 0.45),
        (
            square_tab(undercut=1.0, lip=9.0, thickness=2.2, neck=9.0, gap=0.0),
            2 * 2.2 * 3.0 * 45.0 / math.sqrt(3.0) / 1.5,
        ),
    ],
    ids=["neck", "bearing", "head bends", "lip bends", "head shears"],
)
def test_the_weakest_part_yields_first(tab, force):
    assert pull(tab, 3.0) == pytest.approx(force)


@given(st.floats(0.5, 2.0), st.floats(0.2, 1.5), st.floats(0.5, 2.0), st.floats(0.5, 2.0), st.floats(1.0, 6.0))
def test_pull_grows_with_height_and_thickness(neck, undercut, lip, thickness, height):
    tab = square_tab(neck, undercut, lip, thickness)
    assert pull(tab, 2.0 * height) == pytest.approx(2.0 * pull(tab, height))
    assert pull(square_tab(neck, undercut, lip + 0.1, thickness + 0.1), height) >= pull(tab, height) - 1e-9
