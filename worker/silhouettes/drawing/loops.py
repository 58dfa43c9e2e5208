"""From polylines to outlines: lines joined at their ends, loops nested into outer rings and holes."""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import hypot
from typing import Any, Final

import numpy as np
import shapely
from numpy.typing import NDArray

from worker.silhouettes.drawing.polyline import Polyline

__all__ = ["JOIN_GAP", "LoopOutlines", "outlines_of"]

#: Ends of lines that are this close meet, mm: as much as curves may be off.
JOIN_GAP: Final = 0.05

#: Loops of a smaller area are marks or leftovers, mm2.
_LEAST_AREA: Final = 0.25


@dataclass(frozen=True, slots=True)
class LoopOutlines:
    """LoopOutlines, largest first.

    Attributes:
        polygons: simple polygons that do not overlap, each with its holes.
        open_lines: number of lines that close no loop.
        gap: least distance between two open ends, mm, and where it is; None without open lines.
        merged: whether loops crossed and were merged.
    """

    polygons: tuple[shapely.Polygon, ...]
    open_lines: int
    gap: tuple[float, float, float] | None
    merged: bool


def outlines_of(lines: Sequence[Polyline]) -> LoopOutlines:
    """Return the outlines that lines enclose, by the even-odd rule: a loop in a hole is another thing's."""
    rings = [line.points for line in lines if line.closed and len(line.points) > 2]  # noqa: PLR2004 - a triangle
    open_lines = [line.points for line in lines if not line.closed]
    chained, leftovers, branching = _chained(open_lines)
    polygons = list(_distinct(_cleaned([*rings, *chained])))
    polygons.extend(branching)
    separate, merged = _separate(polygons)
    nested = sorted(_nested(separate), key=lambda polygon: (-polygon.area, polygon.bounds))
    return LoopOutlines(tuple(nested), len(leftovers), _least_gap(leftovers), merged or bool(branching))


def _chained(
    lines: list[NDArray[np.float64]],
) -> tuple[list[NDArray[np.float64]], list[NDArray[np.float64]], list[shapely.Polygon]]:
    """Return the rings that open lines make when joined, the lines that make none, and what branching ones enclose."""
    if not lines:
        return [], [], []
    ends = np.array([end for line in lines for end in (line[0], line[-1])])
    vertex = _clusters(ends)
    at: dict[int, list[int]] = defaultdict(list)
    for index, number in enumerate(vertex):
        at[number].append(index)
    rings, leftovers, branching = [], [], []
    for group in _components(vertex):
        degrees = [len(at[number]) for number in {vertex[2 * line + side] for line in group for side in (0, 1)}]
        if max(degrees) == min(degrees) == 2:  # noqa: PLR2004 - each end meets one other
            rings.append(_walk(lines, group, vertex, at))
        elif max(degrees) <= 2:  # noqa: PLR2004 - a chain with two free ends
            leftovers.append(_walk(lines, group, vertex, at))
        else:
            faces = _faces([lines[line] for line in group], [ends, vertex], group)
            branching.extend(faces)
            if not faces:
                leftovers.extend(lines[line] for line in group)
    return rings, leftovers, branching


def _clusters(ends: NDArray[np.float64]) -> list[int]:
    """Return for each end the number of the place that it shares with all ends within the gap."""
    points: Any = shapely.points(ends)
    pairs = shapely.STRtree(points).query(points, predicate="dwithin", distance=JOIN_GAP)
    parent = list(range(len(ends)))

    def root(index: int) -> int:
        while parent[index] != index:
            parent[index] = parent[parent[index]]
            index = parent[index]
        return index

    for first, second in pairs.T.tolist():
        parent[root(first)] = root(second)
    return [root(index) for index in range(len(ends))]


