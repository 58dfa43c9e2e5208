"""Shared patterns: the patterns of a family, found once in a process for equal things in equal drawers.

The search, the layers, the reasons and the remedies of a plan ask for the same families again and again, and so does
the next plan of a page after a small change.
"""

from collections.abc import Callable, Collection, Sequence
from dataclasses import replace
from functools import cached_property, lru_cache
from typing import TYPE_CHECKING, Final, NamedTuple

from worker.layout.placement.columns.assortment import Assortment
from worker.layout.placement.columns.cutting import Cutting
from worker.layout.placement.columns.family_patterns import FamilyPatterns
from worker.layout.placement.columns.objective import Weights
from worker.layout.placement.columns.tray_columns import Column, Footprint
from worker.layout.storage.sizing_rules import DrawerLimits
from worker.layout.storage.ways import Way
from worker.spec.drawer.tray import Rim
from worker.spec.items.item import Item

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

__all__ = ["SharedPatterns"]

#: Families that are remembered, at most: each takes up to 0.5 MB.
_MOST: Final = 128


class _Family(NamedTuple):
    """All that the patterns of a family depend on: see `Assortment`; ``joined`` are numbers of items."""

    items: tuple[Item, ...]
    ways: tuple[Way | None, ...]
    use: Callable[[Item], str | None]
    ground: DrawerLimits
    weights: Weights
    footprints: frozenset[Footprint]
    rim: Rim
    cutting: Cutting | None
    joined: frozenset[int]


@lru_cache(maxsize=_MOST)
def _patterns_of(family: _Family) -> "_PatternTrays":
    every = tuple(range(len(family.items)))
    stock = Assortment(
        family.items,
        (every,),
        family.use,
        family.ground,
        family.weights,
        family.footprints,
        family.rim,
        family.ways,
        family.cutting,
    )
    return _PatternTrays(FamilyPatterns(stock, every, tuple(sorted(family.joined))))


class _PatternTrays:
    """The patterns of a family, and the trays that were made from them so far."""

    def __init__(self, patterns: FamilyPatterns) -> None:
        self.patterns = patterns
        self._made: dict[int, Column | None] = {}
        self._levelled: dict[tuple[Footprint, int], Column | None] = {}

    def column(self, number: int) -> Column | None:
        if number not in self._made:
            self._made[number] = self.patterns.column(number)
        return self._made[number]

    def column_at(self, halves: Footprint, level: int) -> Column | None:
        if (halves, level) not in self._levelled:
            self._levelled[halves, level] = self.patterns.column_at(halves, level)
        return self._levelled[halves, level]


class SharedPatterns:
    """The patterns of a family of an assortment: see `FamilyPatterns`."""

    def __init__(self, stock: Assortment, members: Sequence[int], joined: Collection[int] = ()) -> None:
        """Find the patterns of these members, by their index; ``joined``: those that trays in pieces are for."""
        self.members = tuple(members)
        whole = stock.footprints - frozenset(stock.joined_footprints)
        self._shared = _patterns_of(
            _Family(
                tuple(stock.items[m] for m in members),
                tuple(stock.ways[m] for m in members) if stock.ways else (),
                stock.use,
                stock.ground,
                stock.weights,
                stock.footprints if joined else whole,
                stock.rim,
                stock.cutting if joined else None,
                frozenset(k for k, m in enumerate(members) if m in joined),
            )
        )

    @property
    def subsets(self) -> "NDArray[np.intp]":
        """The members in each pattern, as the bits of a number, ``(p,)``."""
        return self._shared.patterns.subsets

    @property
    def sizes(self) -> "NDArray[np.intp]":
        """The footprint of each pattern, as an index, ``(p,)``."""
        return self._shared.patterns.sizes

    @property
    def costs(self) -> "NDArray[np.float64]":
        """The cost of each pattern, in minutes, ``(p,)``."""
        return self._shared.patterns.costs

    @property
    def values(self) -> "NDArray[np.float64]":
        """The value of each pattern, in minutes, ``(p,)``."""
        return self._shared.patterns.values

    @property
    def areas(self) -> "NDArray[np.intp]":
        """The half cells of each pattern, ``(p,)``."""
        return self._shared.patterns.areas

    @property
    def footprints(self) -> tuple[Footprint, ...]:
        """The footprints that trays may have."""
        return self._shared.patterns.footprints

    @cached_property
    def homeless(self) -> tuple[int, ...]:
        """The members for which there is no tray."""
        return tuple(self.members[k] for k in self._shared.patterns.homeless)

    def column(self, number: int) -> Column | None:
        """Return a pattern as a tray; None where it would have too many dividers."""
        return self._renumbered(self._shared.column(number))

    def column_at(self, halves: Footprint, level: int) -> Column | None:
        """Return the cheapest tray of a footprint for all members with walls of a level; None where there is none."""
        return self._renumbered(self._shared.column_at(halves, level))

    def _renumbered(self, column: Column | None) -> Column | None:
        """Return a column with the indices that its things have in the assortment."""
        if column is None:
            return None
        bands = tuple(
            replace(band, lanes=tuple((self.members[index], lane) for index, lane in band.lanes))
            for band in column.bands
        )
        return replace(column, bands=bands)
