"""Grips of trays for items that stand on others: by them they are lifted out."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Final

from worker.layout.items.item_trays import Furniture, ItemTray
from worker.layout.model.shapes import TrayShape
from worker.layout.storage.tray_option import content_box
from worker.layout.tray.grip_lips import EDGE, FINGER, finger_room
from worker.layout.tray.interior import UNDER_RIM, on_grid
from worker.layout.tray.made_tray import MadeTray
from worker.layout.tray.tray_builder import tray_size
from worker.spec.drawer.tray import Tray
from worker.spec.errors import TrayError
from worker.spec.tolerances import LENGTH_EPSILON

__all__ = ["with_grips"]

#: Height in mm by which a tray may be raised to give fingers room above its things (own choice: 1 g for 70 mm of wall).
_MOST_RAISED: Final = 20.0


def with_grips(
    trays: Sequence[Furniture], limit: float, made: Callable[[Tray, str], MadeTray]
) -> tuple[Furniture, ...]:
    """Return the trays of a drawer, those for items that stand on others with grips where fingers reach these.

    A tray with nothing on it is made higher for that, as far as the drawer leaves room.

    Args:
        trays: in their places.
        limit: the highest that anything may reach, mm.
        made: makes a tray, whose JSON Pointer is given; it raises `TrayError` for one that cannot be made.
    """
    return tuple(
        _gripped(tray, limit, made) if isinstance(tray, ItemTray) and tray.z and tray.settled is not None else tray
        for tray in trays
    )


def _gripped(item: ItemTray, limit: float, made: Callable[[Tray, str], MadeTray]) -> ItemTray:
    assert item.settled is not None  # noqa: S101 - the caller asks only for trays with contents
    option = item.settled.option
    boxes = [
        (low, tuple(a + b for a, b in zip(low, size, strict=True))) for low, size in map(content_box, option.content)
    ]
    top = max(high[2] for _, high in boxes)
    raised = on_grid(max(top + FINGER + EDGE + UNDER_RIM, item.tray.height))
    heights = [item.tray.height]
    if (
        option.rim == "straight"
        and item.tray.height < raised <= min(limit - item.z, item.tray.height + _MOST_RAISED) + LENGTH_EPSILON
    ):
        heights.append(raised)
    for height in heights:
        tray = item.tray.model_copy(update={"grip": True, "height": height})
        try:
            shape = made(tray, item.pointer).whole
        except TrayError:  # its walls have no room for grips
            continue
        if not any(_meet(finger_box, box) for finger_box in _fingers(shape) for box in boxes):
            return replace(item, tray=tray)
    return item


def _fingers(shape: TrayShape) -> list[tuple[Sequence[float], Sequence[float]]]:
    outer = tray_size(shape)[:2]
    return [finger_room(grip, (outer[0], outer[1]), shape.wall) for grip in shape.grips]


def _meet(first: tuple[Sequence[float], Sequence[float]], other: tuple[Sequence[float], Sequence[float]]) -> bool:
    """Return whether two boxes, each given by two corners, overlap."""
    return all(
        low < other_high - LENGTH_EPSILON and other_low < high - LENGTH_EPSILON
        for low, high, other_low, other_high in zip(*first, *other, strict=True)
    )
