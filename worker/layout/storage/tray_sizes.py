"""Tray sizes: every sensible tray for an item."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Final, Literal, TypeAlias

from worker.layout.storage.in_pockets import recess_drafts
from worker.layout.storage.in_rows import row_drafts
from worker.layout.storage.loose import loose_drafts, poured
from worker.layout.storage.poses import longest, lying_poses, poses, volume
from worker.layout.storage.sizing_rules import FRAME_AIR, LEDGE, DrawerLimits
from worker.layout.storage.tray_option import Draft, Option, sensible
from worker.layout.storage.upright import standing_drafts, standing_poses
from worker.layout.tray.interior import on_grid
from worker.layout.tray.part_mark import text_size
from worker.layout.tray.text import LEAST_CAP, LEAST_DEPTH
from worker.spec.drawer.joint import CORNER_RADIUS
from worker.spec.drawer.tray import Rim
from worker.spec.items.item import Item, Storage
from worker.spec.items.shape import PlainShape
from worker.spec.tolerances import LENGTH_EPSILON

__all__ = ["Shortfall", "carries", "options", "rims", "shortfall", "storages"]

Storages: TypeAlias = tuple[Storage, ...]

#: Small things are no longer and no larger (mm3) than this, and are poured when there are so many of them (own choice).
_SMALL: Final = 60.0
_SMALL_VOLUME: Final = 3500.0
_MANY: Final = 8

#: A flat thing is no thicker than this share of its second side; from this second side on it is filed upright.
_FLAT: Final = 0.2
_FILED: Final = 18.0

#: A long thing is at least so many times as long as its second side.
_LONG: Final = 4.0

#: Pockets are offered unasked for so few things only: their filling is solid.
_FEW: Final = 12

#: Larger than any drawer: half cells and mm.
_ANY_SPAN: Final = 80
_ANY_HEIGHT: Final = 1000.0

#: Plain face on both sides of a label, with some to spare.
_LABEL_AIR: Final = 3.0

_ALL: Final[Storages] = ("rows", "upright", "loose", "pocket")


@dataclass(frozen=True, slots=True)
class Shortfall:
    """Why an item has no option: what there is too little of, and how much there would have to be.

    ``what`` is `height` (needed and there in mm of the drawer's free height), or `area` (half cells on the longer side
    of the smallest tray, and there).
    """

    what: Literal["height", "area", "shape"]
    needed: float
    there: float


def storages(item: Item) -> Storages:
    """Return how an item may be stored: as asked, or what suits its shape and count."""
    if item.storage is not None:
        return (item.storage,)
    short, middle, long = sorted(poses(item.plain)[0].size)
    flat = short <= _FLAT * middle
    if flat and middle >= _FILED and item.count > 1:
        return ("upright", "rows")
    if item.count >= _MANY and long <= _SMALL and volume(item.plain) <= _SMALL_VOLUME:
        return ("loose",)
    few: Storages = ("pocket",) if item.count <= _FEW else ()
    return ("rows", *few) if long >= _LONG * middle or flat else ("rows", "upright", *few)


def rims(item: Item) -> tuple[Rim, ...]:
    """Return the rims that an item's tray may have: one that carries trays only where something may stand on it."""
    return ("straight", "stacking") if item.stacks else ("straight",)


def options(item: Item, ground: DrawerLimits) -> tuple[Option, ...]:
    """Return every sensible tray for an item, smallest first; none when nothing fits (see `shortfall`).

    Args:
        item: the item.
        ground: the drawer's grid, span and height.
    """
    kind = _Kind(item.plain, item.count, rims(item), item.access != "often", item.label_text)
    ways = _options(kind, storages(item), ground)
    if not ways and item.storage is None:
        ways = _options(kind, _ALL, ground)
    return tuple(option.named((item.name,)) for option in ways)


def shortfall(item: Item, ground: DrawerLimits) -> Shortfall:
    """Return what an item without options lacks in this drawer: of height and area that of which less is missing."""
    any_span = (_ANY_SPAN, _ANY_SPAN)
    lacks: list[Shortfall] = []
    if higher := options(item, replace(ground, height=_ANY_HEIGHT)):
        lacks.append(Shortfall("height", on_grid(min(option.top for option in higher) + FRAME_AIR), ground.height))
    if wider := options(item, replace(ground, span=any_span)):
        lacks.append(Shortfall("area", float(min(max(option.halves) for option in wider)), float(max(ground.span))))
    if lacks:
        return min(lacks, key=lambda lack: lack.needed / lack.there)
    if larger := options(item, replace(ground, span=any_span, height=_ANY_HEIGHT)):
        return Shortfall("area", float(min(max(option.halves) for option in larger)), float(max(ground.span)))
    return Shortfall("shape", on_grid(longest(item.plain)), float(max(ground.span)))


@dataclass(frozen=True, slots=True)
class _Kind:
    """What an item's options hang on, but for its name."""

    shape: PlainShape
    count: int
    rims: tuple[Rim, ...]
    layered: bool
    label: str | None


@lru_cache(maxsize=4096)
def _options(kind: _Kind, ways: Storages, ground: DrawerLimits) -> tuple[Option, ...]:
    drafts = [draft for draft in _drafts(kind, ways, ground) if carries(kind.label, draft, ground)]
    chosen = sensible(drafts, low="stacking" in kind.rims)
    return tuple(draft.option(("",), kind.label, ground) for draft in chosen)


def _drafts(kind: _Kind, ways: Storages, ground: DrawerLimits) -> Iterator[Draft]:
    """Yield every draft."""
    every = poses(kind.shape)
    lying, standing = lying_poses(every), standing_poses(every)
    labelled = kind.label is not None
    if "rows" in ways:
        yield from row_drafts("", kind.count, lying, ground, kind.rims, layered=kind.layered, ledge=labelled)
    if "upright" in ways:
        yield from standing_drafts("", kind.count, standing, ground, kind.rims, ledge=labelled)
        yield from recess_drafts("", kind.count, standing, ground, kind.rims, storage="upright")
    if "loose" in ways:
        yield from loose_drafts(poured("", kind.count, kind.shape), ground, kind.rims, ledge=labelled)
    if "pocket" in ways:
        recessed = tuple(dict.fromkeys((*lying, *standing)))
        yield from recess_drafts("", kind.count, recessed, ground, kind.rims, storage="pocket")


def carries(label: str | None, draft: Draft, ground: DrawerLimits) -> bool:
    """Return whether a tray is wide and high enough for its label: on its ledge or, with pockets, on its front."""
    if label is None:
        return True
    wide, high = text_size(label, LEAST_CAP)
    room = ground.usable(draft.halves[0], draft.rim)
    if not draft.recessed:
        # a ledge takes no more than half the room (worker.layout.tray.ramp_and_ledge)
        return wide + _LABEL_AIR <= room and 2.0 * LEDGE.depth <= ground.usable(draft.halves[1], "straight")
    if ground.wall < ground.lines + LEAST_DEPTH - LENGTH_EPSILON:
        return False
    rim = ground.rim_height(draft.rim) + ground.rim_overhang(draft.rim)
    face = draft.height - rim - ground.joint.foot_height
    return wide + _LABEL_AIR + 2.0 * CORNER_RADIUS <= room and high + _LABEL_AIR <= face
