"""The surface: a bed and the pieces on it in whole millionths of a millimetre, each piece grown by the spacing.

Every piece is grown to its right and to its back, and so is every clear box of the bed. Then "the spacing lies between
any two pieces, and none beside the margin" reads "grown pieces do not overlap and each lies in a grown box": an
ordinary packing of rectangles. Whole numbers keep sums of lengths exact.
"""

from dataclasses import dataclass, field
from functools import cached_property
from itertools import pairwise
from typing import Final, TypeAlias

from worker.layout.floor.print_bed import Bed, maximal

#: Whole units in a millimetre: a unit is `LENGTH_EPSILON`.
UNITS: Final = 1_000_000

#: A grown footprint: width and depth in units.
Size: TypeAlias = tuple[int, int]


def units(length: float) -> int:
    """Return a length in mm in whole units."""
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
        found = {(units(a), units(b), units(c) + grow, units(d) + grow) for a, b, c, d in bed.boxes}
        # rounding may lay one box into another, and the packing library asks for boxes that do not hold each other
        return Surface(tuple(sorted((int(a), int(b), int(c), int(d)) for a, b, c, d in maximal(set(found)))), grow)

    def grown(self, width: float, depth: float) -> Size:
        """Return the grown size of a footprint in mm."""
        return units(width) + self.spacing, units(depth) + self.spacing

    def holds(self, size: Size) -> bool:
        """Return whether a grown footprint has a place, as it is or turned."""
        return any(
            w <= right - left and d <= back - front for left, front, right, back in self.boxes for w, d in _ways(size)
        )

    @cached_property
    def area(self) -> int:
        """The area that the grown boxes cover together, in square units: slab by slab between the edges in x."""
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
        """The width and depth of the box around all grown boxes."""
        left, front, right, back = zip(*self.boxes, strict=True)
        return max(right) - min(left), max(back) - min(front)

    def least(self, size: Size) -> tuple[int, int]:
        """Return how far left the right edge of a footprint with a place can be, and how far front its back edge."""
        if (known := self._least.get(size)) is not None:
            return known
        fits = [
            (left + w, front + d)
            for left, front, right, back in self.boxes
            for w, d in _ways(size)
            if w <= right - left and d <= back - front
        ]
        found = min(one[0] for one in fits), min(one[1] for one in fits)
        self._least[size] = found
        return found

    def holds_both(self, one: Size, other: Size) -> bool:
        """Return whether two grown footprints, each of which has a place, have places on the bed together.

        This is exact. Two rectangles apart have a line between them, along y or along x. The one left of the line may
        move left and front until the bed stops it, and the further left its right edge, the more is left for the other.
        """
        return self._beside(self.least(one), other) or self._beside(self.least(other), one)

    def _beside(self, least: tuple[int, int], size: Size) -> bool:
        return any(
            (w <= right - max(left, least[0]) and d <= back - front)
            or (w <= right - left and d <= back - max(front, least[1]))
            for left, front, right, back in self.boxes
            for w, d in _ways(size)
        )


def _ways(size: Size) -> tuple[Size, Size]:
    return size, (size[1], size[0])
