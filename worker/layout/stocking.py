"""Stocking: the items of one drawer in trays, each tray in its place."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import combinations, islice
from typing import Final

from worker.layout.fitting import Bay, Fit, Score, Spot, score
from worker.layout.greedy import best_greedy, best_of_three
from worker.layout.option import Option
from worker.layout.piling import Load, Pile, heights, piled, requests
from worker.layout.site import Site
from worker.layout.solving import fitted
from worker.spec.item import Item

__all__ = ["Settled", "Stock", "loads", "stock"]


#: So many trays, at most, are put on others.
_MOST_PILES: Final = 12

_EMPTY: Final = Fit(())


@dataclass(frozen=True, slots=True)
class Settled:
    """A tray in its place: what is in it, its front left half cell, how high over the drawer's bottom it stands."""

    items: tuple[Item, ...]
    option: Option
    at: Spot
    z: float = 0.0


@dataclass(frozen=True)
class Stock:
    """A drawer with its items placed, as far as there was room."""

    site: Site
    piles: tuple[Pile, ...] = ()
    fit: Fit = _EMPTY
    unsized: tuple[Item, ...] = ()

    @cached_property
    def settled(self) -> tuple[Settled, ...]:
        """The trays in their places, front left first, those of a pile from the bottom."""
        found: list[Settled] = []
        for pile, place in zip(self.piles, self.fit.places, strict=True):
            if place is not None:
                way = pile.ways[place.choice]
                rises = heights(way, self.site.ground)
                for load, option, z in zip(pile.loads, way, rises, strict=True):
                    found.append(Settled(load.items, option, (place.x, place.y), z))
        return tuple(sorted(found, key=lambda one: (one.at[1], one.at[0], one.z)))

    @property
    def missing(self) -> tuple[Item, ...]:
        """The items without a place, those without any tray first."""
        pairs = zip(self.piles, self.fit.places, strict=True)
        return (*self.unsized, *(item for pile, place in pairs if place is None for item in pile.items))

    @property
    def items(self) -> tuple[Item, ...]:
        """The items with a place."""
        return tuple(item for stand in self.settled for item in stand.items)

    @cached_property
    def left(self) -> Bay:
        """What is still free."""
        return self.site.bay.less((stand.at, stand.option.halves) for stand in self.settled if not stand.z)


def loads(items: Sequence[Item], site: Site) -> tuple[Load, ...]:
    """Return the trays that these items want: small kinds of a group share one where that takes less plastic.

    Items without any tray are left out.
    """
    order = {id(item): index for index, item in enumerate(items)}
    ganged = {id(item) for gang in site.gangs(items) for item in gang}
    alone = [Load((item,), site.options(item)) for item in items if id(item) not in ganged]
    found = [load for load in alone if load.options]
    for gang in site.gangs(items):
        found += _together(gang, site)
    return tuple(sorted(found, key=lambda load: order[id(load.items[0])]))


def _together(gang: Sequence[Item], site: Site) -> list[Load]:
    """Return trays for the kinds of a gang: the two that save most plastic share one, again and again."""
    order = {id(item): index for index, item in enumerate(gang)}
    found = [load for load in (Load((item,), site.options(item)) for item in gang) if load.options]
    tried: dict[tuple[int, ...], Load] = {}
    while True:
        best: tuple[float, Load, Load, Load] | None = None
        for one, other in combinations(found, 2):
            both = tuple(sorted((*one.items, *other.items), key=lambda item: order[id(item)]))
            key = tuple(order[id(item)] for item in both)
            if key not in tried:
                tried[key] = Load(both, site.share(both))
            load = tried[key]
            if not load.options or load.area > one.area + other.area:
                continue
            saved = one.plastic + other.plastic - load.plastic
            if saved > (0.0 if best is None else best[0]):
                best = saved, one, other, load
        if best is None:
            return found
        _, one, other, load = best
        found = [load, *(each for each in found if each is not one and each is not other)]


def stock(items: Sequence[Item], site: Site, *, share_of_time: float = 1.0) -> Stock:
    """Return a drawer with these items placed as well as can be.

    All trays stand on the floor when they have room there. Otherwise trays that may are piled, as few as need be; when
    that is not enough, kinds that would share a tray get their own.

    Args:
        items: the items, in the order of the list.
        site: the drawer.
        share_of_time: of the job's time that this drawer may take.
    """
    if not items:
        return Stock(site)
    wanted = loads(items, site)
    sized = {id(item) for load in wanted for item in load.items}
    unsized = tuple(item for item in items if id(item) not in sized)
    piles, reached = _roomy([Pile.of(load) for load in wanted], site)
    if any(reached.missing) and any(len(load.items) > 1 for load in wanted):
        single = [Pile.of(one) for load in wanted for one in _apart(load, site)]
        piles, _ = min((piles, reached), _roomy(single, site), key=lambda one: one[1])
    return Stock(site, piles, fitted(requests(piles), site.bay, share=share_of_time), unsized)


def _apart(load: Load, site: Site) -> Iterator[Load]:
    """Yield a load a kind."""
    if len(load.items) == 1:
        yield load
        return
    for item in load.items:
        yield Load((item,), site.options(item))


def _roomy(piles: Sequence[Pile], site: Site) -> tuple[tuple[Pile, ...], Score]:
    """Return the piles as they are when all have room so, or with as many of them on others as it takes.

    The score is that of a greedy fit.
    """
    best = tuple(piles)
    wanted = requests(best)
    least = min(score(wanted, greedy(wanted, site.bay)) for greedy in (best_of_three, best_greedy))
    if any(least.missing):
        for trial in islice(piled(best, site.ground, site.limit), _MOST_PILES):
            wanted = requests(trial)
            found = score(wanted, best_greedy(wanted, site.bay))
            if found < least:
                best, least = trial, found
            if not any(found.missing):
                break
    return best, least
