"""Likeness: which things may share a tray.

Things of one group are alike, and so are things of one tag, or of one category of the catalogue, that are not of very
different sizes; a group, a tag and a category of one name are one. Others are alike when they are of a size and used
about as often, though they go together less well: the objective makes them pay for it. A family is a set of things any
two of which are alike.
"""

from collections.abc import Iterator, Sequence
from typing import Final

from worker.layout.storage.poses import longest
from worker.spec.items.item import Item, Standard, access_rank
from worker.spec.items.layout import Share

__all__ = ["families", "group_name", "use_of"]

#: Things are of a size when the longer is no more than so many times as long as the other (own choice); within a
#: category of the catalogue more.
_SIZE: Final = 2.0
_SIZE_IN_CATEGORY: Final = 3.5


def families(items: Sequence[Item], share: Share = "like") -> tuple[tuple[int, ...], ...]:
    """Return the families of things, each as indices into ``items`` in order; every thing is in one or more.

    Args:
        items: the things.
        share: `any` makes all of them one family; with `group` nothing shares by its size and use alone.
    """
    if share == "any":
        return (tuple(range(len(items))),) if items else ()
    sets = dict.fromkeys(_named(items))
    if share == "group":
        sets |= dict.fromkeys((index,) for index, item in enumerate(items) if use_of(item) is None)
    else:
        sets |= dict.fromkeys(_of_a_size(items))
    members_of = {family: frozenset(family) for family in sets}
    return tuple(family for family in sets if not any(members_of[family] < other for other in members_of.values()))


def _named(items: Sequence[Item]) -> Iterator[tuple[int, ...]]:
    """Yield the things of each group, and those of each name that are not of very different sizes."""
    by_name: dict[str, list[int]] = {}
    for index, item in enumerate(items):
        name = use_of(item)
        if name is not None:
            by_name.setdefault(name, []).append(index)
    for members in by_name.values():
        group = tuple(index for index in members if items[index].group is not None)
        if group:
            yield group
        if len(group) < len(members):
            yield from _windows(items, members, _SIZE_IN_CATEGORY)


def _of_a_size(items: Sequence[Item]) -> Iterator[tuple[int, ...]]:
    """Yield things that are of a size and used about as often."""
    for window in _windows(items, range(len(items)), _SIZE):
        for low in (0, 1):
            near = tuple(k for k in window if low <= access_rank(items[k].access) <= low + 1)
            if near:
                yield near


def group_name(item: Item) -> str | None:
    """Return the group that an item belongs to, or else its tag, or its category in the catalogue; None without any."""
    if item.group is not None or item.tag is not None:
        return item.group or item.tag
    return item.shape.entry.category if isinstance(item.shape, Standard) else None


def use_of(item: Item) -> str | None:
    """Return what an item belongs to: its group, tag or category by name, in whatever case that is spelled."""
    name = group_name(item)
    return None if name is None else name.casefold()


def _windows(items: Sequence[Item], members: Sequence[int], ratio: float) -> list[tuple[int, ...]]:
    """Return the largest sets of members of which the longest is at most so many times as long as the shortest."""
    order = sorted(members, key=lambda k: (longest(items[k].plain), k))
    windows: list[tuple[int, ...]] = []
    last = 0
    for first, k in enumerate(order):
        end = first
        while end < len(order) and longest(items[order[end]].plain) <= ratio * longest(items[k].plain):
            end += 1
        if end > last:
            windows.append(tuple(sorted(order[first:end])))
            last = end
    return windows
