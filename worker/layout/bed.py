"""The bed: where on it a part's box may go."""

from collections.abc import Sequence
from dataclasses import dataclass

from worker.spec.tolerances import LENGTH_EPSILON


@dataclass(frozen=True, slots=True)
class Bed:
    """The rooms on a bed into which a tile's box may go: maximal empty rectangles as ``(x, y)``, either way round."""

    rooms: tuple[tuple[float, float], ...]

    @staticmethod
    def of(size: tuple[float, float], margin: float, forbidden: Sequence[tuple[float, float, float, float]]) -> "Bed":
        """Return the rooms of a bed that keep the margin and stay clear of ``(left, front, right, back)`` boxes."""
        x = sorted({margin, size[0] - margin, *(edge for box in forbidden for edge in (box[0], box[2]))})
        y = sorted({margin, size[1] - margin, *(edge for box in forbidden for edge in (box[1], box[3]))})
        rooms: set[tuple[float, float]] = set()
        xs = [one for one in x if margin <= one <= size[0] - margin]
        ys = [one for one in y if margin <= one <= size[1] - margin]
        for i, left in enumerate(xs):
            for right in xs[i + 1 :]:
                blocked = [box for box in forbidden if box[0] < right and box[2] > left]
                for j, front in enumerate(ys):
                    for back in ys[j + 1 :]:
                        if all(box[1] >= back or box[3] <= front for box in blocked):
                            rooms.add((right - left, back - front))
        rooms |= {(b, a) for a, b in rooms}
        best = [one for one in rooms if not any(o != one and o[0] >= one[0] and o[1] >= one[1] for o in rooms)]
        return Bed(tuple(sorted(best)))

    def holds(self, width: float, depth: float) -> bool:
        """Return whether a box of this size has room, as it is or turned."""
        return any(width <= room[0] + LENGTH_EPSILON and depth <= room[1] + LENGTH_EPSILON for room in self.rooms)
