"""The web: the plastic between neighbouring sockets, closed by strips that name points of the sockets' rings.

Two sockets side by side have rings that mirror each other across the wall between them, so a strip of squares closes it
at every level, from the middle of one corner arc to the next; where a tab's recess or a letter is near a node, strips
stop where the arc begins. Two triangles close what four strips leave at a node. The rest of the plate lies around the
`loops`.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from worker.layout.model.shapes import Socket
from worker.spec.tolerances import COORDINATE_GRID, LENGTH_EPSILON, QUARTER_FACETS

Indices: TypeAlias = NDArray[np.int32]
Micro: TypeAlias = tuple[int, int]

_STEP: Final = QUARTER_FACETS + 1
#: Points of a socket's ring: four quarters, each with both ends.
RING: Final = 4 * _STEP

_MIDDLE: Final = QUARTER_FACETS // 2
#: Points along a wall from the middle of one corner arc to the next, and where its straight part begins and ends.
_ALONG: Final = 2 * (_MIDDLE + 1)
_BEGIN: Final = _MIDDLE
_END: Final = _ALONG - 1 - _MIDDLE
# By axis: the points of the first socket along the wall, and those of the second, which it faces across the wall.
_ONE: Final = np.array([np.arange(_ALONG) + quarter * _STEP + _MIDDLE for quarter in (1, 2)], dtype=np.int32)
_OTHER: Final = np.array([np.arange(_ALONG)[::-1] + quarter * _STEP + _MIDDLE for quarter in (3, 0)]) % RING

#: Walls that meet at a node, and points of the square that their strips leave open.
_FOUR: Final = 4


@dataclass(frozen=True, slots=True)
class Web:
    """Triangles ``(m, 3) int32``, counter-clockwise, and the loops that are left, with the rest on their left hand.

    Points are numbered ``socket * RING + place on its ring``.
    """

    faces: Indices
    loops: tuple[Indices, ...]


@dataclass(frozen=True, slots=True)
class _Wall:
    """The wall between two sockets: the second lies to the right of the first (axis 0) or behind it (axis 1).

    ``ends`` are the nodes where its strip begins and ends, ``box`` is what the strip's straight part lies in.
    """

    sockets: tuple[int, int]
    axis: int
    ends: tuple[Micro, Micro]
    box: tuple[float, float, float, float]


def web(sockets: Sequence[Socket], reach: float, obstacles: NDArray[np.float64]) -> Web:
    """Return the web between sockets.

    Args:
        sockets: rectangles of cells, none over another.
        reach: distance from a cell's corner to where the straight of its ring begins, at any level, in mm.
        obstacles: ``(n, 2) float64`` in mm, every other point of the plate's two faces. Where one lies there is no web.
    """
    count = len(sockets) * RING
    # Clockwise around each socket, until a strip leads across to another.
    after = np.arange(-1, count - 1, dtype=np.int32)
    after[::RING] += RING
    walls = _walls(sockets, reach)
    if not walls:
        return Web(np.empty((0, 3), dtype=np.int32), _chained(after))
    free = _free(np.array([wall.box for wall in walls]), obstacles)
    walls = [wall for wall, clear in zip(walls, free, strict=True) if clear]
    if not walls:
        return Web(np.empty((0, 3), dtype=np.int32), _chained(after))
    nodes = _nodes(walls, reach, obstacles)
    axes = np.array([wall.axis for wall in walls])
    pairs = np.array([wall.sockets for wall in walls], dtype=np.int32)
    near = pairs[:, :1] * RING + _ONE[axes]
    other = pairs[:, 1:] * RING + _OTHER[axes].astype(np.int32)
    first = np.array([0 if wall.ends[0] in nodes else _BEGIN for wall in walls])
    last = np.array([_ALONG - 1 if wall.ends[1] in nodes else _END for wall in walls])
    strips = _strips(near, other, first, last)
    place = np.arange(_ALONG)
    inner = (place > first[:, None]) & (place < last[:, None])
    after[near[inner]] = after[other[inner]] = -1
    row = np.arange(len(walls))
    after[near[row, last]] = other[row, last]
    after[other[row, first]] = near[row, first]
    squares = _squares(after)
    after[squares] = -1
    crossings = squares[:, [[0, 1, 2], [0, 2, 3]]].reshape(-1, 3)
    return Web(np.concatenate([strips, crossings]), _chained(after))


def _walls(sockets: Sequence[Socket], reach: float) -> list[_Wall]:
    """Return every wall between two sockets whose sides match in place and length."""
    boxes = [
        tuple(round(length / COORDINATE_GRID) for length in (s.x, s.y, s.x + s.width, s.y + s.depth)) for s in sockets
    ]
    left = {(x0, y0, y1): index for index, (x0, y0, _, y1) in enumerate(boxes)}
    front = {(y0, x0, x1): index for index, (x0, y0, x1, _) in enumerate(boxes)}
    walls = []
    for index, (s, (x0, y0, x1, y1)) in enumerate(zip(sockets, boxes, strict=True)):
        right, back = s.x + s.width, s.y + s.depth
        beside = left.get((x1, y0, y1))
        if beside is not None:
            box = (right - reach, s.y + reach, right + reach, back - reach)
            walls.append(_Wall((index, beside), 0, ((x1, y0), (x1, y1)), box))
        behind = front.get((y1, x0, x1))
        if behind is not None:
            box = (s.x + reach, back - reach, right - reach, back + reach)
            walls.append(_Wall((index, behind), 1, ((x1, y1), (x0, y1)), box))
    return walls


def _free(boxes: NDArray[np.float64], obstacles: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Return for each box ``(x0, y0, x1, y1)`` whether no obstacle lies in it or on its edge."""
    x, y = obstacles[:, 0], obstacles[:, 1]
    x0, y0, x1, y1 = (boxes[:, side, None] for side in range(4))
    near = LENGTH_EPSILON
    inside = (x > x0 - near) & (x < x1 + near) & (y > y0 - near) & (y < y1 + near)
    return np.logical_not(inside.any(axis=1))


