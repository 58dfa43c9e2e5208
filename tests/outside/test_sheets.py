"""Papers and scales against their standards."""

import pytest

from worker.output.drawings.labels import PAGES
from worker.output.drawings.map import PAPER, ROOM, SCALES

pytestmark = pytest.mark.outside


def test_a4_and_letter_have_their_sizes():
    # ISO 216: A4 is 210 x 297 mm (from memory), an A0 of 1 m2 with sides of 1 to the root of 2 halved four times,
    # rounded down to whole mm.
    assert PAPER == PAGES["A4"] == (210.0, 297.0)
    assert PAGES["A4"] == tuple(int(1000.0 * 2.0**power) for power in (-2.25, -1.75))
    # ANSI/ASME Y14.1 size A, Letter: 8.5 x 11 in (from memory).
    assert PAGES["Letter"] == pytest.approx((8.5 * 25.4, 11.0 * 25.4))


def test_a_map_fits_on_both_papers_at_full_size():
    # Common practice: printers leave a border of at most 6.35 mm, a quarter of an inch.
    for page in PAGES.values():
        assert all(room + 2.0 * 6.35 <= side for room, side in zip(ROOM, page, strict=True))


def test_scales_are_those_of_the_standards():
    # ISO 5455: 1:1 and reductions 1:2, 1:5 and 1:10 and these by powers of ten (from memory).
    iso = {1.0, 2.0, 5.0, 10.0, 20.0, 50.0}
    # GOST 2.302-68 reductions (from memory): 1:2, 1:2.5, 1:4, 1:5, 1:10, 1:15, 1:20, 1:25, 1:40, 1:50.
    gost = {1.0, 2.0, 2.5, 4.0, 5.0, 10.0, 15.0, 20.0, 25.0, 40.0, 50.0}
    assert iso <= set(SCALES)
    assert set(SCALES) <= iso | gost
    assert list(SCALES) == sorted(SCALES)
