"""Jointed trays for items: where no tray that the bed takes holds all of an item, one in pieces may.

They are placed only where they are worth their price: plastic, floor, and the work of a tray for each piece.
"""

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import islice
from typing import Final, TypeAlias

from worker.layout.items.filling.drawer_site import Site
from worker.layout.items.filling.tray_sizing import TraySizing, without_bed
from worker.layout.items.held.held_trays import HeldTray, Holding, fill_tray
from worker.layout.items.item_trays import Contents, ListedItem
from worker.layout.model.plan import Stored, Unplaced
from worker.layout.placement.bay import Bay, Spot
from worker.layout.placement.objective import WEIGHTS, worth
from worker.layout.placement.tray_columns import Column
from worker.layout.placement.tray_placement import tray_halves
from worker.layout.storage.poses import longest
from worker.layout.storage.sizing_rules import LEDGE
from worker.layout.tray.made_tray import MadeTray
from worker.spec import Spec
from worker.spec.drawer.tray import Tray
from worker.spec.errors import TrayError
from worker.spec.items.item import Item

__all__ = ["HoldingTray", "Lay", "Make", "with_jointed_trays"]

#: Returns a tray as it is printed in a drawer, at a front left half cell; raises `TrayError` if it cannot be made.
Make: TypeAlias = Callable[[int, Tray, Spot], MadeTray]

#: Lays out all items but those with these JSON Pointers, in drawers with what is free in them.
Lay: TypeAlias = Callable[[Sequence[Site], Collection[str]], Contents]

#: So many sizes are tried for an item in a drawer, the smallest first.
_MOST_SIZES: Final = 6
#: Least height of a tray that is joined from pieces, with a straight rim, mm.
_LEAST_HEIGHT: Final = 16.0


@dataclass(frozen=True)
class HoldingTray:
    """A jointed tray in its place, and what it holds; ``cost`` is what it costs, in minutes."""

    held: HeldTray
    at: Spot
    pointer: str
    cost: float
    z: float = 0.0

    @property
    def tray(self) -> Tray:
        """The tray."""
        return self.held.tray

    def stored(self, placement: int, corner: tuple[float, float, float]) -> Iterator[Stored]:
        """Yield what lies in it, as `HeldTray.stored` does."""
        return self.held.stored(placement, corner)


def with_jointed_trays(  # noqa: PLR0917 - a layout, and how to make and to lay out trays
    spec: Spec, contents: Contents, sites: Sequence[Site], listed: Sequence[ListedItem], make: Make, lay: Lay
) -> Contents:
    """Return a layout with jointed trays for items that only the bed kept out.

    Such trays take floor that the search has left free. Where that is not enough, all is laid out again around those of
    the items that are worth most for their floor; the layout that leaves out less is taken.

    Args:
        spec: the job.
        contents: as laid out without such trays.
        sites: its drawers, each with what was free before.
        listed: all items that were to be placed, with their JSON Pointers.
        make: makes a tray.
        lay: lays out all items but some.
    """
    if not spec.joints or not any(_kept_out(lack) for lack in contents.unplaced):
        return contents
    joiner = _Joiner(spec, dict(listed), make, TraySizing())
    last = joiner.added(contents, sites)
    if not any(_kept_out(lack) for lack in last.unplaced):
        return last
    nothing = Contents(tuple(() for _ in sites), joiner.by_density(contents.unplaced))
    first = joiner.added(nothing, sites)
    joined = {tray.pointer for own in first.trays for tray in own}
    if not joined:
        return _with_reasons(last)
    around = [
        replace(site, bay=site.bay.less((tray.at, tray_halves(tray.tray)) for tray in own))
        for site, own in zip(sites, first.trays, strict=True)
    ]
    rest = lay(around, joined)
    again = joiner.added(rest, around)
    again = replace(again, trays=tuple((*own, *more) for own, more in zip(first.trays, again.trays, strict=True)))
    return _with_reasons(min(last, again, key=joiner.loss))


