"""Regrouping: the things of two trays divided anew between them, so that fewer groups lie in both.

The trays keep their places and footprints. The search chooses trays one by one and seldom comes upon two that have to
change together; here every way of dividing the things of a pair is compared.
"""

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Final

import numpy as np

from worker.layout.placement.columns.assortment import Assortment
from worker.layout.placement.columns.family_patterns import MOST_MEMBERS
from worker.layout.placement.columns.shared_patterns import SharedPatterns
from worker.layout.placement.columns.tray_columns import Column, ColumnKey, Footprint
from worker.layout.placement.search.region_solver import Standing

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["regrouped"]

#: Times that all pairs are looked at, at most.
_ROUNDS: Final = 3

#: Trays that cost less by no more than this, in minutes, are not worth a change.
_GAIN: Final = 0.3


def regrouped(stock: Assortment, standing: Sequence[Standing]) -> list[Standing]:
    """Return trays in the same places with the same things, divided among them at less cost.

    Args:
        stock: the things.
        standing: the trays in their places.
    """
    trays = list(standing)
    seen: set[tuple[ColumnKey, ColumnKey]] = set()
    for _ in range(_ROUNDS):
        changed = False
        for first in range(len(trays)):
            for second in range(first):
                pair = trays[first][0], trays[second][0]
                key = pair[0].key, pair[1].key
                divided = None if key in seen else _divided(stock, *pair)
                seen.add(key)
                if divided is not None:
                    trays[first], trays[second] = (divided[0], trays[first][1]), (divided[1], trays[second][1])
                    changed = True
        if not changed:
            break
    return trays


def _divided(stock: Assortment, first: Column, second: Column) -> tuple[Column, Column] | None:
    """Return two trays of these footprints with all that is in both, at less cost; None where there are none."""
    if not all(_whole(stock, column) for column in (first, second)):
        return None
    uses = [{stock.uses[index] for index, _ in column.counts} - {None} for column in (first, second)]
    members = tuple(sorted(index for column in (first, second) for index, _ in column.counts))
    if not uses[0] & uses[1] or len(uses[0] | uses[1]) == 1 or len(members) > MOST_MEMBERS:
        return None
    alike = _alike(stock, members)
    costs = {halves: _costs(_patterns(stock, members, halves), alike) for halves in (first.halves, second.halves)}
    total = costs[first.halves] + costs[second.halves][::-1]  # a subset in one, the rest in the other
    subset = int(total.argmin())
    if not total[subset] < first.cost + second.cost - _GAIN:
        return None
    inside = [member for k, member in enumerate(members) if subset >> k & 1]
    made = (
        _tray_for(stock, inside, first.halves),
        _tray_for(stock, [member for member in members if member not in inside], second.halves),
    )
    if made[0] is None or made[1] is None or made[0].cost + made[1].cost > first.cost + second.cost - _GAIN:
        return None
    return made[0], made[1]


def _tray_for(stock: Assortment, members: Sequence[int], halves: Footprint) -> Column | None:
    """Return the tray of a footprint for these members as it is sized for them alone: a later plan finds it again."""
    patterns = _patterns(stock, tuple(members), halves)
    numbers = np.flatnonzero(patterns.subsets == (1 << len(members)) - 1)
    return patterns.column(int(numbers[0])) if len(numbers) else None


def _whole(stock: Assortment, column: Column) -> bool:
    """Return whether a tray in one piece holds whole kinds in compartments."""
    kinds = {index for index, _ in column.counts}
    return (
        column.draft is None
        and stock.cut(column.halves) is None
        and len(kinds) == len(column.counts)
        and all(count == stock.items[index].count for index, count in column.counts)
    )


def _alike(stock: Assortment, members: Sequence[int]) -> "NDArray[np.bool_]":
    """Return which subsets of members may share a tray, ``(2^n,)``; not the empty one."""
    subsets = np.arange(1 << len(members))
    alike = np.zeros(len(subsets), dtype=np.bool_)
    for family in stock.families:
        outside = sum(1 << k for k, member in enumerate(members) if member not in family)
        alike |= (subsets & outside) == 0
    alike[0] = False
    return alike


def _patterns(stock: Assortment, members: tuple[int, ...], halves: Footprint) -> SharedPatterns:
    """Return the patterns of members in trays of one footprint."""
    return SharedPatterns(replace(stock, families=(members,), footprints=frozenset({halves})), members)


def _costs(patterns: SharedPatterns, alike: "NDArray[np.bool_]") -> "NDArray[np.float64]":
    """Return what a tray for each subset costs, ``(2^n,)``, endless where there is none."""
    costs = np.full(len(alike), np.inf)
    costs[patterns.subsets] = patterns.costs
    costs[~alike] = np.inf
    return costs
