"""Tray sizing: the trays that would hold all things of one item in a drawer, worked out once and counted."""

from collections.abc import Collection
from dataclasses import replace
from typing import Final, TypeAlias

from worker.layout.floor.print_bed import Bed
from worker.layout.items.filling.drawer_site import Site
from worker.layout.placement.bay import Bay, Spot
from worker.layout.placement.columns.assortment import Assortment
from worker.layout.placement.columns.column_pricing import columns
from worker.layout.placement.columns.part_columns import part_columns
from worker.layout.placement.columns.tray_columns import Column, Footprint, LaneBand
from worker.layout.storage.sizing_rules import DrawerLimits
from worker.layout.storage.ways import Kind
from worker.spec.items.item import Item

__all__ = ["ANY_HEIGHT", "ANY_SPAN", "TraySizing", "WorkExhausted", "renumbered_alone", "with_height", "without_bed"]

#: Higher and longer than any drawer, in mm and half cells.
ANY_HEIGHT: Final = 1000.0
ANY_SPAN: Final = 40

#: Footprints of trays for which sizing is counted once: 100 footprints take 7 ms, 600 to 800, most of them in pieces,
#: 30 ms, and 1,600 without a bed 70 ms.
_FOOTPRINTS: Final = 100

_Key: TypeAlias = tuple[Kind, str | None, DrawerLimits, Bed | None, bool]


class WorkExhausted(Exception):
    """The counted work that is allowed does not suffice."""


class TraySizing:
    """The trays sized so far.

    ``count`` is how many times trays were worked out, in a large drawer each counted several times: what bounds the
    search for remedies counts it. ``in_fills`` is that number in drawers that were filled to find out why an item has
    no place. ``limit`` is the most of both.
    """

    def __init__(self) -> None:
        """Begin with none."""
        self.count = 0
        self.in_fills = 0
        self.limit: int | None = None
        self._sized: dict[_Key, tuple[Column, ...]] = {}

    @property
    def work(self) -> int:
        """All sizings."""
        return self.count + self.in_fills

    def check_limit(self) -> None:
        """Raise WorkExhausted if there were as many sizings as the limit allows."""
        if self.limit is not None and self.work >= self.limit:
            raise WorkExhausted

    def trays(self, item: Item, site: Site) -> tuple[Column, ...]:
        """Return the trays that hold all things of an item in a drawer, the smallest first.

        In the columns the item has the index 0.
        """
        key = Kind.of(item), item.label_text, site.ground, site.bed, site.joints
        if key not in self._sized:
            self.count += sizing_work(site.footprints)
            stock = site.assortment([item])
            made = columns(stock, {0: item.count}, any_value=True, parts=False)
            self._sized[key] = tuple(sorted(made.values(), key=lambda column: (column.area, column.height, column.key)))
        return self._sized[key]

    def room(self, item: Item, site: Site, bay: Bay) -> tuple[Column, Spot] | None:
        """Return the smallest tray for all things of an item that has a free place, and its front left half cell."""
        for column in self.trays(item, site):
            if corners := bay.corners(bay.bits, *column.halves):
                return column, next(bay.spots(corners))
        return None

    def most_in_part(self, item: Item, count: int, stock: Assortment, bay: Bay) -> int:
        """Return how many things of an item have a free place in a tray of full rows; there may be room for a few more.

        Args:
            item: the item, of the assortment.
            count: no more of them are counted.
            stock: the drawer's assortment.
            bay: what is free in the drawer.
        """
        index = next(number for number, other in enumerate(stock.items) if other is item)
        self.count += sizing_work(stock.footprints)
        return max(
            (
                column.counts[0][1]
                for column in part_columns(stock, index, count)
                if bay.corners(bay.bits, *column.halves)
            ),
            default=0,
        )


def sizing_work(footprints: Collection[Footprint]) -> int:
    """Return the work of working out the trays for one item that may have these footprints, at least 1."""
    return max(round(len(footprints) / _FOOTPRINTS), 1)


def renumbered_alone(column: Column, index: int, stock: Assortment) -> Column:
    """Return a tray that was sized for one item alone as a column of an assortment in which the item has an index."""
    bands = tuple(LaneBand(band.length, tuple((index, lane) for _, lane in band.lanes)) for band in column.bands)
    return replace(column, bands=bands, worth=sum(stock.share_worth(index, count) for _, count in column.counts))


def without_bed(site: Site) -> Site:
    """Return a drawer whose trays may be printed in any size."""
    return replace(site, bed=None)


def with_height(site: Site, height: float) -> Site:
    """Return a drawer of another free height, printed by a printer that is high enough."""
    return replace(site, ground=replace(site.ground, height=height), height=height)
