"""Why an item has no lane, and what would give it one."""

from collections.abc import Sequence

from worker.layout.lanes.drawer_lanes import LaneSite, lanes_of
from worker.layout.lanes.need import piles_of
from worker.layout.lanes.shelves import LaneItem, least_need
from worker.layout.model.plan import Unplaced
from worker.spec.items.item import Item

__all__ = ["no_lane"]

#: Most counts that are tried for the remedy.
_MOST_TRIES = 12


def no_lane(pointer: str, item: Item, sites: Sequence[LaneSite | None], drawer: str | None) -> Unplaced:
    """Return the entry of an item that has no lane.

    Args:
        pointer: JSON Pointer of the item.
        item: the item.
        sites: the drawers in which it could lie.
        drawer: the name of its drawer; None for any.
    """
    open_sites = [site for site in sites if site is not None]
    low = [site for site in open_sites if piles_of(item, site.height)]
    if not low:
        most = max((site.height for site in open_sites), default=0.0)
        reason = f"It is higher than the {most:g} mm that are free in the drawer."
        remedy = "Let it lie otherwise: `pose` any." if item.pose != "any" else None
        return Unplaced(item.name, pointer, item.count, reason, remedy, drawer, "height")
    needs = []
    for site in low:
        left, front, right, back = site.room
        thing = LaneItem(pointer, item, tuple(piles_of(item, site.height)))
        need = least_need(thing, max(right - left, back - front))
        if need is not None:
            needs.append((need, site))
    if not needs:
        return Unplaced(
            item.name, pointer, item.count, "It is longer than the drawer.", None, drawer, "shape"
        )  # fmt: skip
    need, site = needs[0]
    left, front, right, back = site.room
    reason = (
        f"Its lane takes {need.width:.0f} x {need.depth:.0f} mm, and the drawer's {right - left:.0f} x "
        f"{back - front:.0f} mm have no room for it beside the other things."
    )
    return Unplaced(
        item.name, pointer, item.count, reason, _fewer(pointer, item, [s for _, s in needs]), drawer, "shape"
    )


def _fewer(pointer: str, item: Item, sites: Sequence[LaneSite]) -> str | None:
    """Return the remedy of keeping fewer of an item that is too much for an empty drawer; None if that is not why."""
    if all(lanes_of([(pointer, item)], site).left for site in sites):
        low, high = 0, item.count
        for _ in range(_MOST_TRIES):
            if high - low <= 1:
                break
            middle = (low + high) // 2
            fewer = item.model_copy(update={"count": middle})
            if any(not lanes_of([(pointer, fewer)], site).left for site in sites):
                low = middle
            else:
                high = middle
        return f"Keep at most {low} of it in one drawer." if low else None
    return "Give it a drawer of its own, or keep fewer things beside it."
