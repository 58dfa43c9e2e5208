"""The camera's fit, against cameras of known focal length and place with more distortion than it models."""

from math import cos, radians, sin

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from worker.silhouettes.photo.camera import FocalPrior, fit_camera
from worker.silhouettes.photo.sheet import reference_sheet

_SIZE = (2000, 1500)
_SADDLES = np.array(reference_sheet("a4").saddles)


def _photo(focal, centre, tilt, azimuth, distortion=(0.0,) * 5):
    """Return where the saddles are seen from a centre, mm, by a pinhole with OpenCV's five lens parameters."""
    k1, k2, p1, p2, k3 = distortion
    away = np.array([sin(tilt) * cos(azimuth), sin(tilt) * sin(azimuth), cos(tilt)])
    across = np.cross(-away, [0.0, 1.0, 0.0])
    across /= -np.linalg.norm(across)
    rotation = np.array([across, np.cross(-away, across), -away])
    if np.linalg.det(rotation) < 0:
        rotation[1] *= -1
    points = (np.column_stack([_SADDLES, np.zeros(len(_SADDLES))]) - centre) @ rotation.T
    x, y = points[:, 0] / points[:, 2], points[:, 1] / points[:, 2]
    r2 = x * x + y * y
    radial = 1 + r2 * (k1 + r2 * (k2 + r2 * k3))
    seen = np.stack([
        x * radial + 2 * p1 * x * y + p2 * (r2 + 2 * x * x), y * radial + p1 * (r2 + 2 * y * y) + 2 * p2 * x * y,
    ], axis=1)  # fmt: skip
    return seen * focal + (np.array(_SIZE) - 1) / 2


@settings(max_examples=40, deadline=None)
@given(
    st.floats(1400, 3200), st.floats(-0.03, 0.03), st.floats(0.0, 20.0), st.floats(0.0, 360.0), st.integers(0, 2**31)
)
def test_height_and_tilt_are_recovered_with_noise_and_lens_errors(focal, off, tilt, azimuth, seed):
    rng = np.random.default_rng(seed)
    away = np.array([sin(radians(tilt)) * cos(radians(azimuth)), sin(radians(tilt)) * sin(radians(azimuth)),
                     cos(radians(tilt))])  # fmt: skip
    distance = focal * 0.21
    centre = np.array([95.0, 135.0, 0.0]) + distance * away
    image = _photo(focal, centre, radians(tilt), radians(azimuth), (0.02, -0.05, 3e-4, -3e-4, 0.03))
    image += rng.normal(0.0, 0.1, image.shape)
    camera = fit_camera(_SADDLES, image, _SIZE, FocalPrior(focal * (1.0 + off), 0.03))
    assert camera.residual < 0.3
    assert camera.tilt == pytest.approx(tilt, abs=0.8)
    # the prior is off by up to one standard deviation, and hardly anything else says how far away a plane is
    assert camera.centre[2] == pytest.approx(centre[2], rel=0.045)
    assert camera.height_sigma < 0.05 * centre[2]
    assert np.abs(camera.project(_SADDLES) - image).max() < 1.5


@settings(max_examples=20, deadline=None)
@given(st.floats(12.0, 20.0), st.floats(0.0, 360.0))
def test_a_tilted_photo_tells_the_focal_length_by_itself(tilt, azimuth):
    away = np.array([sin(radians(tilt)) * cos(radians(azimuth)), sin(radians(tilt)) * sin(radians(azimuth)),
                     cos(radians(tilt))])  # fmt: skip
    centre = np.array([95.0, 135.0, 0.0]) + 600.0 * away
    image = _photo(2800.0, centre, radians(tilt), radians(azimuth))
    camera = fit_camera(_SADDLES, image, _SIZE, FocalPrior(3000.0, 0.3))
    assert camera.focal == pytest.approx(2800.0, rel=0.02)
    assert camera.centre == pytest.approx(centre, abs=12.0)
    assert camera.residual < 0.02


def test_a_curled_sheet_leaves_a_residual():
    """A curl of 4 mm gives residuals of 0.9 pixels and more at 4.5 pixels a mm (feasibility study)."""
    centre = np.array([95.0, 135.0, 600.0])
    image = _photo(2700.0, centre, 1e-3, 0.0)
    rise = 4.0 * ((_SADDLES[:, 0] - 95.0) / 95.0) ** 2
    middle = (np.array(_SIZE) - 1) / 2
    bent = middle + (image - middle) * (600.0 / (600.0 - rise))[:, None]
    assert fit_camera(_SADDLES, image, _SIZE, FocalPrior(2700.0, 0.03)).residual < 0.01
    assert fit_camera(_SADDLES, bent, _SIZE, FocalPrior(2700.0, 0.03)).residual > 0.5
