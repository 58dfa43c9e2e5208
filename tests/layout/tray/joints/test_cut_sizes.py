"""Cut sizes: the number of pieces and the plastic that sizes of trays are reckoned with, against trays that are cut."""

from math import ceil

import pytest

from tests.solids.joint_geometry import AIR, jointed, tab_air
from tests.solids.tray_shapes import JOINT
from worker.layout.tray.joints.cut_sizes import Cut, CutSizes
from worker.solids import build

BED = ((180.0, 180.0),)


def sizes(beds=BED, *, half_feet=False):
    return CutSizes(JOINT, 42.0, 0.44, half_feet, 1.2, beds)


@pytest.mark.parametrize("beds", [BED, ((256.0, 150.0), (150.0, 256.0))])
@pytest.mark.parametrize("cells", [(6, 2), (2, 6), (5, 5), (8, 1), (9, 1), (6.5, 2.5), (3, 7)])
def test_a_plain_tray_is_cut_as_its_size_says(cells, beds):
    halves = tuple(round(2 * along) for along in cells)
    half_feet = any(along % 2 for along in halves)
    cut = sizes(beds, half_feet=half_feet).cut(halves)
    tray = jointed({"cells": cells}, joint=JOINT, beds=beds, half_feet=half_feet)
    assert cut.pieces == len(tray.pieces)
    assert cut.seams == len(tray.splices)


def test_never_fewer_pieces_than_its_length_takes():
    for side in range(10, 40):
        cut = sizes().cut((side, 4))
        if cut is not None:
            assert cut.along[0] >= ceil((side * 21.0 - 0.6) / 180.0)
            assert cut.along[1] == 1


def test_more_than_four_pieces_are_not_planned():
    assert sizes().cut((24, 12)) is None
    assert sizes().cut((44, 4)) is None
    assert sizes().cut((138, 2)) is None  # longer than any tray may be


def test_posts_stand_at_the_walls_that_a_splice_meets():
    assert Cut((2, 1)).posts == (False, True)
    assert Cut((1, 3)).posts == (True, False)
    assert Cut((2, 2)).posts == (True, True)


@pytest.mark.parametrize("height", [20, 40, 80])
@pytest.mark.parametrize("cells", [(6, 3), (6, 6)])
def test_the_plastic_of_posts_is_that_of_the_meshes(cells, height):
    rules = {"cells": cells, "height": height, "wall": 1.2, "rim": "straight"}
    tray = jointed(rules, joint=JOINT, beds=BED)
    more = sum(build(piece).volume for piece in tray.pieces) - build(tray.bare).volume
    cut = sizes().cut((2 * cells[0], 2 * cells[1]))
    reckoned = sizes().plastic(cut, height - tray.shape.floor_top)
    # what is not reckoned: the air of the seam in the floor
    air = sum(
        (AIR * cells[line.axis == "x"] * 42.0 + (len(line.behind) - 2) / 6.0 * tab_air()) * line.top
        for line in tray.splices
    )
    assert reckoned == pytest.approx(more + air, rel=0.05, abs=100.0 * cut.seams)


def test_a_tray_as_high_as_the_least_can_be_joined():
    for rim in ("straight", "stacking"):
        least = sizes().least_height(rim)
        tray = jointed({"cells": (6, 2), "height": least, "rim": rim}, joint=JOINT, beds=BED)
        (splice,) = tray.splices
        assert all(tongue.top - tongue.low >= 8.0 for tongue in splice.tongues)
