"""Pocket columns: trays in which each thing has a pocket, or an outline on a shadow floor, where that was asked for.

Kinds of one group may share such a tray: their outlines are nested among each other.
"""

from collections.abc import Iterator, Mapping, Sequence
from itertools import pairwise
from typing import Final

from worker.layout.placement.columns.assortment import LABEL_AIR, Assortment
from worker.layout.placement.columns.tray_columns import Column, LaneBand
from worker.layout.storage.in_pockets import recess_drafts
from worker.layout.storage.lane import Lane
from worker.layout.storage.nested_recess import NestedKind
from worker.layout.storage.nested_trays import engraved_kind, nest_drafts, pocketed_kind
from worker.layout.storage.poses import Pose, longest, lying_poses, poses
from worker.layout.storage.sizing_rules import DrawerLimits
from worker.layout.storage.tray_option import Draft
from worker.layout.storage.ways import posed
from worker.layout.tray.font import least_cap
from worker.layout.tray.part_mark import text_size
from worker.layout.tray.text import LEAST_DEPTH
from worker.spec.drawer.joint import CORNER_RADIUS
from worker.spec.items.handling import MOST_NESTED
from worker.spec.items.item import Item
from worker.spec.tolerances import LENGTH_EPSILON

__all__ = ["nesting_sets", "pocket_columns", "shared_pocket_columns"]

#: Most sets of kinds of one group for which trays are searched: each search takes up to half a second.
_MOST_SETS: Final = 8


def pocket_columns(stock: Assortment, index: int) -> Iterator[Column]:
    """Yield the trays in which each thing of a kind has a pocket, or an outline on a shadow floor.

    What is to stand upright and would tip over stands in pockets, too.
    """
    item, ground = stock.items[index], stock.ground
    if item.storage not in {"pocket", "upright"}:
        return
    if item.engraved:
        yield from shared_pocket_columns(stock, (index,))
        return
    chosen = _poses(item)
    for draft in recess_drafts(
        "", item.count, chosen, ground, (stock.rim,), storage=item.storage, footprints=_whole(stock)
    ):
        if _carries(item.label_text, draft, ground):
            yield _column(stock, (index,), (chosen[0],), draft)


def nesting_sets(stock: Assortment, left: Mapping[int, int]) -> Iterator[tuple[int, ...]]:
    """Yield the sets of kinds that may be nested in one tray, the largest of each group first.

    They are of one group, have one label or none, and lie all in pockets or all on a shadow floor. In a group those of
    a size go together.

    Args:
        stock: the things.
        left: how many of each kind are to be placed, by index; kinds of which some are placed share no nest.
    """
    groups: dict[tuple[str, bool, str | None], list[int]] = {}
    for index, count in left.items():
        item, use = stock.items[index], stock.uses[index]
        if use is not None and item.storage == "pocket" and count == item.count:
            groups.setdefault((use, item.engraved, item.label_text), []).append(index)
    for members in groups.values():
        order = sorted(members, key=lambda k: (-longest(stock.items[k].plain), k))
        sets = dict.fromkeys(tuple(sorted(some)) for some in (*_halved(order), *map(list, pairwise(order))))
        few = [some for some in sets if sum(stock.items[k].count for k in some) <= MOST_NESTED]
        yield from few[:_MOST_SETS]


def _halved(order: Sequence[int]) -> Iterator[Sequence[int]]:
    """Yield a list, its halves, their halves and so on, down to pairs."""
    level = [order]
    while level := [part for part in level if len(part) > 1]:
        yield from level
        level = [half for part in level for half in (part[: (len(part) + 1) // 2], part[(len(part) + 1) // 2 :])]


def shared_pocket_columns(
    stock: Assortment, members: Sequence[int], most_cost: float | None = None
) -> Iterator[Column]:
    """Yield the trays in which the things of several kinds are nested.

    Args:
        stock: the things.
        members: the kinds, by index: of `nesting_sets`, or one on a shadow floor.
        most_cost: what the trays may cost, in minutes; None for any cost.
    """
    items = [stock.items[index] for index in members]
    kinds = [kind for kind in map(_nested_kind, items) if kind is not None]
    if len(kinds) < len(items):
        return
    # what no tray costs less than: the empty one of the least height
    least = stock.ground.stand(0.0, 0.0, stock.rim)
    sizes = [
        halves
        for halves in _whole(stock)
        if least is not None
        and (
            most_cost is None or stock.tray_cost(halves, stock.ground.plastic(halves, least[0], stock.rim)) < most_cost
        )
    ]
    for draft in nest_drafts(kinds, stock.ground, (stock.rim,), footprints=sizes):
        if _carries(items[0].label_text, draft, stock.ground):
            yield _column(stock, members, [kind.pose for kind in kinds], draft)


def _poses(item: Item) -> list[Pose]:
    """Return the poses in which things have pockets, those that lie first."""
    every = poses(item.plain)
    lying = lying_poses(every)
    chosen = [pose for pose in every if pose.size[2] > min(pose.size[:2]) and pose not in lying]
    if item.storage == "pocket":
        chosen = [*lying, *chosen]
    return chosen if item.pose is None else [pose for pose in chosen if pose in posed(item.plain, item.pose)]


def _nested_kind(item: Item) -> NestedKind | None:
    """Return the things of an item as they are nested, in the first of their poses; None where they cannot be."""
    if item.engraved:
        return engraved_kind(item.count, posed(item.plain, "flat")[0])
    for pose in _poses(item)[:1]:
        return pocketed_kind(item.count, pose)
    return None


def _whole(stock: Assortment) -> frozenset[tuple[int, int]]:
    """Return the footprints of trays in one piece: no cut goes through a pocket."""
    return frozenset(halves for halves in stock.footprints if stock.cut(halves) is None)


def _column(stock: Assortment, members: Sequence[int], chosen: Sequence[Pose], draft: Draft) -> Column:
    """Return the tray of a draft for these kinds, by index, with a pose of each."""
    lanes: list[tuple[int, Lane]] = []
    for index, pose in zip(members, chosen, strict=True):
        count = stock.items[index].count
        lanes.append((index, Lane("stand", pose, count, 1, count, 1, 0.0, 0.0, 0.0, 0.0, 0.0)))
    cost = stock.tray_cost(draft.halves, draft.plastic) + stock.mixing_cost(members)
    return Column(
        draft.halves, 0, (LaneBand(0.0, tuple(lanes)),), 0.0, draft.height, draft.top, ledge=False,
        plastic=draft.plastic, worth=sum(stock.worths[index] for index in members), cost=cost, draft=draft,
    )  # fmt: skip


def _carries(label: str | None, draft: Draft, ground: DrawerLimits) -> bool:
    """Return whether the front of a tray with pockets is wide and high enough for its label."""
    if label is None:
        return True
    if ground.wall < ground.lines + LEAST_DEPTH - LENGTH_EPSILON:
        return False
    wide, high = text_size(label, least_cap(ground.line_width))
    face = draft.height - ground.joint.foot_height
    room = ground.usable(draft.halves[0], draft.rim)
    return wide + LABEL_AIR + 2.0 * CORNER_RADIUS <= room and high + LABEL_AIR <= face
