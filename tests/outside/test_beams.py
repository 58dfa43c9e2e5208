"""The formulas by which jointed trays are judged, against handbook values and a reference library."""

import numpy as np
import pytest

from worker.layout.tray.joints.hold import beam_sag, chain_sag, second_moment


@pytest.mark.outside
def test_sag_of_a_uniformly_loaded_beam():
    """A steel beam, W12 x 35 with I = 285 in4, over 20 ft under 1 kip/ft sags 0.436 in (E = 29,000 ksi).

    ``5 w L^4 / (384 E I)``, beam on two supports with a uniform load: table of beam diagrams of the steel
    construction manuals; second moment of that section from their tables (from memory).
    """
    kip, inch = 4448.2216152605, 25.4
    load, length = 20.0 * kip, 240.0 * inch
    modulus = 29000.0 * 6.894757293168
    assert beam_sag(load, length, modulus, 285.0 * inch**4) / inch == pytest.approx(0.4355, abs=0.0005)


@pytest.mark.outside
def test_second_moment_of_a_tee():
    """Flange 100 x 20 mm on a web of 20 x 80 mm, from its outer face: centroid at 32.22 mm, 2.9067e6 mm4 + web.

    Computed from the definition by fine strips, with NumPy.
    """
    step = 0.001
    y = np.arange(0.0, 100.0, step) + step / 2.0
    width = np.where(y < 20.0, 100.0, 20.0)
    area = width.sum() * step
    middle = (width * y).sum() * step / area
    exact = (width * (y - middle) ** 2).sum() * step
    assert second_moment(100.0, 100.0, 20.0, 10.0) == pytest.approx(exact, rel=1e-6)


@pytest.mark.outside
def test_a_chain_sags_by_the_moment_area_theorem():
    """An angle concentrated at a point of a straight chain lowers it by ``angle * a * b / L`` (moment-area theorem)."""
    for a, b, angle in ((100.0, 150.0, 0.01), (30.0, 200.0, 0.02)):
        length = a + b
        # two rods of these lengths: exact by trigonometry, the ends on one level
        start = np.arctan2(b * np.sin(angle), a + b * np.cos(angle))
        assert chain_sag(length, (a,), angle) == pytest.approx(a * np.sin(start), rel=2e-3)
