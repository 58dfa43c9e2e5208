"""Free rectangles: the half cells without a tray, as few large rectangles."""

from collections.abc import Iterable, Iterator
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from worker.layout.model.plan import Lattice, Space

__all__ = ["free_spaces"]

_Spot: TypeAlias = tuple[int, int]
_Mask: TypeAlias = NDArray[np.bool_]


def free_spaces(lattice: Lattice, taken: Iterable[tuple[_Spot, _Spot]]) -> tuple[Space, ...]:
    """Return the free half cells as rectangles, taking the largest remaining one each time.

    Args:
        lattice: the grid in the drawer.
        taken: front left half cell and size in half cells of each tray.
    """
    if not lattice.cells:
        return ()
    across, back = lattice.span
    free: _Mask = np.zeros((back, across), dtype=np.bool_)
    for cell in lattice.cells:
        free[cell.y : cell.y + cell.depth, cell.x : cell.x + cell.width] = True
    for (x, y), (width, depth) in taken:
        free[y : y + depth, x : x + width] = False
    spaces: list[Space] = []
    while free.any():
        space = min(
            _largest(free),
            key=lambda candidate: (
                -candidate.halves[0] * candidate.halves[1],
                candidate.at[1],
                candidate.at[0],
                candidate.halves,
            ),
        )
        (x, y), (width, depth) = space.at, space.halves
        free[y : y + depth, x : x + width] = False
        spaces.append(space)
    return tuple(spaces)


def _largest(free: _Mask) -> Iterator[Space]:
    """Yield the maximal rectangles that end at each row (largest rectangle under a histogram)."""
    heights = np.zeros(free.shape[1], dtype=np.int64)
    for row in range(free.shape[0]):
        heights = np.where(free[row], heights + 1, 0)
        stack: list[tuple[int, int]] = []
        for column, high in enumerate((*heights.tolist(), 0)):
            start = column
            while stack and stack[-1][1] >= high:
                start, tall = stack.pop()
                if tall:
                    yield Space((start, row - tall + 1), (column - start, tall))
            stack.append((start, high))
