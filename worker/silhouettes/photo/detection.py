"""The reference sheet in a photo: its markers, its saddles to a fraction of a pixel, and how sharp its edges are."""

from collections.abc import Mapping
from typing import Final, TypeAlias

import cv2
import numpy as np
from numpy.typing import NDArray

from worker.silhouettes.photo.camera import Camera, Points
from worker.silhouettes.photo.sheet import MARKER, SHEET_SIZES, SQUARE, ReferenceSheet, reference_sheet

__all__ = ["Grey", "edge_width", "find_markers", "find_saddles", "seen_sheet"]

#: `(rows, columns) uint8`.
Grey: TypeAlias = NDArray[np.uint8]

#: Longer side at which markers are searched: a marker's module then has 3 pixels or more.
_SEARCH_SIDE: Final = 2000
#: A marker whose corners are farther than this many sides of a square from the others' homography is none.
_STRAY: Final = 0.2
#: Half the window in which a saddle is refined, mm, less than its distance from the nearest marker; and least pixels.
_WINDOW: Final = 1.3
_LEAST_WINDOW: Final = 3
#: A saddle that moves farther from where the markers put it, mm, or is less distinct, in grey levels, is covered.
_MOST_SHIFT: Final = 0.8
_DISTINCT: Final = 25.0
#: Profiles across edges: half their length, mm, less than a square's blank margin, and their step.
_PROFILE: Final = 1.3
_PROFILE_STEP: Final = 0.05


def find_markers(grey: Grey) -> dict[int, Points]:
    """Return the corners of the markers in the photo by number, `(4, 2)` pixels each, in the order of the sheet's."""
    scale = min(1.0, _SEARCH_SIDE / max(grey.shape))
    small = cv2.resize(grey, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA) if scale < 1.0 else grey
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_250)
    corners, numbers, _ = cv2.aruco.ArucoDetector(dictionary).detectMarkers(small)
    if numbers is None:
        return {}
    # pixel centres: the middle of the first pixel is at 0
    places = [(np.asarray(each, dtype=np.float64).reshape(4, 2) + 0.5) / scale - 0.5 for each in corners]
    return dict(zip(np.ravel(numbers).tolist(), places, strict=True))


def seen_sheet(markers: Mapping[int, Points]) -> tuple[ReferenceSheet, Points, Points]:
    """Return the sheet that most markers are of, and its markers' corners on the sheet, mm, and in the photo, pixels.

    Markers that do not lie in one plane with the others are left out.
    """
    sheet = max(map(reference_sheet, SHEET_SIZES), key=lambda each: len(each.markers.keys() & markers.keys()))
    numbers = sorted(sheet.markers.keys() & markers.keys())
    if not numbers:
        return sheet, np.zeros((0, 2)), np.zeros((0, 2))
    flat = np.array([sheet.markers[number] for number in numbers])
    image = np.array([markers[number] for number in numbers])
    side = float(np.median(np.linalg.norm(image[:, 0] - image[:, 1], axis=1))) * SQUARE / MARKER
    matrix, _ = cv2.findHomography(flat.reshape(-1, 2), image.reshape(-1, 2), cv2.RANSAC, _STRAY * side)
    if matrix is None:
        return sheet, np.zeros((0, 2)), np.zeros((0, 2))
    expected = cv2.perspectiveTransform(flat.reshape(-1, 1, 2), matrix).reshape(image.shape)
    true = np.linalg.norm(expected - image, axis=2).max(axis=1) < 2.0 * _STRAY * side
    return sheet, flat[true].reshape(-1, 2), image[true].reshape(-1, 2)


def find_saddles(grey: Grey, camera: Camera, sheet: ReferenceSheet) -> tuple[Points, Points]:
    """Return the saddles that are seen: on the sheet, mm, and in the photo, pixels."""
    flat = np.array(sheet.saddles)
    expected = camera.project(flat)
    per_mm = np.linalg.norm(camera.project(flat + np.array([1.0, 0.0])) - expected, axis=1)
    window = max(_LEAST_WINDOW, int(_WINDOW * float(np.median(per_mm))))
    height, width = grey.shape
    inside = ((expected > window + 2) & (expected < np.array([width, height]) - window - 3)).all(axis=1)
    flat, expected, per_mm = flat[inside], expected[inside], per_mm[inside]
    if not len(flat):
        return flat, expected
    criteria = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 40, 1e-3)
    start = expected.astype(np.float32).reshape(-1, 1, 2)
    refined = cv2.cornerSubPix(grey, start.copy(), (window, window), (-1, -1), criteria).reshape(-1, 2)
    points = refined.astype(np.float64)
    near = np.linalg.norm(points - expected, axis=1) < _MOST_SHIFT * per_mm
    distinct = _contrast(grey, camera, flat) > _DISTINCT
    return flat[near & distinct], points[near & distinct]


def _contrast(grey: Grey, camera: Camera, flat: Points) -> NDArray[np.float64]:
    """Return for each saddle by how much the darker of its white squares is brighter than the brighter black one."""
    away = 0.9
    values = []
    for x, y in ((1, 1), (-1, -1), (1, -1), (-1, 1)):
        seen = camera.project(flat + np.array([away * x, away * y])).astype(np.float32)
        values.append(cv2.remap(grey, seen[:, 0], seen[:, 1], cv2.INTER_LINEAR).ravel().astype(np.float64))
    even = (np.rint(flat.sum(axis=1) / SQUARE).astype(int) % 2) == 0
    # the square to the upper right of a saddle at an even place is black
    first, second = np.array(values[:2]), np.array(values[2:])
    black, white = np.where(even, first, second), np.where(even, second, first)
    contrast: NDArray[np.float64] = white.min(axis=0) - black.max(axis=0)
    return contrast


def edge_width(grey: Grey, camera: Camera, sheet: ReferenceSheet) -> float:
    """Return how wide the sheet's black and white edges are in the photo, mm: contrast by steepest slope.

    It is 2.5 standard deviations of a Gaussian blur; of edges across and edges along, the wider median counts, so that
    motion in any direction shows.
    """
    steps = np.arange(-_PROFILE, _PROFILE + _PROFILE_STEP / 2.0, _PROFILE_STEP)
    ring = set(sheet.black_squares) | set(sheet.white_squares.values())
    medians = []
    for direction in ((1, 0), (0, 1)):
        pairs = [(column, row) for column, row in ring if (column + direction[0], row + direction[1]) in ring]
        # the middle of the edge between a square and its neighbour
        middles = (np.array(pairs) + 0.5 + 0.5 * np.array(direction)) * SQUARE
        lines = middles[:, None, :] + steps[None, :, None] * np.array(direction, dtype=float)
        seen = camera.project(lines.reshape(-1, 2)).astype(np.float32)
        profiles = cv2.remap(
            grey, seen[:, 0].reshape(lines.shape[:2]), seen[:, 1].reshape(lines.shape[:2]), cv2.INTER_LINEAR
        ).astype(np.float64)  # fmt: skip
        contrast = np.abs(profiles[:, :6].mean(axis=1) - profiles[:, -6:].mean(axis=1))
        slope = (
            np.abs(np.diff(cv2.GaussianBlur(profiles, (0, 0), 1.0, sigmaY=1e-6), axis=1)).max(axis=1) / _PROFILE_STEP
        )
        clear = contrast > _DISTINCT
        medians.append(float(np.median(contrast[clear] / slope[clear])) if clear.any() else 2.0 * _PROFILE)
    return max(medians)
