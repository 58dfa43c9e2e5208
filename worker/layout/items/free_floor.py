"""Free floor: the largest rectangle of half cells on which nothing stands."""

from collections.abc import Iterator, Sequence

from worker.layout.placement.bay import Bay, Spot

__all__ = ["cells_text", "largest_free"]


def largest_free(bay: Bay) -> tuple[Spot, Spot]:
    """Return the largest free rectangle, the front left most of equal ones: its front left half cell, and its sides.

    Time is linear in the half cells: in each row only rectangles that can grow to no side are looked at.
    """
    at, best = (0, 0), (0, 0)
    heights = [0] * bay.across
    for y, row in enumerate(bay.free):
        heights = [height + 1 if is_free else 0 for height, is_free in zip(heights, row, strict=True)]
        area, left, width, height = max(
            _upright(heights), key=lambda rectangle: (rectangle[0], -rectangle[1], -rectangle[2])
        )
        if area > best[0] * best[1]:
            at, best = (left, y - height + 1), (width, height)
    return at, best


def _upright(heights: Sequence[int]) -> Iterator[tuple[int, int, int, int]]:
    """Yield area, left end, width and height of each rectangle under these heights that can grow to no side."""
    rising: list[tuple[int, int]] = []  # where a height begins, and the height
    for right, height in enumerate((*heights, 0)):
        begin = right
        while rising and rising[-1][1] >= height:
            begin, tall = rising.pop()
            yield (right - begin) * tall, begin, right - begin, tall
        rising.append((begin, height))


def cells_text(halves: Spot) -> str:
    """Return a size in half cells as cells, as a reader sees it."""
    return f"{halves[0] / 2.0:g} x {halves[1] / 2.0:g}"
