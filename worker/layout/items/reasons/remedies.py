"""Remedies: changes that give an item a place, each tried before it is offered.

Tried means: a drawer of few kinds was filled again with the change, and lost nothing; in one of many kinds, a tray for
the item was sized by the same rules and had a free place in the layout at hand. Trials are counted, and their number is
bounded by the effort.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property, partial
from itertools import islice
from math import ceil
from typing import Any, Final

from worker.layout.items.bisection import most_with
from worker.layout.items.filling.drawer_site import Site
from worker.layout.items.filling.drawer_stock import Stock, fill_drawer
from worker.layout.items.filling.stacked_trays import stack_trays
from worker.layout.items.filling.tray_sizing import ANY_HEIGHT, TraySizing, with_height
from worker.layout.items.filling.trays_below import trays_below
from worker.layout.items.reasons.leaving_out import LeavingOut
from worker.layout.items.reasons.shortage import least_bed, least_height, with_bed
from worker.layout.placement.bay import Bay, Spot
from worker.layout.storage.sizing_rules import FRAME_AIR
from worker.spec import Spec
from worker.spec.items.item import Item, Storage
from worker.spec.items.layout import Effort

__all__ = ["Trials", "remedy"]

#: How often trays are sized for remedies of one plan, at most, and how often a drawer is filled again.
_MOST_SIZINGS: Final[Mapping[Effort, int]] = {"quick": 300, "normal": 1000, "thorough": 5000}
_MOST_REFILLS: Final[Mapping[Effort, int]] = {"quick": 0, "normal": 2, "thorough": 6}

#: So many other pitches of the grid are tried.
_MOST_PITCHES: Final = 3

#: Regions that the search clears when a drawer is filled again.
_MOVES: Final = 4

#: For one item at most this part of all trials is made.
_SHARE: Final = 4

#: Drawers of so few kinds are filled again for each trial; others where this leaves enough trials. To fill a drawer is
#: as much work as to size trays so many times for each kind.
_FEW_KINDS: Final = 6
_REFILL: Final = 3
_REFILLS_LEFT: Final = 20

#: Looking for room below trays counts as so many sizings: it takes 6 to 26 ms in five drawers of 25 kinds.
_BELOW: Final = 10

#: A count is offered first when it is at least this share of all; else after what keeps all of them.
_MOST_OF_THEM: Final = 0.7

#: Floor is not gained by a drawer higher than so many times the one at hand.
_HIGHER: Final = 1.5

#: A larger drawer is tried up to so many cells more.
_MORE_CELLS: Final = 4


@dataclass
class Trials:
    """What may still be tried for the items of one plan, and what was.

    ``repitched`` are the drawers on grids of other pitches, of jobs with one drawer in which nothing stands.
    """

    spec: Spec
    stocks: Sequence[Stock]
    sizings: int
    refills: int
    repitched: Iterable[Site] = ()
    sizing: TraySizing = field(default_factory=TraySizing)
    _changed: dict[tuple[str, float, bool], set[int]] = field(default_factory=dict)

    @staticmethod
    def of(spec: Spec, stocks: Sequence[Stock], effort: Effort, repitched: Iterable[Site] = ()) -> "Trials":
        """Return the trials that an effort allows for these drawers, which may be on grids of other pitches."""
        return Trials(spec, stocks, _MOST_SIZINGS[effort], _MOST_REFILLS[effort], repitched)

    @cached_property
    def other_pitches(self) -> tuple[Site, ...]:
        """The drawer on grids of other pitches, those that cover most of it first."""
        return tuple(islice(self.repitched, _MOST_PITCHES))

    @property
    def refilling(self) -> bool:
        """Whether drawers of many kinds are filled again, or were."""
        return self.refills > 0 or bool(self._changed)

    @property
    def exhausted(self) -> bool:
        """Whether nothing more is tried."""
        return self.sizing.count >= self.sizings

    def may_refill(self, stock: Stock) -> bool:
        """Return whether a drawer has so few kinds that it is filled again for each trial."""
        kinds = len(stock.assortment.items)
        return kinds <= _FEW_KINDS or self.sizings - self.sizing.count > _REFILLS_LEFT * _REFILL * kinds

    def refilled(self, stock: Stock, items: Sequence[Item], item: Item) -> bool:
        """Return whether one of the items has a place for all its things when a drawer is filled again with them.

        False where another loses its place.
        """
        self.sizing.count += _REFILL * len(items)
        missing = {other.name: count for other, count in stock.missing}
        tried = fill_drawer(stock.site, items, moves=0)
        return not any(other is item or count > missing.get(other.name, 0) for other, count in tried.missing)

    def placed_on(self, stock: Stock, site: Site) -> set[int]:
        """Return the items, by the identity of the object, that have a place when a drawer's grid is changed.

        It is empty where anything that has a place now would lose it, and where no more drawers are filled again.
        """
        key = site.name, site.ground.pitch, site.ground.half_cells
        if key not in self._changed:
            if not self.refills:
                return set()
            self.refills -= 1
            self._changed[key] = _placed_in(stock, site)
        return self._changed[key]


def _halved(site: Site) -> Site:
    """Return a drawer in which trays may have half cells."""
    return replace(site, ground=replace(site.ground, half_cells=True), bay=replace(site.bay, step=1))


def _placed_in(stock: Stock, site: Site) -> set[int]:
    tried = fill_drawer(site, stock.assortment.items, moves=_MOVES, settle=False)
    missing = {id(item): count for item, count in tried.missing}
    before = {id(item): count for item, count in stock.missing}
    if any(count > before.get(item, 0) for item, count in missing.items()):
        return set()
    return {item for item in before if item not in missing}


def remedy(item: Item, rest: Item, own: Sequence[Stock], trials: Trials) -> str | None:
    """Return the cheapest change that gives things of an item a place; None where none was found.

    Args:
        item: the item.
        rest: the same with the count of those that have no place.
        own: the drawers that it might have gone into.
        trials: what may still be tried.
    """
    case = _Case(item, rest, own, trials, trials.sizing.count + trials.sizings // _SHARE)
    return next(case.remedies(), None)


@dataclass(frozen=True)
class _Case:
    """An item without a place, wholly or in part: see `remedy`."""

    item: Item
    rest: Item
    own: Sequence[Stock]
    trials: Trials
    most: int

    def remedies(self) -> Iterator[str]:
        """Yield what helps, the cheapest first."""
        for look in (
            self._elsewhere,
            self._kept_otherwise,
            self._nearly_all,
            self._stacked,
            self._on_halves,
            self._on_other_pitch,
            self._given_up,
            self._in_pieces,
            self._larger_bed,
            self._higher,
            self._wider,
            self._some,
        ):
            spent = self.trials.exhausted or self.trials.sizing.count >= self.most
            if not spent or look == self._given_up:  # what that takes was sized for the reason
                yield from look()

    def _fits(self, stock: Stock, site: Site | None = None, **changes: Any) -> bool:
        """Return whether all things of the item have room in a drawer when it, or the item, is changed."""
        changed = stock if site is None else replace(stock, site=site)
        if self._may_refill(stock):
            here = any(other is self.item for other in stock.assortment.items)
            item = (self.item if here else self.rest).model_copy(update=changes)
            items = [item if other is self.item else other for other in stock.assortment.items]
            return self.trials.refilled(changed, items if here else [*items, item], item)
        item = self.rest.model_copy(update=changes)
        return self.trials.sizing.room(item, changed.site, changed.left) is not None

    def _fits_larger(self, stock: Stock, site: Site, largest: Site) -> bool:
        """Return whether all things of the item have room in a larger drawer; trays are sized for the largest once."""
        if self._may_refill(stock):
            return self._fits(stock, site)
        return self.trials.sizing.room(self.rest, largest, replace(stock, site=site).left) is not None

    def _may_refill(self, stock: Stock) -> bool:
        return len(self.own) == 1 and self.trials.may_refill(stock)

    def _fits_here(self, **changes: Any) -> bool:
        return any(self._fits(stock, **changes) for stock in self.own)

    def _elsewhere(self) -> Iterator[str]:
        """Yield another place, in its drawer or in another."""
        if self.item.at is not None and self._fits_here(at=None):
            yield "Leave out `at`: there is room in another place."
        for other in self.trials.stocks:
            if all(other is not stock for stock in self.own) and self._fits(other, at=None):
                yield f"Move it to drawer {other.site.name!r}: it has room there."

    def _kept_otherwise(self) -> Iterator[str]:
        """Yield another way to keep it."""
        if self.item.at is not None:
            return
        if self.item.storage is not None:
            if self._fits_here(storage=None):
                yield "Leave out `storage`: kept otherwise, it has room."
            return
        ways: tuple[tuple[Storage, str], ...] = (("rows", "lying in rows"), ("upright", "standing"))
        for storage, text in ways:
            if self._fits_here(storage=storage):
                yield f"Set `storage` to `{storage}`: {text}, it has room."

    def _nearly_all(self) -> Iterator[str]:
        """Yield a count not much smaller that has room."""
        if (few := self._fewer()) is not None and few >= _MOST_OF_THEM * self.item.count:
            yield f"Take {few} instead of {self.item.count}."

    def _some(self) -> Iterator[str]:
        """Yield any count that has room."""
        if (few := self._fewer()) is not None:
            yield f"Take {few} instead of {self.item.count}."

    def _fewer(self) -> int | None:
        """Return the largest count that has room: with one more, there is none. None when not one more has room."""
        if self.item.at is not None:
            return None
        placed = self.item.count - self.rest.count
        return most_with(placed, self.item.count, lambda count: self._fits_count(count, placed)) or None

    def _fits_count(self, count: int, placed: int) -> bool:
        """Return whether so many things have room, of which some are placed."""
        return any(self._fits(stock, count=count if self._may_refill(stock) else count - placed) for stock in self.own)

    def _stacked(self) -> Iterator[str]:
        """Yield that its tray may stand on others."""
        item = self.rest
        if item.stacks or item.at is not None or item.near is not None or item.fixed:
            return
        for stock in self.own:
            if self._stacks_on(stock):
                yield "Set `stack` to true: its tray has room on another."
                return
            if self._lies_below(stock):
                yield "Set `stack` to true: it has room below a tray that is lifted out."
                return

    def _stacks_on(self, stock: Stock) -> bool:
        """Return whether its tray has a place on others, none of which is stacked yet."""
        stackable = self.rest.model_copy(update={"stack": True})
        if stock.upper or not any(item.stacks for item in stock.assortment.items):
            return False
        items = (*stock.assortment.items, stackable)
        assortment = stock.site.assortment(items)
        missing = [(len(items) - 1, stackable.count)]
        self.trials.sizing.count += len(stock.standing)
        _, upper = stack_trays(assortment, stock.site.bay, stock.standing, missing, stock.site.limit)
        return sum(count for tray in upper for index, count in tray.column.counts if index == missing[0][0]) == (
            stackable.count
        )

    def _lies_below(self, stock: Stock) -> bool:
        """Return whether it has a place below trays of the drawer, none of which is on others yet."""
        if stock.upper:
            return False
        items = (*stock.assortment.items, self.rest.model_copy(update={"stack": True}))
        missing = [(len(items) - 1, self.rest.count)]
        self.trials.sizing.count += _BELOW
        _, upper = trays_below(stock.site.assortment(items), stock.site.bay, stock.standing, missing, stock.site.limit)
        return bool(upper)

    def _on_halves(self) -> Iterator[str]:
        """Yield half cells, where the drawer filled again with them holds it."""
        if not self.trials.spec.grid.half_cells:
            for stock in self.own:
                halved = _halved(stock.site)
                if self._fits(stock, halved) or id(self.item) in self.trials.placed_on(stock, halved):
                    yield "Set `half_cells` of the grid to true: with trays that fit more closely, it has room."
                    return

    def _on_other_pitch(self) -> Iterator[str]:
        """Yield another pitch of the grid, where the drawer filled again on it holds it."""
        for stock in self.own:
            few = self._may_refill(stock)
            for site in self.trials.other_pitches if few or self.trials.refilling else ():
                holds = self._fits(stock, site) if few else id(self.item) in self.trials.placed_on(stock, site)
                if holds:
                    size = f"{site.ground.pitch:g} mm"
                    yield f"Set `pitch` of the grid to {size}: its cells cover more of the drawer, and it has room."
                    return

    def _given_up(self) -> Iterator[str]:
        """Yield what to leave out so that there is room."""
        if (names := self._leaving_out.anything(self.own, self.most)) is not None:
            yield f"Leave out {names}: it has room then, and so has all else that has room now."

    @cached_property
    def _leaving_out(self) -> LeavingOut:
        return LeavingOut(self.trials.spec, self.item, self.rest, self.trials.sizing)

    def _in_pieces(self) -> Iterator[str]:
        """Yield what gives it a tray in pieces which has room, if need be where something else is left out."""
        sizing = self.trials.sizing
        small = [stock for stock in self.own if not sizing.trays(self.rest, stock.site)]
        joining = [replace(stock, site=replace(stock.site, joints=True)) for stock in small if not stock.site.joints]
        if any(self._fits(stock) for stock in joining):
            yield "Set `joints` to true: a tray in pieces has room for it."
        elif joining and (names := self._leaving_out.whole_trays(joining)) is not None:
            yield f"With `joints` set to true and without {names}, a tray in pieces has room for it."
        elif self.rest.label_text is not None and any(self._fits(stock, label=None) for stock in small):
            yield "Leave out `label`: without one, a tray in pieces has room for it."

    def _larger_bed(self) -> Iterator[str]:
        """Yield the bed that prints a tray for it which has room, if need be where something else is left out."""
        sizing = self.trials.sizing
        small = [stock for stock in self.own if not sizing.trays(self.rest, stock.site)]
        beds = [bed for stock in small if (bed := least_bed(stock.site, partial(self._fits, stock))) is not None]
        if beds:
            wide, deep = min(beds)
            how = ", whole or in pieces," if self.trials.spec.joints else ""
            yield f"With a bed of {wide} x {deep} mm within its margins, its tray can be printed{how} and has room."
        for stock in small:
            bed = least_bed(stock.site, lambda site: bool(sizing.trays(self.rest, site)))
            if bed is not None and (
                names := self._leaving_out.whole_trays([replace(stock, site=with_bed(stock.site, *bed))])
            ):
                size = f"{bed[0]} x {bed[1]} mm within its margins"
                yield f"With a bed of {size} and without {names}, there is room for it."
                return

    def _higher(self) -> Iterator[str]:
        """Yield the height of a drawer in which it has room: with one millimetre less, there is none."""
        printed = self.trials.spec.printer_of("tray").bed[2] + FRAME_AIR
        sizing = self.trials.sizing
        sized = any(sizing.trays(self.rest, stock.site) for stock in self.own)
        heights: list[tuple[int, str]] = []
        for stock in self.own:
            most = min(stock.site.ground.height * _HIGHER if sized else ANY_HEIGHT, printed)
            high = least_height(stock.site, most, partial(self._fits, stock))
            if high is not None:
                heights.append((high, stock.site.name))
        if heights:
            high, name = min(heights)
            yield f"With {high} mm of inner height, {self._named(name)} has room for it."
        elif not sized:
            for stock in self.own:
                high = least_height(stock.site, printed, lambda site: bool(sizing.trays(self.rest, site)))
                if high is not None:
                    higher = replace(stock, site=with_height(stock.site, float(high)))
                    if (names := self._leaving_out.whole_trays([higher])) is not None:
                        where = self._named(stock.site.name)
                        yield f"With {high} mm of inner height and without {names}, {where} has room for it."
                        return

    def _named(self, drawer: str) -> str:
        return "the drawer" if len(self.own) == 1 else f"drawer {drawer!r}"

    def _wider(self) -> Iterator[str]:
        """Yield the width or depth of a drawer in which it has room."""
        for stock in self.own:
            drawer = next(drawer for drawer in self.trials.spec.drawers if drawer.name == stock.site.name)
            if drawer.outline is not None or self.item.at is not None:
                continue
            largest = _extended(_extended(stock.site, 0, 2 * _MORE_CELLS), 1, 2 * _MORE_CELLS)
            for more in range(1, _MORE_CELLS + 1):
                for axis, side in ((0, "width"), (1, "depth")):
                    if self._fits_larger(stock, _extended(stock.site, axis, 2 * more), largest):
                        grown = ceil(more * stock.site.ground.pitch)
                        yield f"With {grown} mm more {side}, {self._named(stock.site.name)} has room for it."
                        return


def _extended(site: Site, axis: int, halves: int) -> Site:
    """Return a drawer with so many half cells more along an axis."""
    bay = site.bay
    span: Spot = (bay.across + halves, bay.back) if axis == 0 else (bay.across, bay.back + halves)
    rows = [row + (True,) * (span[0] - bay.across) for row in bay.free]
    rows += [(True,) * span[0]] * (span[1] - bay.back)
    return replace(site, ground=replace(site.ground, span=span), bay=Bay(tuple(rows), bay.step), empty=None)
