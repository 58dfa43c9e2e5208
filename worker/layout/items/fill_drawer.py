"""Filling a drawer: the items of one drawer in trays, each tray in its position."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import islice
from math import prod
from typing import Final

from worker.layout.items.drawer_site import Site
from worker.layout.items.tray_requests import alone, loadings
from worker.layout.placement.cp_sat import fitted
from worker.layout.placement.greedy import allowance, best_greedy, best_of_three, plain_fits
from worker.layout.placement.placement_problem import Bay, Bill, Fit, GridPlace, Request, Score, Spot, bill, score
from worker.layout.placement.search_budget import eased
from worker.layout.placement.stacking import Pile, heights, piled, requests
from worker.layout.storage.tray_option import Option
from worker.spec.items.item import Item

__all__ = ["Settled", "Stock", "stock"]


#: So many trays, at most, are put on others.
_MOST_PILES: Final = 12

#: As many ways to share are there.
_MOST_WAYS: Final = 5

#: What a half cell nearer to the front or to its group is worth, in hundredths of a cubic centimetre (own choice).
_HALF_CELL: Final = 1000.0

#: What is left of the time after each way to share that is of no use.
_LEFT: Final = 0.5

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
        stands: list[Settled] = []
        for pile, place in zip(self.piles, self.fit.places, strict=True):
            if place is not None:
                way = pile.ways[place.choice]
                rises = heights(way, self.site.ground)
                for load, option, z in zip(pile.loads, way, rises, strict=True):
                    stands.append(Settled(load.items, option, (place.x, place.y), z))
        return tuple(sorted(stands, key=lambda stand: (stand.at[1], stand.at[0], stand.z)))

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


def stock(items: Sequence[Item], site: Site, *, share_of_time: float = 1.0) -> Stock:
    """Return a drawer with these items placed as well as can be.

    Kinds share trays, and all trays stand on the floor when they have room there. Otherwise trays that may are piled,
    as few as need be. Each kind gets its own tray when more find room so, or when a plain fit of such trays is better
    in any way than each way to share.

    Args:
        items: the items, in the order of the list.
        site: the drawer.
        share_of_time: of the job's time that this drawer may take.
    """
    if not items:
        return Stock(site)
    single = alone(items, site)
    sized = {id(item) for load in single for item in load.items}
    unsized = tuple(item for item in items if id(item) not in sized)
    apart: tuple[tuple[Pile, ...], Score] | None = None
    wants = _requests([Pile.of(load) for load in single], site)
    plain = plain_fits(wants, site.open)
    least = allowance(wants, plain)
    for loads in islice(loadings(single, site, share_of_time=share_of_time), eased(_MOST_WAYS, len(single), 1)):
        if len(loads) == len(single):
            continue
        piles, reached = _roomy([Pile.of(load) for load in loads], site)
        if any(reached.missing):
            apart = apart or _roomy([Pile.of(load) for load in single], site)
            if apart[1] < reached:
                continue
        result = _fitted(piles, site, share_of_time, unsized, tight=True, apart=least)
        if _holds(result, wants, plain):
            return result
        share_of_time *= _LEFT
    apart = apart or _roomy([Pile.of(load) for load in single], site)
    return _fitted(apart[0], site, share_of_time, unsized)


def _fitted(
    piles: Sequence[Pile],
    site: Site,
    share: float,
    unsized: tuple[Item, ...],
    *,
    tight: bool = False,
    apart: Bill | None = None,
) -> Stock:
    fit = fitted(_requests(piles, site), site.open, share=share, tight=tight, apart=apart)
    return Stock(site, tuple(piles), Fit(fit.places[len(site.anchors) :]), unsized)


def _requests(piles: Sequence[Pile], site: Site) -> tuple[Request, ...]:
    """Return what is asked of the placer: anchors first."""
    return requests(piles, site.anchors)


def _holds(stocked: Stock, required: Sequence[Request], plain: Iterable[Fit]) -> bool:
    """Return whether a drawer is no worse than plain fits of a tray a kind: by the objectives, in plastic, in floor."""
    site = stocked.site
    requested = _requests(stocked.piles, site)
    anchored = tuple(GridPlace(*anchor.at, 0) for anchor in site.anchors)
    whole = Fit((*anchored, *stocked.fit.places))
    reached = score(requested, whole)
    # each tray of a pile is printed
    floor = sum(settled.option.area for settled in stocked.settled) + sum(
        prod(anchor.halves) for anchor in site.anchors
    )
    for fit in plain:
        theirs = score(required, fit)
        if theirs < reached or (theirs.missing == reached.missing and _sum(theirs) < _sum(reached)):
            return False
        if None not in fit.places and not Bill(reached.plastic, floor).within(bill(required, fit)):
            return False
    return True


def _sum(reached: Score) -> float:
    """Return what a score adds up to in half cells."""
    return reached.front + reached.spread + reached.plastic / _HALF_CELL


def _roomy(piles: Sequence[Pile], site: Site) -> tuple[tuple[Pile, ...], Score]:
    """Return the piles as they are when all have room so, or with as many of them on others as it takes.

    The score is that of a greedy fit.
    """
    best = tuple(piles)
    requested = _requests(best, site)
    least = min(score(requested, greedy(requested, site.open)) for greedy in (best_of_three, best_greedy))
    if any(least.missing):
        for trial in islice(piled(best, site.ground, site.limit), eased(_MOST_PILES, len(best), 1)):
            requested = _requests(trial, site)
            result = score(requested, best_greedy(requested, site.open))
            if result < least:
                best, least = trial, result
            if not any(result.missing):
                break
    return best, least
