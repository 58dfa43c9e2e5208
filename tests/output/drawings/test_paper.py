"""Pages of paper to cut up: their sizes."""

import pytest

from worker.output.drawings.paper import PAGES


def test_pages_are_those_of_the_standards():
    # ISO 216: A0 has one square metre, sides of 1 to the root of 2, and is halved four times, to whole millimetres
    long = 1000.0 * 2.0**0.25 / 4.0
    assert PAGES["A4"] == (int(long / 2.0**0.5), int(long))
    # ANSI/ASME Y14.1 A: 8.5 x 11 inches
    assert PAGES["Letter"] == pytest.approx((8.5 * 25.4, 11 * 25.4))
