"""The tab: the outline of what holds two tiles together at a node, of its recess, and of the loose key.

A tab is a neck with a head whose shoulders stand square to the pull. Coordinates are in mm, for a seam along y through
the node at 0, 0: the tab extends in +x, into the tile with the recess. Each of its two sides, `low` (y < 0) and `high`
(y > 0), is a `Lobe`: `head` where a seam passes, `plain` in a border too narrow for a head, `flush` at an edge.
"""

from dataclasses import dataclass
from math import hypot
from typing import Final, Literal, TypeAlias

from worker.layout.model.shapes import KeyShape, Point

Points: TypeAlias = tuple[Point, ...]
Lobe: TypeAlias = Literal["head", "plain", "flush"]
#: Which side of a split tab a tile has: `both` of them, or one, if another tile has the other one.
Half: TypeAlias = Literal["both", "low", "high"]

#: Distance in mm by which cutters and tabs extend over the tile's edge, so that no two edges coincide.
_OVER: Final = 0.5


@dataclass(frozen=True, slots=True)
class Tab:
    """Profile of the high side of a tab and of its recess, each from the seam to the tip; all in mm.

    The first point of ``flank`` is on the edge of the tab's own tile, or on the seam's line for a key; that of ``slot``
    on the edge of the other tile. The recess is the tab offset by ``gap``. ``plain`` is half the width of a tab at a
    side without a head.
    """

    flank: Points
    slot: Points
    gap: float
    plain: float

    @property
    def neck(self) -> float:
        """Half the width of the neck."""
        return self.flank[0][1]

    @property
    def head(self) -> float:
        """Half the width of the head."""
        return max(y for _, y in self.flank)

    @property
    def reach(self) -> float:
        """Distance of the tip from the seam's line."""
        return self.flank[-1][0]

    @property
    def back(self) -> float:
        """Distance of the end of the recess from the seam's line."""
        return self.slot[-1][0]

    @property
    def mouth(self) -> float:
        """Half the width of the recess at its tile's edge."""
        return self.slot[0][1]

    @property
    def undercut(self) -> float:
        """Overhang of the head past the mouth of the recess, on each side."""
        return self.head - self.mouth

    @property
    def play(self) -> float:
        """Distance by which the tiles can be pulled apart before the tab takes hold."""
        (x0, y0), (x1, y1) = self._shoulder
        rise = (y1 - y0) / hypot(x1 - x0, y1 - y0)
        return self.gap / rise

    @property
    def square(self) -> bool:
        """Whether the shoulders stand square to the pull, so that it does not spread the recess."""
        (x0, _), (x1, _) = self._shoulder
        return x0 == x1

    @property
    def lip(self) -> float:
        """Thickness of the plastic between the mouth and the shoulder of the recess, of a square tab."""
        return self._shoulder[0][0] - self.gap - self.slot[0][0]

    @property
    def thickness(self) -> float:
        """Thickness of the head along the pull."""
        return self.reach - self._shoulder[0][0]

    @property
    def _shoulder(self) -> tuple[Point, Point]:
        """The edge of the flank at which the head begins."""
        index = next(i for i, (_, y) in enumerate(self.flank[1:]) if y > self.neck)
        return self.flank[index], self.flank[index + 1]

    def _male_side(self, lobe: Lobe) -> Points:
        root = self.flank[0][0]
        level = {"plain": self.plain, "flush": 0.0}.get(lobe)
        return self.flank if level is None else ((root, level), (self.reach, level))

    def male(self, low: Lobe, high: Lobe, half: Half = "both") -> Points:
        """Return the ring of the tab, counter-clockwise, extended into its own tile.

        Args:
            low: its side at negative y.
            high: its side at positive y.
            half: the side to return, if two tiles have one each with the gap between them.
        """
        root, parting = self.flank[0][0], -self.gap / 2.0
        split = ((root, parting), (self.reach, parting))
        lower = split if half == "high" else self._male_side(low)
        upper = split if half == "low" else self._male_side(high)
        inner = self.flank[0][0] - _OVER
        return (
            (inner, -lower[0][1]), *((x, -y) for x, y in lower), *reversed(upper), (inner, upper[0][1]),
        )  # fmt: skip

    def recess(self, low: Lobe, high: Lobe) -> Points:
        """Return the ring of the recess, counter-clockwise, extended beyond its tile."""
        inner = self.slot[0][0] - _OVER
        lower, upper = self._recess_side(low), self._recess_side(high)
        return (
            (inner, -lower[0][1]), *((x, -y) for x, y in lower), *reversed(upper), (inner, upper[0][1]),
        )  # fmt: skip

    def _recess_side(self, lobe: Lobe) -> Points:
        edge = self.slot[0][0]
        level = {"plain": self.plain + self.gap, "flush": self.gap}.get(lobe)
        return self.slot if level is None else ((edge, level), (self.back, level))

    def key(self, height: float, low: Lobe, high: Lobe) -> KeyShape:
        """Return the loose key: the tab and its mirror image about the seam, in the key's own frame.

        Args:
            height: height of the key, mm.
            low: its side at negative y.
            high: its side at positive y.
        """
        lower, upper = self._male_side(low), self._male_side(high)
        right = [*((x, -y) for x, y in lower), *reversed(upper)]
        ring = dict.fromkeys((round(x, 3) + 0.0, round(y, 3) + 0.0) for x, y in right)
        ring.update(dict.fromkeys((round(-x, 3) + 0.0, round(y, 3) + 0.0) for x, y in reversed(right)))
        points = _without_middles(list(ring))
        x0, y0 = min(x for x, _ in points), min(y for _, y in points)
        moved = [(round(x - x0, 3), round(y - y0, 3)) for x, y in points]
        start = moved.index(min(moved))
        return KeyShape((*moved[start:], *moved[:start]), height)


def _without_middles(ring: list[Point]) -> list[Point]:
    """Return a ring without the points that lie on a straight line along x between their neighbours."""
    count = len(ring)
    return [
        ring[i] for i in range(count) if not ring[i - 1][1] == ring[i][1] == ring[(i + 1) % count][1]
    ]  # fmt: skip
