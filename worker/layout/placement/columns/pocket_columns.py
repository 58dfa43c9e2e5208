"""Pocket columns: the trays in which each thing of a kind has a pocket, where that was asked for."""

from collections.abc import Iterator

from worker.layout.placement.columns.assortment import LABEL_AIR, Assortment
from worker.layout.placement.columns.tray_columns import Column, LaneBand
from worker.layout.storage.in_pockets import recess_drafts
from worker.layout.storage.lane import Lane
from worker.layout.storage.poses import lying_poses, poses
from worker.layout.storage.sizing_rules import DrawerLimits
from worker.layout.storage.tray_option import Draft
from worker.layout.storage.ways import posed
from worker.layout.tray.font import least_cap
from worker.layout.tray.part_mark import text_size
from worker.layout.tray.text import LEAST_DEPTH
from worker.spec.drawer.joint import CORNER_RADIUS
from worker.spec.tolerances import LENGTH_EPSILON

__all__ = ["pocket_columns"]


def pocket_columns(stock: Assortment, index: int) -> Iterator[Column]:
    """Yield the trays in which each thing of a kind has a pocket.

    What is to stand upright and would tip over stands in pockets, too.
    """
    item, ground = stock.items[index], stock.ground
    if item.storage not in {"pocket", "upright"}:
        return
    every = poses(item.plain)
    lying = lying_poses(every)
    chosen = [pose for pose in every if pose.size[2] > min(pose.size[:2]) and pose not in lying]
    if item.storage == "pocket":
        chosen = [*lying, *chosen]
    if item.pose is not None:
        chosen = [pose for pose in chosen if pose in posed(item.plain, item.pose)]
    whole = [halves for halves in stock.footprints if stock.cut(halves) is None]  # no cut goes through a pocket
    for draft in recess_drafts(
        "", item.count, chosen, ground, (stock.rim,), storage=item.storage, footprints=frozenset(whole)
    ):
        if _carries(item.label_text, draft, ground):
            lane = Lane("stand", chosen[0], item.count, 1, item.count, 1, 0.0, 0.0, 0.0, 0.0, 0.0)
            yield Column(
                draft.halves, 0, (LaneBand(0.0, ((index, lane),)),), 0.0, draft.height, draft.top,
                ledge=False, plastic=draft.plastic, worth=stock.worths[index],
                cost=stock.tray_cost(draft.halves, draft.plastic), draft=draft,
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
