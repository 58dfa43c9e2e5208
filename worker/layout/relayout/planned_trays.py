"""Planned trays: the trays of a previous plan document, with the items of this job that were in them."""

from collections import defaultdict
from collections.abc import Iterator, Sequence

from worker.layout.items.filling.earlier_layout import EarlierTray
from worker.layout.items.item_trays import ListedItem
from worker.layout.placement.tray_placement import tray_halves
from worker.layout.relayout.previous_layout import Previous, PrintedTray
from worker.spec import Spec
from worker.spec.items.item import Item
from worker.spec.tolerances import LENGTH_EPSILON

__all__ = ["earlier_trays", "left_out", "shared_out"]


def earlier_trays(
    previous: Previous, spec: Spec, own: Sequence[Sequence[ListedItem]], of_job: Sequence[ListedItem]
) -> Iterator[tuple[EarlierTray, ...]]:
    """Yield for each drawer its trays for items in a previous plan document; none where there is none.

    Trays on others are left out: what was in them is stacked again. So is what has a position now.

    Args:
        previous: the previous layout.
        spec: the job.
        own: the items of each drawer.
        of_job: the items that may go into any drawer.
    """
    claimed: dict[int, int] = {}
    for index, drawer in enumerate(spec.drawers):
        trays: list[EarlierTray] = []
        if previous.manifest is None:
            for tray in previous.trays(drawer.name):
                contents = tuple(_contents(tray, (*own[index], *of_job), claimed, index))
                if contents and tray.part.tray is not None and tray.z <= LENGTH_EPSILON:
                    trays.append(EarlierTray(tray.spot, tray_halves(tray.part.tray), tray.part.size[2], contents))
        yield tuple(trays)


def shared_out(
    previous: Previous, spec: Spec, own: Sequence[Sequence[ListedItem]], of_job: Sequence[ListedItem]
) -> tuple[list[list[ListedItem]], list[ListedItem]]:
    """Return the items of drawers and of the job, with items of the job that were in several drawers shared out.

    Each of these drawers has as many of them of its own as it had, under the item's JSON Pointer. What is new of them
    is in the last one; where some had no place, it is the job's again.

    Args:
        previous: the previous layout; only a plan document is followed.
        spec: the job.
        own: the items of each drawer.
        of_job: the items that may go into any drawer.
    """
    before: dict[str, dict[int, int]] = defaultdict(dict)
    if previous.manifest is None:
        for index, drawer in enumerate(spec.drawers):
            for content in (content for tray in previous.trays(drawer.name) for content in tray.contents):
                shares = before[content.item]
                shares[index] = shares.get(index, 0) + content.count
    shared, rest = [list(items) for items in own], list[ListedItem]()
    for pointer, item in of_job:
        shares = before.get(item.name, {})
        listed = any(other.name == item.name for index in shares for _, other in own[index])
        if len(shares) < 2 or item.at is not None or listed:  # noqa: PLR2004 - several drawers
            rest.append((pointer, item))
            continue
        left = item.count
        for index, count in shares.items():
            last = index == max(shares) and item.name not in left_out(previous)
            share = left if last else min(count, left)
            left -= share
            if share:
                shared[index].append((pointer, item.model_copy(update={"count": share})))
        if left:
            rest.append((pointer, item.model_copy(update={"count": left})))
    return shared, rest


def left_out(previous: Previous) -> frozenset[str]:
    """Return the names of the items that a previous plan document had no place for."""
    unplaced = () if previous.document is None else previous.document.unplaced
    return frozenset(entry.item for entry in unplaced)


def _contents(
    tray: PrintedTray, listed: Sequence[ListedItem], claimed: dict[int, int], drawer: int
) -> Iterator[tuple[Item, int]]:
    """Yield the items that are in a tray, and how many; an item is in the trays of one drawer only."""
    for content in tray.contents:
        same = [entry for entry in listed if entry[1].name == content.item and entry[1].at is None]
        if not same or "/items/" not in content.pointer:
            continue
        _, item = min(same, key=lambda entry: entry[0] != content.pointer)
        if claimed.setdefault(id(item), drawer) == drawer:
            yield item, content.count
