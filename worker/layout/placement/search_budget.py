"""The search budget: effort by number of items, so that even the largest permitted job takes only seconds.

It is counted, never timed: the same spec gives the same answer on any machine.
"""

from collections.abc import Sequence
from typing import Final, TypeVar

from worker.spec.items.item import Item

__all__ = ["THOROUGH", "companies", "eased"]

#: Kinds in one drawer up to which everything is tried (own choice): nobody has found a drawer of more.
THOROUGH: Final = 60

#: So many kinds are weighed against each other at a time: three of them can be taken in 11,480 ways.
_COMPANY: Final = 42

_LoadT = TypeVar("_LoadT")


def eased(most: int, kinds: int, least: int = 0) -> int:
    """Return how often to try what takes time by the kinds: ``most`` for as many as are thorough, fewer for more."""
    return max(least, most * THOROUGH // max(kinds, THOROUGH))


def companies(loads: Sequence[_LoadT], firsts: Sequence[Item]) -> list[list[_LoadT]]:
    """Return trays in companies whose kinds may share: one for all, or several, those of one group one after another.

    Args:
        loads: the trays.
        firsts: the first item of each, in the same order.
    """
    if len(loads) <= _COMPANY:
        return [list(loads)]
    groups: dict[str | None, int] = {}
    for item in firsts:
        groups.setdefault(item.group, len(groups))
    order = sorted(range(len(loads)), key=lambda index: groups[firsts[index].group])
    return [[loads[index] for index in order[at : at + _COMPANY]] for at in range(0, len(order), _COMPANY)]
