"""Simulated annealing of shared trays: items move between trays, and change places, to save floor.

Merging alone never takes apart what it put together. This does, by simulated annealing (Kirkpatrick, Gelatt and Vecchi
1983): a move that costs floor is taken with a chance that falls to almost nothing. Moves are counted, never timed, and
chance begins with the same seed, so the same kinds give the same answer.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from math import exp
from random import Random
from typing import Final, NamedTuple

from worker.layout.items.compartment_widths import Pool
from worker.layout.placement.stacking import Load

__all__ = ["regrouped"]

#: Half cells that are lost with a chance of 1/e at the beginning and at the end.
_WARM: Final = 4.0
_COLD: Final = 0.05

#: One move in so many exchanges two kinds; the others move one.
_EXCHANGE: Final = 3

#: What a half cell that the front lacks for what is used often costs, in half cells of floor (own choice).
_FRONT: Final = 4.0


class _Tray(NamedTuple):
    """What a tray for some kinds takes: half cells of floor, mm2 that are needed of it, half cells of the front."""

    floor: int
    need: float
    front: int


_NOTHING: Final = _Tray(0, 0.0, 0)


def regrouped(
    single: Sequence[Load],
    groups: Sequence[Sequence[int]],
    pool: Pool,
    *,
    across: int,
    suits: Callable[[Sequence[Load]], bool],
    moves: int,
) -> list[tuple[int, ...]]:
    """Return which kinds share a tray: what covers least floor and lets what is used often stand at the front.

    Args:
        single: a tray for each kind.
        groups: where to begin: the kinds of each tray, by their index.
        pool: the kinds, in the same order.
        across: half cells that the drawer has from left to right.
        suits: whether these may share a tray.
        moves: how many are tried; the same number gives the same answer.
    """
    annealing = _Annealing(single, pool, across, suits)
    return annealing.run([sum(1 << kind for kind in group) for group in groups], moves)


@dataclass
class _Annealing:
    """Kinds in trays; a tray is known by its kinds, as the bits of one number."""

    single: Sequence[Load]
    pool: Pool
    across: int
    suits: Callable[[Sequence[Load]], bool]
    trays: dict[int, _Tray | None] = field(default_factory=lambda: {0: _NOTHING})

    def __post_init__(self) -> None:
        """Note what each kind's own tray takes."""
        for kind, load in enumerate(self.single):
            small = [option.halves for option in load.options if option.area == load.area]
            front = min(map(min, small)) if load.access_rank == 0 else 0
            self.trays[1 << kind] = _Tray(load.area, 0.0, front)
        fronts = (tray.front for tray in self.trays.values() if tray is not None)
        # where even the kinds' own trays have no room at the front, theirs is all that is asked for
        self.across = max(self.across, sum(fronts))

    def tray(self, kinds: int) -> _Tray | None:
        """Return what a tray for these kinds takes, or None when they cannot share one."""
        if kinds not in self.trays:
            self.trays[kinds] = self._tray(kinds)
        return self.trays[kinds]

    def _tray(self, kinds: int) -> _Tray | None:
        members = _members(kinds)
        loads = [self.single[kind] for kind in members]
        if not self.suits(loads):
            return None
        (cover,) = self.pool.covers([members])
        if cover is None:
            return None
        return _Tray(cover.floor, cover.need, cover.short if any(load.access_rank == 0 for load in loads) else 0)

    def cost(self, floor: int, front: int) -> float:
        """Return what a way to share costs, in half cells."""
        return floor + _FRONT * max(front - self.across, 0)

    def run(self, trays: list[int], moves: int) -> list[tuple[int, ...]]:
        """Return the kinds of each tray after so many moves, in the best way that was seen."""
        random = Random(0)
        taken = [self.tray(kinds) or _NOTHING for kinds in trays]
        floor, front = sum(load.floor for load in taken), sum(load.front for load in taken)
        need = sum(load.need for load in taken)
        best, least = list(trays), (self.cost(floor, front), need)
        for move in range(moves):
            heat = _WARM * (1.0 - move / moves) + _COLD
            drawn = self.drawn(trays, random)
            if drawn is None:
                continue
            source, other, first, second = drawn
            before = self.tray(trays[source]), self.tray(trays[other]) if other < len(trays) else _NOTHING
            after = self.tray(first), self.tray(second)
            if None in after or None in before:
                continue
            more = [
                sum(tray[at] for tray in after if tray is not None)
                - sum(tray[at] for tray in before if tray is not None)
                for at in range(3)
            ]
            worse = self.cost(floor + int(more[0]), front + int(more[2])) - self.cost(floor, front)
            if worse > 0.0 and random.random() >= exp(-worse / heat):
                continue
            floor, need, front = floor + int(more[0]), need + more[1], front + int(more[2])
            trays = [kinds for index, kinds in enumerate(trays) if index not in {source, other}]
            trays += [kinds for kinds in (first, second) if kinds]
            if (self.cost(floor, front), need) < least:
                best, least = list(trays), (self.cost(floor, front), need)
        return [tuple(_members(kinds)) for kinds in best]

    def drawn(self, trays: list[int], random: Random) -> tuple[int, int, int, int] | None:
        """Return a move of chance: two trays by their index, the second may be a new one, and their kinds after it."""
        source = random.randrange(len(trays))
        own = _members(trays[source])
        gone = 1 << random.choice(own)
        if random.randrange(_EXCHANGE) == 0:
            other = random.randrange(len(trays))
            theirs = _members(trays[other])
            if other == source or len(own) == len(theirs) == 1:
                return None
            come = 1 << random.choice(theirs)
            return source, other, trays[source] - gone + come, trays[other] - come + gone
        other = random.randrange(len(trays) + 1)
        if other == source or (other == len(trays) and len(own) == 1):
            return None
        return source, other, trays[source] - gone, (trays[other] if other < len(trays) else 0) + gone


def _members(kinds: int) -> list[int]:
    """Return the indices of the set bits."""
    members = []
    while kinds:
        low = kinds & -kinds
        members.append(low.bit_length() - 1)
        kinds ^= low
    return members
