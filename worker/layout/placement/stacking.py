"""Stacking: trays on trays, if floor space is short and the drawer high enough.

A load is one tray that is wanted, with the options that it has; a pile is loads that stand on one place, the bottom one
first. A tray stands in the stacking rim of one of its own size, as deep as a tile is high.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import combinations

from worker.layout.placement.placement_problem import ACCESSES, Request, SizeChoice, Spot
from worker.layout.storage.sizing_rules import DrawerLimits
from worker.layout.storage.tray_option import Option
from worker.layout.tray.interior import on_grid
from worker.spec.items.item import Item
from worker.spec.tolerances import LENGTH_EPSILON

__all__ = ["Anchor", "Load", "Pile", "heights", "piled", "requests", "top"]


@dataclass(frozen=True)
class Load:
    """One tray that is wanted: the items in it, and every tray that would do."""

    items: tuple[Item, ...]
    options: tuple[Option, ...]

    @property
    def stacks(self) -> bool:
        """Whether trays may stand over or under it."""
        return all(item.stacks and item.at is None and item.near is None and not item.fixed for item in self.items)

    @property
    def access_rank(self) -> int:
        """How often it is wanted: 0 often, 1 sometimes, 2 rarely."""
        return min(ACCESSES.index(item.access) for item in self.items)

    @property
    def mass(self) -> float:
        """Grams that lie in it, as far as known."""
        return sum((item.mass or 0.0) * item.count for item in self.items)

    @cached_property
    def area(self) -> int:
        """The fewest half cells that it takes."""
        return min(option.area for option in self.options)

    @cached_property
    def plastic(self) -> float:
        """The least plastic that it takes, in mm3."""
        return min(option.plastic for option in self.options)


@dataclass(frozen=True)
class Pile:
    """Loads on one place, bottom first, and the ways to pile them: an option each."""

    loads: tuple[Load, ...]
    ways: tuple[tuple[Option, ...], ...]

    @staticmethod
    def of(load: Load) -> "Pile":
        """Return a tray alone."""
        return Pile((load,), tuple((option,) for option in load.options))

    @cached_property
    def area(self) -> int:
        """The fewest half cells that it takes."""
        return min(way[0].area for way in self.ways)

    @property
    def items(self) -> Iterator[Item]:
        """Yield the items in it."""
        for load in self.loads:
            yield from load.items

    def request(self, near: tuple[int, ...]) -> Request:
        """Return what is asked of the placer."""
        first = self.loads[0].items[0]
        kinds = [ACCESSES.index(item.access) for item in self.items]
        groups = {item.group for item in self.items if item.group is not None}
        # whole cells by the half cell, as the placer counts
        pin: Spot | None = None if first.at is None else (round(2.0 * first.at[0]), round(2.0 * first.at[1]))
        return Request(
            name=", ".join(item.name for item in self.items),
            choices=tuple(SizeChoice(*way[0].halves, sum(option.plastic for option in way)) for way in self.ways),
            holds=(kinds.count(0), kinds.count(1), kinds.count(2)),
            group=groups.pop() if len(groups) == 1 else None,
            near=near,
            pin=pin,
        )


@dataclass(frozen=True)
class Anchor:
    """A tray that stays where it stands: what belongs to the items in it is to stand near it."""

    items: tuple[Item, ...]
    at: Spot
    halves: tuple[int, int]

    def request(self, near: tuple[int, ...]) -> Request:
        """Return it as a request with one place and one size; it holds nothing that is still to be placed."""
        groups = {item.group for item in self.items if item.group is not None}
        return Request(
            name=", ".join(item.name for item in self.items),
            choices=(SizeChoice(*self.halves),),
            holds=(0, 0, 0),
            group=groups.pop() if len(groups) == 1 else None,
            near=near,
            pin=self.at,
        )


def requests(piles: Sequence[Pile], anchors: Sequence[Anchor] = ()) -> tuple[Request, ...]:
    """Return what is asked of the placer: a request an anchor and a pile, in order, with who is to stand near whom.

    Anchors come first: nothing else has a claim to their places.
    """
    both: tuple[Anchor | Pile, ...] = (*anchors, *piles)
    where = {item.name: index for index, load in enumerate(both) for item in load.items}
    return tuple(
        load.request(tuple(where[item.near] for item in load.items if item.near is not None and item.near in where))
        for load in both
    )


def piled(piles: Sequence[Pile], ground: DrawerLimits, limit: float) -> Iterator[tuple[Pile, ...]]:
    """Yield the piles with two of them made one, those that save most floor, again and again while that saves any.

    Args:
        piles: to begin with.
        ground: the drawer's.
        limit: the highest that a pile may reach, in mm over the drawer's bottom.
    """
    current = list(piles)
    while True:
        best: tuple[int, int, int, Pile] | None = None
        stacking = [index for index, pile in enumerate(current) if all(load.stacks for load in pile.loads)]
        for first, other in combinations(stacking, 2):
            both = current[first].area + current[other].area
            if best is not None and both - max(current[first].area, current[other].area) <= best[0]:
                continue
            pile = _pile((*current[first].loads, *current[other].loads), ground, limit)
            if pile is not None and both - pile.area > (best[0] if best is not None else 0):
                best = both - pile.area, first, other, pile
        if best is None:
            return
        _, first, other, pile = best
        current[first] = pile
        del current[other]
        yield tuple(current)


def _pile(loads: Iterable[Load], ground: DrawerLimits, limit: float) -> Pile | None:
    """Return these loads as one pile, or None when the drawer is too low or their trays have no size in common.

    What is wanted more often stands higher, the heavier of two alike lower.
    """
    order = sorted(loads, key=lambda load: (-load.access_rank, -load.mass))
    sizes = set.intersection(*({option.halves for option in load.options} for load in order))
    ways = [way for halves in sorted(sizes) if (way := _way(order, halves, ground, limit)) is not None]
    return Pile(tuple(order), tuple(sorted(ways, key=lambda way: way[0].area))) if ways else None


def _way(
    order: Sequence[Load], halves: tuple[int, int], ground: DrawerLimits, limit: float
) -> tuple[Option, ...] | None:
    """Return the lowest way to pile trays of one size, or None when the drawer is too low."""
    way: list[Option] = []
    for load in order:
        under = load is not order[-1]
        fits = [
            option for option in load.options if option.halves == halves and (option.rim == "stacking" or not under)
        ]
        if not fits:
            return None
        way.append(min(fits, key=lambda fit: (fit.top, fit.plastic)))
    return tuple(way) if top(way, ground) <= limit + LENGTH_EPSILON else None


def heights(way: Sequence[Option], ground: DrawerLimits) -> tuple[float, ...]:
    """Return how high over the drawer's bottom each tray of a pile stands."""
    levels = [0.0]
    for option in way[:-1]:
        levels.append(on_grid(levels[-1] + option.height - ground.joint.height))
    return tuple(levels)


def top(way: Sequence[Option], ground: DrawerLimits) -> float:
    """Return the highest point of a pile and what is in it."""
    return on_grid(heights(way, ground)[-1] + way[-1].top)
