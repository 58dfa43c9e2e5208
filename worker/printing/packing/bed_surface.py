"""The bed surface: a bed and the footprints on it in whole nanometres, each footprint grown by the spacing.

Footprints are grown to the right and to the back, and so are the clear boxes of the bed. The rule "the spacing lies
between any two pieces, none beside the margin" then becomes "grown footprints lie in grown boxes and do not overlap",
an ordinary packing of rectangles. Integers keep sums of lengths exact.
"""

from dataclasses import dataclass, field
from functools import cached_property
from itertools import pairwise
from typing import Final, TypeAlias

from worker.layout.floor.print_bed import Bed, maximal

#: Units in a millimetre: one unit is `LENGTH_EPSILON`, a nanometre.
UNITS: Final = 1_000_000

#: A grown footprint: width and depth in units.
Size: TypeAlias = tuple[int, int]


def units(length: float) -> int:
    """Return a length in mm, rounded to whole units."""
    return round(length * UNITS)


@dataclass(frozen=True)
class Surface:
    """The maximal clear boxes ``(left, front, right, back)`` of a bed, grown by the spacing, in units."""

    boxes: tuple[tuple[int, int, int, int], ...]
    spacing: int
    _least: dict[Size, tuple[int, int]] = field(default_factory=dict, init=False, repr=False, compare=False)

    @staticmethod
    def of(bed: Bed, spacing: float) -> "Surface":
        """Return the surface of a bed with this spacing in mm."""
        grow = units(spacing)
        boxes = {(units(a), units(b), units(c) + grow, units(d) + grow) for a, b, c, d in bed.boxes}
        # rounding may put one box inside another, and the packing library needs boxes of which none contains another
        return Surface(tuple(sorted((int(a), int(b), int(c), int(d)) for a, b, c, d in maximal(set(boxes)))), grow)

    def grown(self, width: float, depth: float) -> Size:
        """Return the grown size of a footprint in mm."""
        return units(width) + self.spacing, units(depth) + self.spacing

    def holds(self, size: Size) -> bool:
        """Return whether a grown footprint fits the bed, unturned or turned."""
        return any(
            w <= right - left and d <= back - front
            for left, front, right, back in self.boxes
            for w, d in _orientations(size)
        )

    @cached_property
    def area(self) -> int:
        """The area of the union of the grown boxes, in square units, summed in slabs between their edges in x."""
        total = 0
        for left, right in pairwise(sorted({edge for box in self.boxes for edge in (box[0], box[2])})):
            end, length = None, 0
            for front, back in sorted((box[1], box[3]) for box in self.boxes if box[0] <= left and right <= box[2]):
                start = front if end is None else max(front, end)
                length += max(0, back - start)
                end = back if end is None else max(end, back)
            total += (right - left) * length
        return total

    @property
    def reach(self) -> Size:
        """The width and depth of the bounding box of all grown boxes, in units."""
        left, front, right, back = zip(*self.boxes, strict=True)
        return max(right) - min(left), max(back) - min(front)

    def least(self, size: Size) -> tuple[int, int]:
        """Return the leftmost right edge and the frontmost back edge of a grown footprint that fits, in units."""
        if (least := self._least.get(size)) is not None:
            return least
        fits = [
            (left + w, front + d)
            for left, front, right, back in self.boxes
            for w, d in _orientations(size)
            if w <= right - left and d <= back - front
        ]
        self._least[size] = min(right for right, _ in fits), min(back for _, back in fits)
        return self._least[size]

    def holds_both(self, first: Size, second: Size) -> bool:
        """Return whether two grown footprints, each of which fits, fit the bed together.

        The answer is exact. Two disjoint rectangles are separated by a line along x or y. The one left of it may move
        left and to the front until the bed stops it; the further left its right edge, the more room the other has.
        """
        return self._beside(self.least(first), second) or self._beside(self.least(second), first)

    def _beside(self, least: tuple[int, int], size: Size) -> bool:
        return any(
            (w <= right - max(left, least[0]) and d <= back - front)
            or (w <= right - left and d <= back - max(front, least[1]))
            for left, front, right, back in self.boxes
            for w, d in _orientations(size)
        )


def _orientations(size: Size) -> tuple[Size, Size]:
    return size, (size[1], size[0])
