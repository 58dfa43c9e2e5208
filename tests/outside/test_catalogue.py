"""The catalogue's sizes against what is published."""

from math import sqrt

import pytest

from worker.layout.storage.poses import poses
from worker.spec.items.catalogue import lookup

pytestmark = pytest.mark.outside


@pytest.mark.parametrize(
    ("name", "diameter", "length"),
    [
        # IEC 60086-2 limits, as reprinted in a batteries handbook, table 4.9a (secondary)
        ("battery-aaa", 10.5, 44.5),
        ("battery-aa", 14.5, 50.5),
        ("battery-c", 26.2, 50.0),
        ("battery-d", 34.2, 61.5),
        ("battery-r44", 11.6, 5.4),
        # IEC 60086-2, CR2032 dimension sheet (from memory): the name itself says 20 mm and 3.2 mm
        ("battery-cr2032", 20.0, 3.2),
        # ISO 7089, outer diameter and the greatest thickness (an open part library's table)
        ("washer-m3", 7.0, 0.55),
        ("washer-m6", 12.0, 1.8),
        ("washer-m8", 16.0, 1.8),
        # ISO 15, 608: 8 x 22 x 7
        ("bearing-608", 22.0, 7.0),
        # DIN 338, jobber series (from memory)
        ("drill-3", 3.0, 61.0),
        ("drill-5", 5.0, 86.0),
        ("drill-10", 10.0, 133.0),
    ],
)
def test_round_things(name, diameter, length):
    shape = lookup(name).shape
    assert (shape.diameter, shape.length) == (diameter, length)


@pytest.mark.parametrize(
    ("name", "size"),
    [
        # ISO/IEC 7810: 85.60 x 53.98 x 0.76 +- 0.08; 105 x 74; 125 x 88; 25 x 15 (secondary)
        ("card-id1", (85.6, 53.98, 0.84)),
        ("card-id2", (105.0, 74.0, 0.76)),
        ("card-id3", (125.0, 88.0, 0.76)),
        ("card-id000", (25.0, 15.0, 0.76)),
        # the SD card's physical layout: 32 x 24 x 2.1; 15 x 11 x 1.0 (secondary)
        ("card-sd", (32.0, 24.0, 2.1)),
        ("card-microsd", (15.0, 11.0, 1.0)),
        # IEC 60086-2, 6F22 (from memory)
        ("battery-9v", (26.5, 17.5, 48.5)),
        # ISO 216, A6 and A7; a thickness of thin card (from memory)
        ("card-a6", (148.0, 105.0, 0.3)),
        ("card-a7", (105.0, 74.0, 0.3)),
        # ISO 269, DL and C6; the thickness of an empty envelope (from memory)
        ("envelope-dl", (220.0, 110.0, 0.6)),
        ("envelope-c6", (162.0, 114.0, 0.6)),
    ],
)
def test_flat_things(name, size):
    assert lookup(name).shape.size == size


@pytest.mark.parametrize(
    ("thread", "flats", "height"), [(3, 5.5, 2.4), (4, 7.0, 3.2), (5, 8.0, 4.7), (6, 10.0, 5.2), (8, 13.0, 6.8)]
)
def test_hexagon_nuts(thread, flats, height):
    # ISO 4032: s and the greatest m; the width across sharp corners is s x 2 / sqrt(3)
    shape = lookup(f"nut-m{thread}").shape
    across, deep, high = poses(shape)[0].size
    assert (deep, high) == (flats, height)
    assert across == pytest.approx(flats * 2.0 / sqrt(3.0), abs=2e-3)
    assert len(shape.points) == 6


@pytest.mark.parametrize(
    ("thread", "diameter", "height"), [(3, 5.68, 3), (4, 7.22, 4), (5, 8.72, 5), (6, 10.22, 6), (8, 13.27, 8)]
)
def test_socket_head_cap_screws(thread, diameter, height):
    # ISO 4762: the greatest dk of knurled heads, k = d
    shape = lookup(f"bolt-cap-m{thread}").shape
    assert (shape.diameter, shape.head_diameter, shape.head_height) == (thread, diameter, height)


@pytest.mark.parametrize(("thread", "flats"), [(3, 5.5), (4, 7.0), (5, 8.0), (6, 10.0), (8, 13.0)])
def test_hexagon_head_screws(thread, flats):
    # ISO 4017: s
    shape = lookup(f"bolt-hex-m{thread}").shape
    assert shape.head_diameter == pytest.approx(flats * 2.0 / sqrt(3.0), abs=1e-3)
    assert shape.diameter == thread


@pytest.mark.parametrize(
    ("flats", "long", "short"),
    [("2.5", 56, 18), ("3", 63, 20), ("4", 70, 25), ("5", 80, 28), ("6", 90, 32), ("8", 100, 36)],
)
def test_hexagon_keys(flats, long, short):
    # ISO 2936 (from memory): the two legs
    shape = lookup(f"hexkey-{flats}").shape
    across, deep, high = poses(shape)[0].size
    assert (across, deep) == (long, short)
    assert high == pytest.approx(float(flats) * 2.0 / sqrt(3.0), abs=1e-3)


@pytest.mark.parametrize(
    ("name", "least", "most"),
    [
        # DIN 3113 form A, nominal lengths by size: 105-125, 120-140, 150-170, 190-215, 210-235 (from memory)
        ("spanner-8", 105.0, 125.0),
        ("spanner-10", 120.0, 140.0),
        ("spanner-13", 150.0, 170.0),
        ("spanner-17", 190.0, 215.0),
        ("spanner-19", 210.0, 235.0),
        # ISO 5746, 5745, 5749: nominal length +- 9 mm at 160 and 180 (from memory)
        ("pliers-combination-180", 171.0, 189.0),
        ("pliers-long-nose-160", 151.0, 169.0),
        ("pliers-side-cutter-160", 151.0, 169.0),
        # ISO 216: a notebook is a little larger than its A5 or A6 sheet (common practice)
        ("notebook-a5", 210.0, 216.0),
        ("notebook-a6", 148.0, 154.0),
    ],
)
def test_lengths_lie_in_what_the_standard_allows(name, least, most):
    assert least <= max(lookup(name).shape.size) <= most


@pytest.mark.parametrize("flats", [1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0])
def test_hexagon_keys_are_as_wide_as_a_hexagon_across_its_corners(flats):
    # ISO 272 gives widths across flats; across corners they are 2 / sqrt(3) times that (geometry)
    assert lookup(f"hexkey-{flats:g}").shape.height == pytest.approx(flats * 2.0 / sqrt(3.0), abs=1e-3)
