"""Maximum overlap: the points that most of a set of areas have in common."""

from collections.abc import Sequence
from heapq import heappop, heappush
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

#: A box crossed by no more sheets than this is looked at face by face; all boxes looked at are at most so many.
_FEW: Final = 40
_MOST_BOXES: Final = 400

#: Once so many faces are found, boxes that could at best be as deep are left alone.
_ENOUGH: Final = 8


def deepest(window: Polygon, sheets: Sequence[BaseGeometry]) -> list[tuple[float, float]]:
    """Return points covered by the most areas: one ``(x, y)`` in mm inside each such face, largest face first.

    Branch and bound: a box of the window is divided in four while many edges cross it, and discarded if the number of
    areas that touch it is below the best so far. The remaining boxes are examined face by face, so no gap between
    edges is missed.
    """
    areas, weights = _alike(sheets)
    count = 0
    waiting = [(-int(weights.sum()), count, window, 0, np.arange(len(areas)))]
    most, points = -1, list[tuple[float, float, float]]()
    for _ in range(_MOST_BOXES):
        if not waiting or -waiting[0][0] < most or (-waiting[0][0] == most and len(points) >= _ENOUGH):
            break
        _, _, box, always, crossing = heappop(waiting)
        if len(crossing) <= _FEW:
            depth, faces = _faces(box, areas[crossing], weights[crossing])
            if depth + always > most:
                most, points = depth + always, []
            if depth + always == most:
                points.extend(faces)
            continue
        for quarter in _quarters_of(box):
            touching = crossing[shapely.intersects(areas[crossing], quarter)]
            filled = shapely.covers(areas[touching], quarter)
            over = always + int(weights[touching[filled]].sum())
            rest = touching[~filled]
            count += 1
            heappush(waiting, (-over - int(weights[rest].sum()), count, quarter, over, rest))
    points.sort(key=lambda face: (-round(face[0], 6), face[1:]))
    return [face[1:] for face in points]


def _alike(areas: Sequence[BaseGeometry]) -> tuple[NDArray[np.object_], NDArray[np.int64]]:
    """Return the distinct areas and the number of times each occurs, as cells along a straight side are identical."""
    kinds: dict[bytes, list[BaseGeometry]] = {}
    for area in areas:
        kinds.setdefault(np.round(shapely.get_coordinates(area), 7).tobytes(), []).append(area)
    different = np.array([alike[0] for alike in kinds.values()], dtype=object)
    shapely.prepare(different)
    return different, np.array([len(alike) for alike in kinds.values()], dtype=np.int64)


def _quarters_of(box: Polygon) -> list[Polygon]:
    """Return the quarters of an area's bounding box, without their parts outside the area."""
    left, front, right, back = box.bounds
    x, y = (left + right) / 2.0, (front + back) / 2.0
    parts = shapely.box([left, x, left, x], [front, front, y, y], [x, right, x, right], [y, y, back, back])
    return [part for part in shapely.intersection(parts, box) if isinstance(part, Polygon) and part.area > 0.0]


def _faces(
    window: Polygon, areas: NDArray[np.object_], weights: NDArray[np.int64]
) -> tuple[int, list[tuple[float, float, float]]]:
    """Return the largest overlap in a window, and the size and an inner point of each face that has it."""
    if len(areas) == 0:
        inner = window.representative_point()
        return 0, [(window.area, inner.x, inner.y)]
    lines = shapely.intersection(shapely.boundary(areas), window)
    outlines = shapely.union_all([shapely.boundary(window), *lines])
    faces = shapely.get_parts(shapely.polygonize(shapely.get_parts(outlines)))
    spots = shapely.point_on_surface(faces)
    depth = np.zeros(len(faces), dtype=np.int64)
    which, sheet = shapely.STRtree(areas).query(spots, predicate="intersects")
    np.add.at(depth, which, weights[sheet])
    best = np.flatnonzero(depth == depth.max())
    places = shapely.get_coordinates(spots[best])
    return int(depth.max()), [
        (float(size), float(x), float(y)) for size, (x, y) in zip(shapely.area(faces[best]), places, strict=True)
    ]
