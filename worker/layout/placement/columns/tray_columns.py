"""Columns: the trays that a drawer's things could have, each as bands of lanes side by side."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TypeAlias

from worker.layout.storage.lane import Lane
from worker.layout.storage.tray_option import Draft
from worker.spec.drawer.tray import Rim
from worker.spec.items.item import Item

__all__ = ["Column", "ColumnKey", "Footprint", "LaneBand"]

Footprint: TypeAlias = tuple[int, int]
ColumnKey: TypeAlias = tuple[Footprint, tuple[tuple[int, int], ...]]


@dataclass(frozen=True, slots=True)
class LaneBand:
    """Lanes side by side, by the index of their kind, ``length`` mm long from wall to wall."""

    length: float
    lanes: tuple[tuple[int, Lane], ...]


@dataclass(frozen=True)
class Column:
    """A tray that could be made: bands of lanes, behind each other across ``axis``, the front one first.

    ``walls`` are the walls over the floor and ``height`` the tray's, in mm; ``top`` is the highest point of tray and
    things. ``worth`` is the worth of the things in it and ``cost`` what the tray costs, both in minutes. Where
    each thing has a pocket of its own, ``draft`` says where.
    """

    halves: Footprint
    axis: int
    bands: tuple[LaneBand, ...]
    walls: float
    height: float
    top: float
    ledge: bool
    plastic: float
    worth: float
    cost: float
    draft: Draft | None = None
    rim: Rim = "straight"

    @cached_property
    def lanes(self) -> tuple[tuple[int, Lane], ...]:
        """All lanes, by the index of their kind, band by band."""
        return tuple(pair for band in self.bands for pair in band.lanes)

    @property
    def area(self) -> int:
        """Half cells that it covers."""
        return self.halves[0] * self.halves[1]

    @property
    def value(self) -> float:
        """Its worth less its cost, in minutes."""
        return self.worth - self.cost

    @cached_property
    def counts(self) -> tuple[tuple[int, int], ...]:
        """The kinds in it, and how many of each."""
        return tuple((index, lane.count) for index, lane in self.lanes)

    def renumbered(self, items: Sequence[Item], number: Mapping[int, int]) -> "Column":
        """Return the same column for a list in which items have other indices.

        Args:
            items: the list that its indices are of.
            number: the new index of each item, by the identity of the object.
        """
        return replace(
            self,
            bands=tuple(
                LaneBand(band.length, tuple((number[id(items[index])], lane) for index, lane in band.lanes))
                for band in self.bands
            ),
        )

    @cached_property
    def key(self) -> ColumnKey:
        """What columns that serve alike have in common."""
        return self.halves, tuple(sorted(self.counts))