def _nodes(walls: Sequence[_Wall], reach: float, obstacles: NDArray[np.float64]) -> set[Micro]:
    """Return the nodes that strips may run on into, because nothing is in the way there.

    An edge that passes a node without a point near it leaves both arcs on one side, so it keeps off their middles.
    """
    nodes = sorted({end for wall in walls for end in wall.ends})
    middles = np.array(nodes) * COORDINATE_GRID
    free = _free(np.column_stack([middles - reach, middles + reach]), obstacles)
    return {node for node, clear in zip(nodes, free, strict=True) if clear}


def _strips(near: Indices, other: Indices, first: NDArray[np.int64], last: NDArray[np.int64]) -> Indices:
    """Return the triangles of each wall's strip from its first place to its last.

    Args:
        near: points of the first sockets along their walls, ``(walls, _ALONG)``.
        other: points of the second sockets that they face, on the right hand as one goes along.
        first: where each strip begins, ``(walls,)``.
        last: where each strip ends.
    """
    place = np.arange(_ALONG - 1)
    inside = (place >= first[:, None]) & (place < last[:, None])
    a, b, c, d = near[:, :-1][inside], near[:, 1:][inside], other[:, 1:][inside], other[:, :-1][inside]
    return np.concatenate([np.column_stack([a, d, c]), np.column_stack([a, c, b])])


def _squares(after: Indices) -> Indices:
    """Return the loops of four points, ``(n, 4) int32``: what four strips leave open at a node."""
    start = np.flatnonzero(after >= 0).astype(np.int32)
    loop = [start]
    for _ in range(_FOUR):
        start = np.where(start >= 0, after[start], -1)
        loop.append(start)
    squares: Indices = np.column_stack(loop[:_FOUR])
    whole: NDArray[np.bool_] = (loop[_FOUR] == loop[0]) & (squares.min(axis=1) == loop[0]) & (loop[0] >= 0)
    loops: Indices = squares[whole]
    return loops


def _chained(after: Indices) -> tuple[Indices, ...]:
    """Return the loops of a map from each point to the next (-1: none)."""
    following = after.tolist()
    loops = []
    for start in range(len(following)):
        loop = []
        at = start
        while following[at] >= 0:
            loop.append(at)
            following[at], at = -1, following[at]
        if loop:
            loops.append(np.array(loop, dtype=np.int32))
    return tuple(loops)