@dataclass(frozen=True)
class _Joiner:
    """Finds jointed trays for the items of a job, by their JSON Pointers."""

    spec: Spec
    items: Mapping[str, Item]
    make: Make
    sizing: TraySizing

    def added(self, contents: Contents, sites: Sequence[Site]) -> Contents:
        """Return a layout with jointed trays for what the bed kept out, on free floor, in the order of the list."""
        trays = [list(own) for own in contents.trays]
        bays = [
            site.bay.less((tray.at, tray_halves(tray.tray)) for tray in own if not tray.z)
            for site, own in zip(sites, contents.trays, strict=True)
        ]
        unplaced: list[Unplaced] = []
        for lack in contents.unplaced:
            item = self.items.get(lack.pointer)
            if not _kept_out(lack) or item is None or lack.count != item.count:
                unplaced.append(lack)
                continue
            every = (
                (index, tray)
                for index, site in enumerate(sites)
                if lack.drawer in {None, site.name}
                for tray in self.trays(index, site, bays[index], (lack.pointer, item))
            )
            placed = next(every, None)
            if placed is None:
                unplaced.append(lack)
                continue
            index, tray = placed
            trays[index].append(tray)
            bays[index] = bays[index].less([(tray.at, tray_halves(tray.tray))])
        return Contents(tuple(tuple(own) for own in trays), tuple(unplaced))

    def trays(self, index: int, site: Site, bay: Bay, listed: ListedItem) -> Iterator[HoldingTray]:
        """Yield jointed trays that hold all of an item and have a free place in a drawer, the smallest first."""
        pointer, item = listed
        free = without_bed(site)
        sizes = frozenset(
            halves for halves in free.footprints if not site.prints(halves) and bay.corners(bay.bits, *halves)
        )
        stock = free.assortment([item])
        every = (column for column in self.sizing.trays(item, free, sizes) if column.draft is None)
        for column in islice(every, _MOST_SIZES):
            at = next(bay.spots(bay.corners(bay.bits, *column.halves)))
            tray = _tray(site, column, item.name)
            try:
                made = self.make(index, tray, at)
            except TrayError:
                continue
            cost = stock.tray_cost(column.halves, column.plastic) + (len(made.parts) - 1) * stock.weights.tray
            holding = Holding(item, item.count, pointer, pointer, (0, 0))
            held = fill_tray(self.spec, index, tray, [holding], made.whole)
            if stock.worths[0] <= cost or held.unplaced:
                continue
            try:
                self.make(index, held.tray, at)  # a label is another thing that a cut must keep clear of
            except TrayError:
                continue
            yield HoldingTray(held, at, pointer, cost)

    def by_density(self, unplaced: Iterable[Unplaced]) -> tuple[Unplaced, ...]:
        """Return what the bed kept out, what is worth most for the size of a single one first."""
        weights = WEIGHTS[self.spec.layout.profile]

        def density(lack: Unplaced) -> tuple[float, str]:
            item = self.items[lack.pointer]
            return -worth(item, weights) / longest(item.plain), lack.pointer

        kept_out = (lack for lack in unplaced if _kept_out(lack) and lack.pointer in self.items)
        return tuple(sorted(kept_out, key=density))

    def loss(self, contents: Contents) -> float:
        """Return the worth of what a layout leaves out, and the cost of its jointed trays, in minutes."""
        weights = WEIGHTS[self.spec.layout.profile]
        lost = 0.0
        for lack in contents.unplaced:
            item = self.items.get(lack.pointer)
            lost += 0.0 if item is None else worth(item, weights) * lack.count / item.count
        return lost + sum(tray.cost for own in contents.trays for tray in own if isinstance(tray, HoldingTray))


def _with_reasons(contents: Contents) -> Contents:
    """Return a layout whose reasons say that trays in pieces were tried for what the bed kept out."""
    unplaced = (
        replace(lack, reason=f"{lack.reason} No tray in pieces has room for it either.") if _kept_out(lack) else lack
        for lack in contents.unplaced
    )
    return replace(contents, unplaced=tuple(unplaced))


def _kept_out(lack: Unplaced) -> bool:
    return lack.cause == "bed"


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
