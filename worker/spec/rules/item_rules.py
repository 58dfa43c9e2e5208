"""Rules of a job's items: where they may lie, and what trays of the list hold."""

from collections import Counter
from collections.abc import Mapping
from typing import TYPE_CHECKING

from worker.spec.errors import SpecError
from worker.spec.items.item import Item
from worker.spec.primitives.pydantic_errors import Refusals, Step

if TYPE_CHECKING:
    from worker.spec.job import Spec

__all__ = ["check_holds", "check_items"]


def check_items(spec: "Spec", refusals: Refusals) -> None:
    """Check where items are to lie, and that those that stay lay somewhere before."""
    for index, item in enumerate(spec.items):
        if item.at is not None and len(spec.drawers) > 1:
            error = SpecError(
                "The position does not say which drawer is meant.",
                value=item.at, limit="null, or a job of one drawer", remedy="List the item in its drawer.",
            )  # fmt: skip
            refusals.add(error, "items", index, "at")
        _check_item(spec, item, ("items", index), refusals)
    for drawer_index, drawer in enumerate(spec.drawers):
        for index, item in enumerate(drawer.items):
            _check_item(spec, item, ("drawers", drawer_index, "items", index), refusals)


def _check_item(spec: "Spec", item: Item, at: tuple[Step, ...], refusals: Refusals) -> None:
    if item.fixed and spec.previous is None:
        error = SpecError(
            f"{item.name} cannot stay in place without a previous manifest.",
            value=True, limit="false without a previous manifest", remedy="Add the previous manifest.",
        )  # fmt: skip
        refusals.add(error, *at, "fixed")
    for axis, along in enumerate(item.at or ()):
        if along % 1.0 and not spec.grid.half_cells:
            error = SpecError(
                f"The position of {item.name} uses half cells, but the grid has none.",
                value=along, limit="whole cells", remedy="Set grid.half_cells to true.",
            )  # fmt: skip
            refusals.add(error, *at, "at", axis)


def check_holds(spec: "Spec", refusals: Refusals) -> None:
    """Check that held items exist, and that no more of one are held than there are."""
    counts: Counter[str] = Counter()
    whole: set[str] = set()
    for drawer_index, tray_index, tray in spec.trays():
        for index, hold in enumerate(tray.hold):
            at = ("drawers", drawer_index, "trays", tray_index, "hold", index)
            listed = spec.held_item(drawer_index, hold.item)
            if listed is None:
                error = SpecError(
                    "There is no item with this name.",
                    value=hold.item, limit="the name of an item of the drawer or of the job",
                    remedy="Correct the name, or list the item.",
                )  # fmt: skip
                refusals.add(error, *at, "item")
                continue
            pointer, item = listed
            if item.storage == "lane":
                error = SpecError(
                    f"{item.name} is kept in a lane, without a tray.",
                    value=hold.item, limit="an item without the storage `lane`",
                    remedy=f"Remove {pointer}/storage, or the entry.",
                )  # fmt: skip
                refusals.add(error, *at, "item")
            for field in (name for name in ("at", "fixed") if getattr(item, name)):
                error = SpecError(
                    f"{item.name} is held by a tray and has a place of its own.",
                    value=hold.item, limit=f"an item without `{field}`", remedy=f"Remove {pointer}/{field}.",
                )  # fmt: skip
                refusals.add(error, *at, "item")
            left = item.count - counts[pointer]
            if hold.count is not None and hold.count > left:
                error = SpecError(
                    f"The trays hold more of {item.name} than there are.",
                    value=hold.count, limit=f"at most {left}", remedy="Reduce the count.",
                )  # fmt: skip
                refusals.add(error, *at, "count")
            if hold.count is None and pointer in whole:
                error = SpecError(
                    f"Two trays hold the rest of {item.name}.",
                    value=None, limit="null for one of them", remedy="Give the counts.",
                )  # fmt: skip
                refusals.add(error, *at, "count")
            if hold.count is None:
                whole.add(pointer)
            counts[pointer] += hold.count or 0
    _check_rests(spec, counts, refusals)


def _check_rests(spec: "Spec", counts: Mapping[str, int], refusals: Refusals) -> None:
    """Check that something is left for each tray that holds the rest of an item."""
    for drawer_index, tray_index, tray in spec.trays():
        for index, hold in enumerate(tray.hold):
            listed = spec.held_item(drawer_index, hold.item)
            if hold.count is None and listed is not None and counts[listed[0]] >= listed[1].count:
                error = SpecError(
                    f"Other trays hold all of {hold.item}.",
                    value=None, limit=f"under {listed[1].count} in other trays", remedy="Reduce their counts.",
                )  # fmt: skip
                refusals.add(error, "drawers", drawer_index, "trays", tray_index, "hold", index, "count")
