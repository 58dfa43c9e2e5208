"""The figure of a tile: its outline, holes and sockets in micrometres, in the least of its four rotations."""

from typing import Final, Literal, TypeAlias, cast

import shapely
from shapely.affinity import translate
from shapely.geometry import Polygon

from worker.layout.floor.border import polygons, tidy
from worker.spec.tolerances import COORDINATE_GRID

Turn: TypeAlias = Literal[0, 90, 180, 270]
Micro: TypeAlias = tuple[tuple[int, int], ...]
#: Outline, holes and sockets (x, y, width, depth) in micrometres.
Figure: TypeAlias = tuple[Micro, tuple[Micro, ...], tuple[tuple[int, int, int, int], ...]]

#: Offset that makes half a micrometre round up regardless of the rounding error of a sum.
_BIAS: Final = 1e-9


def micro(length: float) -> int:
    """Return a length in mm as whole micrometres, with halves rounded up."""
    return round((length + _BIAS) / COORDINATE_GRID)


def figure_of(polygon: Polygon, sockets: tuple[tuple[int, int, int, int], ...]) -> Figure:
    """Return a polygon on the coordinate grid, with its sockets."""
    snapped = shapely.set_precision(translate(polygon, _BIAS, _BIAS), COORDINATE_GRID)
    whole = max(polygons(snapped), key=lambda polygon: polygon.area)
    rings = [whole.exterior, *whole.interiors]
    outline, *holes = (tidy([(micro(x), micro(y)) for x, y in ring.coords[:-1]]) for ring in rings)
    return tuple(outline), tuple(sorted(tuple(hole) for hole in holes)), sockets


def canonical(figure: Figure) -> tuple[Figure, tuple[int, int], Turn]:
    """Return the minimum of a figure's four rotations at 0, 0, its former corner, and the inverse rotation."""
    at = min(x for x, _ in figure[0]), min(y for _, y in figure[0])
    turned = figure
    options: list[tuple[Figure, int]] = []
    for step in range(4):
        options.append((_moved(turned), (360 - 90 * step) % 360))
        turned = _quarter(turned)
    best, back = min(options)
    return best, at, cast("Turn", back)


def _moved(figure: Figure) -> Figure:
    """Return the figure with the minimum corner of its bounding box at 0, 0."""
    outline, holes, sockets = figure
    dx, dy = min(x for x, _ in outline), min(y for _, y in outline)
    return (
        tuple((x - dx, y - dy) for x, y in outline),
        tuple(tuple((x - dx, y - dy) for x, y in hole) for hole in holes),
        tuple((x - dx, y - dy, w, d) for x, y, w, d in sockets),
    )


def _quarter(figure: Figure) -> Figure:
    """Return the figure rotated by 90 degrees counter-clockwise about 0, 0."""
    outline, holes, sockets = figure
    return (
        _turned(outline),
        tuple(sorted(_turned(hole) for hole in holes)),
        tuple(sorted((-y - d, x, d, w) for x, y, w, d in sockets)),
    )


def _turned(ring: Micro) -> Micro:
    """Return a ring rotated by 90 degrees, starting at its minimum point."""
    points = [(-y, x) for x, y in ring]
    start = points.index(min(points))
    return tuple(points[start:] + points[:start])
