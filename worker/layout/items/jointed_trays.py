"""Jointed trays for items: where no tray that the bed takes holds all of an item, one in pieces may.

They are placed last, on floor that the search has left free, and only where they are worth their price: plastic, floor,
and the work of a tray for each piece.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import islice
from typing import Final, TypeAlias

from worker.layout.items.drawer_site import Site
from worker.layout.items.held_trays import HeldTray, Holding, fill_tray
from worker.layout.items.item_trays import Contents, Furniture, ListedItem
from worker.layout.items.tray_sizing import TraySizing, without_bed
from worker.layout.model.plan import Stored, Unplaced
from worker.layout.placement.bay import Bay, Spot
from worker.layout.placement.tray_columns import Column
from worker.layout.placement.tray_placement import tray_halves
from worker.layout.storage.sizing_rules import LEDGE
from worker.layout.tray.made_tray import MadeTray
from worker.spec import Spec
from worker.spec.drawer.tray import Tray
from worker.spec.errors import TrayError

__all__ = ["HoldingTray", "Make", "with_jointed_trays"]

#: Returns a tray as it is printed in a drawer, at a front left half cell; raises `TrayError` if it cannot be made.
Make: TypeAlias = Callable[[int, Tray, Spot], MadeTray]

#: So many sizes are tried for an item in a drawer, the smallest first.
_MOST_SIZES: Final = 6
#: Least height of a tray that is joined from pieces, with a straight rim, mm.
_LEAST_HEIGHT: Final = 16.0


@dataclass(frozen=True)
class HoldingTray:
    """A jointed tray in its place, and what it holds."""

    held: HeldTray
    at: Spot
    pointer: str
    z: float = 0.0

    @property
    def tray(self) -> Tray:
        """The tray."""
        return self.held.tray

    def stored(self, placement: int, corner: tuple[float, float, float]) -> Iterator[Stored]:
        """Yield what lies in it, as `HeldTray.stored` does."""
        return self.held.stored(placement, corner)


def with_jointed_trays(
    spec: Spec, contents: Contents, sites: Sequence[Site], listed: Sequence[ListedItem], make: Make
) -> Contents:
    """Return a layout with jointed trays for items that only the bed kept out.

    Args:
        spec: the job.
        contents: as laid out without such trays.
        sites: its drawers, each with what was free before.
        listed: all items that were to be placed, with their JSON Pointers.
        make: makes a tray.
    """
    if not spec.joints or not any(_kept_out(lack) for lack in contents.unplaced):
        return contents
    trays = [list(own) for own in contents.trays]
    bays = [
        site.bay.less((tray.at, tray_halves(tray.tray)) for tray in own if not tray.z)
        for site, own in zip(sites, contents.trays, strict=True)
    ]
    items = dict(listed)
    sizing = TraySizing()
    unplaced: list[Unplaced] = []
    for lack in contents.unplaced:
        item = items.get(lack.pointer)
        if not _kept_out(lack) or item is None or lack.count != item.count:
            unplaced.append(lack)
            continue
        placed = next(
            (
                (index, tray)
                for index, site in enumerate(sites)
                if lack.drawer in {None, site.name}
                for tray in _trays(spec, index, site, bays[index], (lack.pointer, item), sizing, make)
            ),
            None,
        )
        if placed is None:
            unplaced.append(lack)
            continue
        index, tray = placed
        trays[index].append(tray)
        bays[index] = bays[index].less([(tray.at, tray_halves(tray.tray))])
    return replace(contents, trays=tuple(tuple(own) for own in trays), unplaced=tuple(unplaced))


def _kept_out(lack: Unplaced) -> bool:
    return lack.cause == "bed"


def _trays(  # noqa: PLR0917 - what a tray is made of, and where
    spec: Spec, index: int, site: Site, bay: Bay, listed: ListedItem, sizing: TraySizing, make: Make
) -> Iterator[Furniture]:
    """Yield jointed trays that hold all of an item and have a free place, the smallest first."""
    pointer, item = listed
    free = without_bed(site)
    sizes = frozenset(
        halves for halves in free.footprints if not site.prints(halves) and bay.corners(bay.bits, *halves)
    )
    stock = free.assortment([item])
    every = (column for column in sizing.trays(item, free, sizes) if column.draft is None)
    for column in islice(every, _MOST_SIZES):
        at = next(bay.spots(bay.corners(bay.bits, *column.halves)))
        tray = _tray(site, column, item.name)
        try:
            made = make(index, tray, at)
        except TrayError:
            continue
        pieces = len(made.parts)
        cost = stock.tray_cost(column.halves, column.plastic) + (pieces - 1) * stock.weights.tray
        held = fill_tray(spec, index, tray, [Holding(item, item.count, pointer, pointer, (0, 0))], made.whole)
        if stock.worths[0] <= cost or held.unplaced:
            continue
        try:
            make(index, held.tray, at)  # a label is another thing that a cut must keep clear of
        except TrayError:
            continue
        yield HoldingTray(held, at, pointer)


def _tray(site: Site, column: Column, name: str) -> Tray:
    """Return a tray of one compartment with the size and the height of a column."""
    return Tray(
        name=name,
        cells=(column.halves[0] / 2.0, column.halves[1] / 2.0),
        height=min(max(column.height, _LEAST_HEIGHT), site.ground.limit),
        rim="straight",
        wall=site.ground.wall,
        floor=site.ground.floor,
        label_ledge=LEDGE if column.ledge else None,
    )
