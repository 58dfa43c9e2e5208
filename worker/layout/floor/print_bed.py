"""The print bed: the free rectangles in which a part's bounding box may lie."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TypeAlias

from worker.spec.printer.printer import Printer
from worker.spec.tolerances import LENGTH_EPSILON

#: A rectangle on the bed in mm: left, front, right, back.
Box: TypeAlias = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True)
class Bed:
    """Free rectangles of a bed. ``rooms`` are their maximal sizes ``(x, y)`` in mm, in either orientation.

    ``boxes`` are all maximal empty rectangles at their position on the bed; they may overlap.
    """

    rooms: tuple[tuple[float, float], ...]
    boxes: tuple[Box, ...] = ()

    @staticmethod
    def of(size: tuple[float, float], margin: float, forbidden: Sequence[Box]) -> "Bed":
        """Return the bed of this size (mm) with a margin and forbidden rectangles ``(left, front, right, back)``."""
        boxes = _clear((margin, margin, size[0] - margin, size[1] - margin), forbidden)
        rooms = {(box[2] - box[0], box[3] - box[1]) for box in boxes}
        rooms |= {(b, a) for a, b in rooms}
        best = [room for room in rooms if not any(o != room and o[0] >= room[0] and o[1] >= room[1] for o in rooms)]
        return Bed(tuple(sorted(best)), boxes)

    @staticmethod
    def of_printer(printer: Printer) -> "Bed":
        """Return the bed of a printer."""
        boxes = [
            (area.at[0], area.at[1], area.at[0] + area.size[0], area.at[1] + area.size[1]) for area in printer.forbidden
        ]
        return Bed.of((printer.bed[0], printer.bed[1]), printer.margin, boxes)

    def holds(self, width: float, depth: float) -> bool:
        """Return whether a rectangle of this size in mm fits, as it is or rotated by 90 degrees."""
        return any(width <= room[0] + LENGTH_EPSILON and depth <= room[1] + LENGTH_EPSILON for room in self.rooms)


def _clear(whole: Box, forbidden: Iterable[Box]) -> tuple[Box, ...]:
    """Return the maximal rectangles of ``whole`` that are clear of the forbidden ones, sorted.

    A forbidden rectangle leaves four strips of a maximal one; a strip inside another rectangle is not maximal.
    """
    boxes = {whole} if whole[0] < whole[2] and whole[1] < whole[3] else set()
    for left, front, right, back in forbidden:
        hit = {box for box in boxes if box[0] < right and left < box[2] and box[1] < back and front < box[3]}
        strips = {
            strip
            for a, b, c, d in hit
            for strip in ((a, b, left, d), (right, b, c, d), (a, b, c, front), (a, back, c, d))
            if strip[0] < strip[2] and strip[1] < strip[3]
        }
        boxes = maximal((boxes - hit) | strips)
    return tuple(sorted(boxes))


def maximal(boxes: set[Box]) -> set[Box]:
    """Return the rectangles that are not contained in another one."""
    return {
        box
        for box in boxes
        if not any(
            o[0] <= box[0] and o[1] <= box[1] and o[2] >= box[2] and o[3] >= box[3] for o in boxes if o is not box
        )
    }
