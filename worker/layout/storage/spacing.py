"""Spacing of things and dividers along one axis of a tray.

Each pattern says the length it needs and, given a length that is at least that, where it puts things. Both count from
the start of the usable room; ``margin`` is kept to its ends, `AIR` to dividers and between things.
"""

from dataclasses import dataclass
from math import ceil

from worker.layout.storage.sizing_rules import AIR


@dataclass(frozen=True, slots=True)
class Spacing:
    """Where each thing starts, and the middles of the dividers."""

    starts: tuple[float, ...]
    dividers: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class Line:
    """Things side by side in the middle, as many as there are."""

    size: float
    margin: float
    air: float = AIR

    def need(self, count: int) -> float:
        """Return the least length."""
        return count * self.size + (count - 1) * self.air + 2.0 * self.margin

    def most(self, length: float) -> int:
        """Return how many find room."""
        return max(int((length - 2.0 * self.margin + self.air + 1e-9) // (self.size + self.air)), 0)

    def spread(self, count: int, length: float) -> Spacing:
        """Return the places."""
        start = (length - self.need(count)) / 2.0 + self.margin
        return Spacing(tuple(start + k * (self.size + self.air) for k in range(count)))


@dataclass(frozen=True, slots=True)
class Pairs:
    """Rows two by two, with a gap for a finger between; a divider between pairs."""

    size: float
    gap: float
    wall: float
    margin: float

    def need(self, rows: int) -> float:
        """Return the least length."""
        pairs = ceil(rows / 2)
        return rows * self.size + pairs * self.gap + (pairs - 1) * (self.wall + 2.0 * AIR) + 2.0 * self.margin

    def spread(self, rows: int, length: float) -> Spacing:
        """Return the places: what is left over widens the gaps."""
        pairs = ceil(rows / 2)
        gap = self.gap + (length - self.need(rows)) / pairs
        starts: list[float] = []
        dividers: list[float] = []
        at = self.margin
        for row in range(rows):
            if row and row % 2 == 0:
                dividers.append(at + AIR + self.wall / 2.0)
                at += 2.0 * AIR + self.wall
            starts.append(at)
            at += self.size + (gap if row % 2 == 0 else 0.0)
        return Spacing(tuple(starts), tuple(dividers))


@dataclass(frozen=True, slots=True)
class Groups:
    """Things in compartments, at most ``per`` in one, as even as can be."""

    size: float
    per: int
    wall: float
    margin: float
    air: float = AIR

    def need(self, count: int) -> float:
        """Return the least length."""
        groups = ceil(count / self.per)
        between = (count - groups) * self.air + (groups - 1) * (self.wall + 2.0 * AIR)
        return count * self.size + between + 2.0 * self.margin

    def most(self, length: float) -> int:
        """Return how many find room."""
        count = max(int((length - 2.0 * self.margin + self.air + 1e-9) // (self.size + self.air)), 0)
        while count and self.need(count) > length + 1e-9:
            count -= 1
        return count

    def spread(self, count: int, length: float) -> Spacing:
        """Return the places: what is left over is shared out to the compartments, things stand in their middles."""
        groups = ceil(count / self.per)
        slack = (length - self.need(count)) / groups
        starts: list[float] = []
        dividers: list[float] = []
        at = self.margin
        for group in range(groups):
            things = count // groups + (group < count % groups)
            if group:
                dividers.append(at + AIR + self.wall / 2.0)
                at += 2.0 * AIR + self.wall
            at += slack / 2.0
            starts.extend(at + k * (self.size + self.air) for k in range(things))
            at += things * self.size + (things - 1) * self.air + slack / 2.0
        return Spacing(tuple(starts), tuple(dividers))
