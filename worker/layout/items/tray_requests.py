"""Tray requests: the trays that items need. Items share a tray where that saves floor, or plastic within a group.

Kinds of different groups stay apart; what has no group goes with any. Two or three trays become one, those that save
most floor, in all or for each tray that goes, again and again while that saves any. Then kinds change trays while that
saves more (`anneal_kinds`). A shared tray may take more plastic: the plastic of a whole drawer is compared once all
trays have their places (`fill_drawer`).
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Final

from worker.layout.items.anneal_kinds import regrouped
from worker.layout.items.compartment_widths import MOST_TOGETHER
from worker.layout.items.drawer_site import Site
from worker.layout.placement.search_budget import companies, eased
from worker.layout.placement.stacking import Load
from worker.layout.storage.compartment import Kind
from worker.spec.items.item import Item

__all__ = ["alone", "loadings", "loads"]

#: So many trays, at most, become one at a time.
_MOST_AT_ONCE: Final = 3

#: Kinds change trays so often, at most, in all drawers of a job together: a tenth of a second for thirty.
_MOVES: Final = 8000

#: A kind is small when its own tray covers no more half cells than this (own choice): two cells.
_SMALL: Final = 8


def alone(items: Sequence[Item], site: Site) -> tuple[Load, ...]:
    """Return a tray for each item, in order; items without any are left out."""
    loads = (Load((item,), site.options(item)) for item in items)
    return tuple(load for load in loads if load.options)


def loads(items: Sequence[Item], site: Site) -> tuple[Load, ...]:
    """Return the trays that these items want, in the order of their first items.

    Items without any tray are left out.
    """
    return next(loadings(alone(items, site), site))


def loadings(single: Sequence[Load], site: Site, *, share_of_time: float = 1.0) -> Iterator[tuple[Load, ...]]:
    """Yield the ways to share trays, each as `loads` gives it: what covers least floor first, then takes least plastic.

    Then comes one in which often used kinds share with their like only, so that all of them have room at the front, and
    one in which no tray takes more plastic than those that it stands for. No way takes more than a tray for each item.

    Args:
        single: a tray for each item, in order.
        site: the drawer.
        share_of_time: of the job's time that this drawer may take.
    """
    order = {id(load.items[0]): index for index, load in enumerate(single)}
    free = [load for load in single if _shares(load.items[0])]
    kept = [load for load in single if not _shares(load.items[0])]
    mergings = [_Merging(site, order, some) for some in companies(free, [load.items[0] for load in free])]

    def sorted_(some: Iterable[Load]) -> tuple[Load, ...]:
        return tuple(sorted((*kept, *some), key=lambda load: order[id(load.items[0])]))

    def merged(
        rank: Callable[[_Offer], tuple[float, float]], *, light: bool = False, often: bool = False
    ) -> tuple[Load, ...]:
        return sorted_(load for merging in mergings for load in merging.merged(rank, light=light, often=often))

    def ways() -> Iterator[tuple[Load, ...]]:
        whole = merged(_Offer.whole)
        moves = eased(round(_MOVES * share_of_time), len(single))
        changed = sorted_(load for merging in mergings for load in merging.regrouped(whole, moves))
        yield from sorted((changed, whole), key=_takes)
        yield merged(_Offer.each)
        yield merged(_Offer.whole, often=True)

    kinds: list[list[list[int]]] = []
    for way in ways():
        if _plastic(way) <= _plastic(single) and _kinds(way) not in kinds:
            kinds.append(_kinds(way))
            yield way
    light = merged(_Offer.whole, light=True)
    if _kinds(light) not in kinds:
        yield light


def _takes(loads: Sequence[Load]) -> tuple[int, float]:
    """Return the floor and the plastic that trays take."""
    return sum(load.area for load in loads), _plastic(loads)


def _plastic(loads: Sequence[Load]) -> float:
    return sum(load.plastic for load in loads)


def _kinds(loads: Sequence[Load]) -> list[list[int]]:
    """Return which kinds go together, to tell ways apart by."""
    return [[id(item) for item in load.items] for load in loads]


def _shares(item: Item) -> bool:
    """Return whether an item may share a tray: not one with a place of its own, pinned, fixed or near another."""
    return item.at is None and item.near is None and not item.fixed and bool(Kind.of(item).ways)


@dataclass(frozen=True, slots=True)
class _Offer:
    """Loads that may become one: what that saves of the floor, in half cells, and the mm2 that they need then."""

    saved: int
    need: float
    loads: tuple[Load, ...]

    def whole(self) -> tuple[float, float]:
        """What most saved in all goes first by."""
        return -self.saved, self.need

    def each(self) -> tuple[float, float]:
        """What most saved for each tray that goes comes first by."""
        return -self.saved / (len(self.loads) - 1), self.need


class _Merging:
    """Loads becoming fewer."""

    def __init__(self, site: Site, order: dict[int, int], single: Sequence[Load]) -> None:
        self.site, self.order, self.single = site, order, single
        self.kinds = {id(load.items[0]): index for index, load in enumerate(single)}
        self.pool = site.pool([load.items[0] for load in single])
        self.first = self.offers(group for number in _numbers() for group in combinations(single, number))

    def merged(self, rank: Callable[[_Offer], tuple[float, float]], *, light: bool, often: bool) -> list[Load]:
        """Return the loads, merged as long as that saves floor, then plastic of a group's small kinds.

        Args:
            rank: what the best offer comes first by.
            light: whether each tray takes no more plastic than those that it stands for.
            often: whether often used kinds share with their like only.
        """
        loads = list(self.single)
        offers = [load for load in self.first if not often or _alike(load.loads)]
        while offers:
            best = min(offers, key=rank)
            load = self.joined(best.loads, floor=sum(member.area for member in best.loads) - 1)
            if load is None or (light and load.plastic > sum(member.plastic for member in best.loads)):
                offers.remove(best)
                continue
            gone = {id(member) for member in best.loads}
            loads = [member for member in loads if id(member) not in gone]
            offers = [offer for offer in offers if not any(id(member) in gone for member in offer.loads)]
            others = [member for member in loads if not often or _alike((member, load))]
            offers += self.offers((load, *rest) for number in _numbers() for rest in combinations(others, number - 1))
            loads.append(load)
        return self._lighter(loads)

    def _lighter(self, loads: list[Load]) -> list[Load]:
        """Return the loads with the small kinds of a group in one tray where that saves plastic and costs no floor."""
        tried: dict[tuple[tuple[int, ...], ...], Load | None] = {}
        while True:
            best: tuple[float, Load, Load, Load] | None = None
            small = [load for load in loads if _named(load) and load.area <= _SMALL * len(load.items)]
            for first, other in combinations(small, 2):
                key = tuple(tuple(self.order[id(item)] for item in load.items) for load in (first, other))
                if _named(first) != _named(other) or not _suits((first, other)):
                    continue
                if key not in tried:
                    tried[key] = self.joined((first, other), floor=first.area + other.area)
                load = tried[key]
                saved = 0.0 if load is None else first.plastic + other.plastic - load.plastic
                if load is not None and saved > (0.0 if best is None else best[0]):
                    best = saved, first, other, load
            if best is None:
                return loads
            _, first, other, load = best
            loads = [load, *(each for each in loads if each is not first and each is not other)]

    def regrouped(self, way: Iterable[Load], moves: int) -> list[Load]:
        """Return the loads after kinds have changed trays: this way to share, or one that covers less floor.

        Args:
            way: where to begin; what is not of these kinds is left out.
            moves: how many are tried.
        """
        begun = {tuple(sorted(self.of(load))): load for load in way if id(load.items[0]) in self.kinds}
        if moves < 1 or len(begun) < 2:  # noqa: PLR2004 - nowhere else to go
            return list(begun.values())
        groups = regrouped(self.single, list(begun), self.pool, across=self.site.bay.across, suits=_suits, moves=moves)
        result: list[Load] = []
        for group in groups:
            loads = [self.single[kind] for kind in group]
            load = begun.get(group) or self.joined(loads, floor=sum(member.area for member in loads))
            result += loads if load is None else [load]
        return self._lighter(result)

    def offers(self, groups: Iterable[tuple[Load, ...]]) -> list[_Offer]:
        """Return those of these groups that save floor as one, and what they save."""
        suited = [group for group in groups if _suits(group)]
        covers = self.pool.covers([[kind for load in group for kind in self.of(load)] for group in suited])
        floors = [sum(load.area for load in group) for group in suited]
        return [
            _Offer(floor - cover.floor, cover.need, group)
            for group, floor, cover in zip(suited, floors, covers, strict=True)
            if cover is not None and cover.floor < floor
        ]

    def of(self, load: Load) -> list[int]:
        """Return a load's kinds."""
        return [self.kinds[id(item)] for item in load.items]

    def joined(self, group: Iterable[Load], *, floor: int) -> Load | None:
        """Return these loads as one that covers no more floor than this, or None."""
        group = tuple(group)
        items = sorted((item for load in group for item in load.items), key=lambda item: self.order[id(item)])
        ways = self.site.share(items, floor)
        return Load(tuple(items), ways) if ways else None


def _numbers() -> range:
    return range(2, _MOST_AT_ONCE + 1)


def _alike(group: Sequence[Load]) -> bool:
    """Return whether all of these loads are used often, or none is."""
    return len({load.access_rank == 0 for load in group}) == 1


def _named(load: Load) -> str | None:
    """Return the group of a load, if it has one."""
    return next((item.group for item in load.items if item.group is not None), None)


def _suits(group: Sequence[Load]) -> bool:
    """Return whether loads may become one: not too many kinds, no two groups; a label stands for one group only."""
    items = [item for load in group for item in load.items]
    groups = {item.group for item in items}
    if any(item.label_text is not None for item in items) and (len(groups) > 1 or None in groups):
        return False
    return len(items) <= MOST_TOGETHER and len(groups - {None}) <= 1
