"""Views of a thing on the reference sheet: where the camera stands, its lens, the light. Drawn by seed."""

from dataclasses import dataclass
from math import cos, hypot, radians, sin

import numpy as np

__all__ = ["DIAGONAL", "View", "camera_of", "distort", "views_of"]

#: Diagonal of a frame of 36 x 24 mm, by which equivalent focal lengths are stated (CIPA DCG-001).
DIAGONAL = hypot(36.0, 24.0)


@dataclass(frozen=True)
class View:
    """A photo to be made.

    Attributes:
        seed: of noise, light and camera.
        place: x and y of the thing's origin from the middle of the field, mm, and its turn, degrees.
        distance: of the camera from the point that it aims at, mm.
        tilt: degrees between its axis and the sheet's normal; `azimuth` says to which side.
        aim: the point aimed at, from the middle of the field, mm.
        roll: of the camera about its axis, degrees.
        lens: equivalent focal length, mm: what EXIF says. The true one differs.
        light: soft, hard, window or spots.
    """

    seed: int
    place: tuple[float, float, float]
    distance: float
    tilt: float
    azimuth: float
    aim: tuple[float, float]
    roll: float
    lens: float
    light: str
    size: str = "a4"
    pixels: tuple[int, int] = (2000, 1500)


def views_of(index, number, radius):
    """Return ``number`` views of the thing of this index, which extends ``radius`` mm about its origin."""
    views = []
    for turn in range(number):
        rng = np.random.default_rng([index, turn])
        far = turn % 2 == 0
        room = (max(75.0 - radius - 6.0, 0.0), max(115.0 - radius - 6.0, 0.0))
        # long things lie along the field
        angle = rng.uniform(-180, 180) if radius < 60 else 90 + rng.uniform(-12, 12)
        views.append(
            View(
                seed=1000 * index + turn,
                place=(rng.uniform(-1, 1) * room[0], rng.uniform(-1, 1) * room[1], angle),
                distance=rng.uniform(600, 700) if far else rng.uniform(360, 480),
                tilt=(3.0, 8.0, 13.0, 18.0, 5.0, 20.0)[(index + turn) % 6] + rng.uniform(-2, 0),
                azimuth=rng.uniform(0, 360),
                aim=(rng.uniform(-10, 10), rng.uniform(-10, 10)),
                roll=90 + rng.uniform(-6, 6),
                lens=52.0 if far else 26.0,
                light=("soft", "hard", "window", "spots")[(index + turn) % 4],
            )
        )
    return views


def camera_of(view, sheet):
    """Return focal length in pixels, rotation `(3, 3)` from the sheet's frame, centre and distortion of a view.

    The distortion is that of OpenCV, k1 k2 p1 p2 k3: the last three are not in the model that is fitted.
    """
    rng = np.random.default_rng([view.seed, 7])
    left, bottom, right, top = sheet.field
    middle = np.array([(left + right) / 2, (bottom + top) / 2, 0.0])
    target = middle + np.array([*view.aim, 0.0])
    tilt, azimuth, roll = radians(view.tilt), radians(view.azimuth), radians(view.roll)
    away = np.array([sin(tilt) * cos(azimuth), sin(tilt) * sin(azimuth), cos(tilt)])
    centre = target + view.distance * away
    forward = -away
    across = np.cross(forward, [-sin(azimuth), cos(azimuth), 0.0])
    across /= np.linalg.norm(across)
    # turned so that the picture's x axis is the sheet's x axis before the roll
    start = np.arctan2(np.cross(forward, across) @ [1.0, 0.0, 0.0], across @ [1.0, 0.0, 0.0])
    x = cos(start + roll) * across + sin(start + roll) * np.cross(forward, across)
    y = np.cross(forward, x)
    rotation = np.array([x, y, forward])
    focal = view.lens / DIAGONAL * hypot(*view.pixels) * (1.0 + rng.uniform(-0.03, 0.03))
    distortion = np.array(
        [rng.uniform(-0.06, 0.08), rng.uniform(-0.15, 0.1), *rng.normal(0, 4e-4, 2), rng.uniform(-0.1, 0.1)]
    )
    return focal, rotation, centre, distortion


def distort(points, distortion):
    """Return `(n, 2)` points at unit depth after lens distortion."""
    k1, k2, p1, p2, k3 = distortion
    x, y = points[:, 0], points[:, 1]
    r2 = x * x + y * y
    radial = 1 + r2 * (k1 + r2 * (k2 + r2 * k3))
    return np.stack(
        [x * radial + 2 * p1 * x * y + p2 * (r2 + 2 * x * x), y * radial + p1 * (r2 + 2 * y * y) + 2 * p2 * x * y],
        axis=1,
    )
