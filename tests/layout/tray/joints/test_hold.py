import pytest

from tests.solids.joint_geometry import jointed
from tests.solids.tray_shapes import JOINT
from worker.layout.tray.joints import hold
from worker.layout.tray.joints.profile import Profile

PROFILE = Profile.of(JOINT, 0.44)


def test_floor_pull_by_hand():
    """Computed on paper for one tab 5 mm high in lines of 0.44 mm.

    Lips: 1.6 - 0.2 = 1.4 mm; 2 * 1.4 * 5 * 25.98 / 1.5 = 242.5 N. Flanks: 4.6 - 3.483 = 1.117 mm; 2 * 1.117 * 5 * 45 =
    502.7 N. Neck: 1.76 * 5 + 4.24 * 2 = 17.28 mm2, 777.6 N.
    """
    assert hold.floor_pull(1, 5.0, PROFILE) == pytest.approx(242.5, abs=0.1)
    assert hold.floor_pull(4, 5.0, PROFILE) == pytest.approx(970.0, abs=0.3)


def test_wall_pull_by_hand():
    """Computed on paper for a millimetre of a tongue: overlap 0.88 - 0.2 = 0.68 mm, arm 0.54 mm, thickness 1.32 mm.

    Bending: 2 * 45 * 1.32^2 / (6 * 0.54) = 48.4 N; shear: 2 * 25.98 * 1.32 / 1.5 = 45.7 N; neck: 1.32 * 45 = 59.4 N;
    bearing: 2 * 0.68 * 45 = 61.2 N.
    """
    tray = jointed({"cells": (6, 2)}, joint=JOINT, beds=((180.0, 180.0),))
    (line,) = tray.splices
    height = sum(tongue.top - tongue.low - PROFILE.reach for tongue in line.tongues)
    assert hold.wall_pull(line, PROFILE) == pytest.approx(45.72 * height, rel=1e-3)


@pytest.mark.parametrize(("height", "sag"), [(20.0, 2.2), (40.0, 0.8), (60.0, 0.5), (100.0, 0.3)])
def test_sag_by_play_falls_with_the_height(height, sag):
    """Figures of the design study, for a tray of six cells under 2 kg that two pieces are joined to."""
    tray = jointed({"cells": (6, 2), "height": height}, joint=JOINT, beds=((180.0, 180.0),))
    (line,) = tray.splices
    play = hold.chain_sag(251.4, (line.at,), hold.hinge(tray.shape))
    assert play == pytest.approx(sag, rel=0.25)


def test_a_chain_of_one_seam_in_the_middle():
    # two rods of 100 mm that turn by 0.02: their joint is 1 mm below the line between the ends
    assert hold.chain_sag(200.0, (100.0,), 0.02) == pytest.approx(1.0)
    assert hold.chain_sag(200.0, (50.0,), 0.02) == pytest.approx(0.75)
    assert hold.chain_sag(200.0, (), 0.02) == 0.0