def _components(vertex: list[int]) -> Iterator[list[int]]:
    """Yield the numbers of lines that hang together."""
    lines_at: dict[int, list[int]] = defaultdict(list)
    for index, number in enumerate(vertex):
        lines_at[number].append(index // 2)
    seen: set[int] = set()
    for start in range(len(vertex) // 2):
        if start in seen:
            continue
        seen.add(start)
        group, pending = [], [start]
        while pending:
            line = pending.pop()
            group.append(line)
            for side in (0, 1):
                fresh = [other for other in lines_at[vertex[2 * line + side]] if other not in seen]
                seen.update(fresh)
                pending.extend(dict.fromkeys(fresh))
        yield sorted(group)


def _walk(
    lines: list[NDArray[np.float64]], group: list[int], vertex: list[int], at: dict[int, list[int]]
) -> NDArray[np.float64]:
    """Return the points of lines one after the other, from a free end if there is one."""
    ends = [2 * line + side for line in group for side in (0, 1)]
    end = next((end for end in ends if len(at[vertex[end]]) == 1), ends[0])
    points: list[NDArray[np.float64]] = []
    left = set(group)
    while True:
        line = end // 2
        left.discard(line)
        points.append(lines[line] if end % 2 == 0 else lines[line][::-1])
        following = [other for other in at[vertex[end ^ 1]] if other // 2 in left]
        if not following:
            return np.concatenate(points)
        end = following[0]


def _faces(lines: list[NDArray[np.float64]], places: list[Any], group: list[int]) -> list[shapely.Polygon]:
    """Return the union of what branching lines enclose."""
    ends, vertex = places
    snapped = []
    for points, line in zip(lines, group, strict=True):
        moved = points.copy()
        moved[0], moved[-1] = ends[vertex[2 * line]], ends[vertex[2 * line + 1]]
        snapped.append(shapely.LineString(moved))
    faces = shapely.get_parts(shapely.polygonize([shapely.union_all(snapped)]))
    union = shapely.union_all([shapely.Polygon(face.exterior) for face in faces])
    return [part for part in shapely.get_parts(union) if part.geom_type == "Polygon" and part.area >= _LEAST_AREA]


def _cleaned(rings: list[NDArray[np.float64]]) -> Iterator[shapely.Polygon]:
    for ring in rings:
        if len(ring) < 3 or not np.isfinite(ring).all():  # noqa: PLR2004 - a triangle
            continue
        polygon = shapely.Polygon(ring)
        whole = polygon if polygon.is_valid else shapely.make_valid(polygon)
        for part in shapely.get_parts(whole):
            for polygon_part in shapely.get_parts(part):
                if polygon_part.geom_type == "Polygon" and polygon_part.area >= _LEAST_AREA:
                    yield polygon_part


def _distinct(polygons: Iterator[shapely.Polygon]) -> Iterator[shapely.Polygon]:
    """Yield each polygon once: drawings often have lines twice, and a loop in itself would be a hole."""
    seen: set[bytes] = set()
    for polygon in polygons:
        key = shapely.to_wkb(shapely.set_precision(polygon, 2.0 * JOIN_GAP).normalize())
        if key not in seen:
            seen.add(key)
            yield polygon


def _separate(polygons: list[shapely.Polygon]) -> tuple[list[shapely.Polygon], bool]:
    """Return polygons none of whose outlines cross; those that do are merged."""
    if not polygons:
        return [], False
    merged = False
    tree = shapely.STRtree(polygons)
    pairs = tree.query(polygons, predicate="overlaps")
    crossing = {int(index) for index in pairs.ravel()}
    if crossing:
        merged = True
        union = shapely.union_all([polygons[index] for index in sorted(crossing)])
        apart = [polygon for index, polygon in enumerate(polygons) if index not in crossing]
        polygons = [*apart, *(part for part in shapely.get_parts(union) if part.geom_type == "Polygon")]
    return polygons, merged


def _nested(polygons: list[shapely.Polygon]) -> list[shapely.Polygon]:
    """Return polygons at even depths of nesting without those that lie directly in them."""
    if not polygons:
        return []
    shells = [shapely.Polygon(polygon.exterior) for polygon in polygons]
    points = [polygon.representative_point() for polygon in polygons]
    tree = shapely.STRtree(shells)
    inner, outer = tree.query(shells, predicate="covered_by")
    containers: dict[int, list[int]] = defaultdict(list)
    for first, second in zip(inner.tolist(), outer.tolist(), strict=True):
        if first != second and shells[second].area > shells[first].area and shells[second].covers(points[first]):
            containers[first].append(second)
    nested: list[Any] = []
    for index, polygon in enumerate(polygons):
        if len(containers[index]) % 2:
            continue
        holes = [
            shells[other]
            for other, around in containers.items()
            if index in around and len(around) == len(containers[index]) + 1
        ]
        remainder = shapely.difference(polygon, shapely.union_all(holes)) if holes else polygon
        nested.extend(part for part in shapely.get_parts(remainder) if part.area >= _LEAST_AREA)
    return nested


def _least_gap(lines: list[NDArray[np.float64]]) -> tuple[float, float, float] | None:
    """Return the least distance between two open ends and where it is."""
    if not lines:
        return None
    ends = np.array([end for line in lines for end in (line[0], line[-1])])
    points: Any = shapely.points(ends)
    if len(ends) == 2:  # noqa: PLR2004 - of one line
        return float(hypot(*(ends[0] - ends[1]))), float(ends[0][0]), float(ends[0][1])
    (first, _), distances = shapely.STRtree(points).query_nearest(
        points, exclusive=True, return_distance=True, all_matches=False
    )
    nearest = int(np.argmin(distances))
    place = ends[first[nearest]]
    return float(distances[nearest]), float(place[0]), float(place[1])
