"""The catalogue's sizes against what is published."""

from math import pi, sqrt

import pytest

from worker.layout.storage.poses import poses
from worker.spec.items.catalogue import catalogue, lookup
from worker.spec.items.made_up_shape import Tapered

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


@pytest.mark.parametrize("flats", [6, 7, 8, 9, 10, 11, 12, 13, 14, 15, 16, 17, 18, 19, 22, 24])
def test_heads_of_spanners(flats):
    # DIN 3113, greatest width of the open end: 2.1 s + 7 mm (from memory); jaws take half a size each (common practice)
    length, width, _ = lookup(f"spanner-{flats}").shape.size
    assert 1.9 * flats <= width <= 2.1 * flats + 7.0
    assert 9.0 * width > length > 4.0 * width


def test_longer_spanners_are_for_larger_nuts():
    sizes = [6, 7, 8, 9, 10, 11, 12, 13, 14, 15, 16, 17, 18, 19, 22, 24]
    lengths = [lookup(f"spanner-{flats}").shape.size[0] for flats in sizes]
    assert lengths == sorted(lengths)


@pytest.mark.parametrize(
    ("flats", "drive", "side"),
    [
        # ISO 1174-1: driving squares of 6.3 and 12.7 mm
        *((flats, "quarter", 6.3) for flats in (5.5, 7, 8, 12, 13)),
        *((flats, "half", 12.7) for flats in (10, 14, 16, 17, 19, 22, 24, 27)),
    ],
)
def test_sockets_have_a_wall_around_hexagon_and_square(flats, drive, side):
    # across the corners of the hexagon and of the square (geometry), and a wall of 1 mm or more (common practice)
    diameter = lookup(f"socket-{flats:g}-{drive}").shape.diameter
    assert diameter >= flats * 2.0 / sqrt(3.0) + 2.0
    assert diameter >= side * sqrt(2.0) + 2.0
    assert diameter <= max(flats * 1.5, side * 2.0) + 2.0


@pytest.mark.parametrize(
    ("name", "blade"),
    [
        # ISO 2380-2 and ISO 8764-2, blade lengths by size (from memory); handles of 80 to 130 mm (common practice)
        ("screwdriver-3", 75), ("screwdriver-4", 100), ("screwdriver-5.5", 125), ("screwdriver-6.5", 150),
        ("screwdriver-8", 175), ("screwdriver-ph0", 60), ("screwdriver-ph1", 80), ("screwdriver-ph2", 100),
        ("screwdriver-ph3", 150),
    ],
)  # fmt: skip
def test_screwdrivers_are_a_blade_and_a_handle(name, blade):
    entry = lookup(name)
    assert f"blade {blade} mm" in entry.name
    assert 80.0 <= entry.shape.size[0] - blade <= 130.0


@pytest.mark.parametrize(
    ("name", "size"),
    [
        # ISO 216: A4 and A5; ISO 269: C4 and C5 (from memory)
        ("paper-a4", (297.0, 210.0)), ("card-a5", (210.0, 148.0)), ("envelope-c4", (324.0, 229.0)),
        ("envelope-c5", (229.0, 162.0)),
    ],
)  # fmt: skip
def test_sheets_and_envelopes(name, size):
    assert lookup(name).shape.size[:2] == size


def test_an_envelope_takes_the_sheet_of_its_number():
    # ISO 269: Cn holds An (from memory)
    for envelope, sheet in (("envelope-c4", "paper-a4"), ("envelope-c5", "card-a5"), ("envelope-c6", "card-a6")):
        inside, held = (lookup(name).shape.size for name in (envelope, sheet))
        assert all(outer > inner for outer, inner in zip(inside[:2], held[:2], strict=True))


@pytest.mark.parametrize(
    ("name", "diameter", "length"),
    [
        # IEC 60127-2: 5.2 +0.1/-0.2 x 20 +-0.5 and 6.35 x 31.8 (from memory)
        ("fuse-5x20", (5.2, 5.3), (20.0, 20.5)), ("fuse-6.3x32", (6.35, 6.6), (31.8, 33.0)),
    ],
)  # fmt: skip
def test_fuses(name, diameter, length):
    shape = lookup(name).shape
    assert diameter[0] <= shape.diameter <= diameter[1]
    assert length[0] <= shape.length <= length[1]


@pytest.mark.parametrize(
    ("name", "litres"),
    [("bottle-wine-750", 0.75), ("bottle-beer-500", 0.5), ("bottle-beer-330", 0.33), ("bottle-water-500", 0.5),
     ("bottle-water-1500", 1.5), ("can-drink-330", 0.33), ("can-drink-500", 0.5), ("can-food-425", 0.425),
     ("jar-jam-370", 0.37), ("cup-paper-200", 0.2), ("glass-tumbler-300", 0.3)],
)  # fmt: skip
def test_a_vessel_holds_its_volume(name, litres):
    # the cylinder around it holds its nominal volume, and no vessel fills less than two fifths of it (geometry)
    shape = lookup(name).shape
    around = pi * shape.diameter**2 / 4.0 * shape.length / 1e6
    assert litres <= around <= 2.5 * litres


def test_what_nests_goes_into_itself_by_less_than_its_height():
    # the step of a pile is at least a wall of 1 mm and less than the height of one (geometry)
    nesting = [entry for entry in catalogue() if entry.nest is not None]
    assert len(nesting) >= 12
    for entry in nesting:
        plain = entry.shape.standing if isinstance(entry.shape, Tapered) else entry.shape
        assert 1.0 <= entry.nest < min(pose.size[2] for pose in poses(plain) if pose.size[2] > 0.0)


def test_a_right_isosceles_set_square_is_half_as_high_as_it_is_long():
    length, height, _ = lookup("set-square-160").shape.size
    assert height == pytest.approx(length / 2.0, abs=1.0)


@pytest.mark.parametrize(
    ("name", "cable", "metres"),
    [
        # RG 58: 4.95 mm over the jacket (from memory)
        ("coil-coaxial-3m", (4.9, 5.1), 3.0),
        # EN 50525-2-11, H05VV-F 3 G 1.5: 7.6 to 9.4 mm (from memory)
        ("coil-extension-5m", (7.6, 9.4), 5.0),
        # cords of four pairs 5.2 to 6.2 mm, of a USB cable 3 to 4.5 mm, pneumatic tubes 6 mm (common practice)
        ("coil-network-5m", (5.2, 6.2), 5.0),
        ("coil-usb-2m", (3.0, 4.5), 2.0),
        ("coil-tube-6-5m", (6.0, 6.0), 5.0),
        ("coil-rope-6-10m", (6.0, 6.0), 10.0),
    ],
)
def test_coils_are_no_tighter_than_their_cable_bears(name, cable, metres):
    shape = lookup(name).shape
    assert cable[0] <= shape.cable <= cable[1]
    assert shape.length == metres * 1000.0
    # a fixed cable is bent to no less than 4 times its diameter, coaxial and network cables to 8 times (EN 50565-1 and
    # common practice); a hank that is wound by hand is 100 to 300 mm across (common practice)
    assert (shape.diameter - 2.0 * shape.lying.length) / 2.0 >= 4.0 * shape.cable
    assert 100.0 <= shape.diameter <= 300.0
    # the ring has room for the cable: its volume by Pappus's theorem is more than the cable's (geometry)
    ring = 2.0 * pi * (shape.diameter - shape.lying.length) / 2.0 * pi * shape.lying.length**2 / 4.0
    assert ring >= pi * shape.cable**2 / 4.0 * shape.length
