"""The bed: where on it a part's box may go."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TypeAlias

from worker.spec.printer.printer import Printer
from worker.spec.tolerances import LENGTH_EPSILON

#: A box on the bed: left, front, right, back.
Box: TypeAlias = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True)
class Bed:
    """The rooms on a bed into which a tile's box may go: maximal empty rectangles as ``(x, y)``, either way round.

    ``boxes`` are all maximal empty rectangles where they are on the bed; they overlap each other.
    """

    rooms: tuple[tuple[float, float], ...]
    boxes: tuple[Box, ...] = ()

    @staticmethod
    def of(size: tuple[float, float], margin: float, forbidden: Sequence[Box]) -> "Bed":
        """Return the rooms of a bed that keep the margin and stay clear of ``(left, front, right, back)`` boxes."""
        boxes = _clear((margin, margin, size[0] - margin, size[1] - margin), forbidden)
        rooms = {(box[2] - box[0], box[3] - box[1]) for box in boxes}
        rooms |= {(b, a) for a, b in rooms}
        best = [room for room in rooms if not any(o != room and o[0] >= room[0] and o[1] >= room[1] for o in rooms)]
        return Bed(tuple(sorted(best)), boxes)

    @staticmethod
    def of_printer(printer: Printer) -> "Bed":
        """Return the rooms on a printer's bed."""
        boxes = [
            (area.at[0], area.at[1], area.at[0] + area.size[0], area.at[1] + area.size[1]) for area in printer.forbidden
        ]
        return Bed.of((printer.bed[0], printer.bed[1]), printer.margin, boxes)

    def holds(self, width: float, depth: float) -> bool:
        """Return whether a box of this size has room, as it is or turned."""
        return any(width <= room[0] + LENGTH_EPSILON and depth <= room[1] + LENGTH_EPSILON for room in self.rooms)


def _clear(whole: Box, forbidden: Iterable[Box]) -> tuple[Box, ...]:
    """Return the maximal boxes of ``whole`` that are clear of the forbidden ones, sorted.

    What a forbidden box leaves of a maximal box are the four strips beside it; a strip that lies in another box is not
    maximal.
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
    """Return the boxes that lie in no other one."""
    return {
        box
        for box in boxes
        if not any(
            o[0] <= box[0] and o[1] <= box[1] and o[2] >= box[2] and o[3] >= box[3] for o in boxes if o is not box
        )
    }
