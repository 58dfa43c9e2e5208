"""Limits of a whole spec: what bounds the time and memory that laying it out takes.

Each list of a spec has its own limit in its model; these are the sums, which no single field can see.
"""

import math
from collections.abc import Iterator
from typing import Final

from worker.spec.drawer.drawer import Drawer
from worker.spec.drawer.pocket import PolygonPocket
from worker.spec.errors import SpecTooLarge
from worker.spec.items.shape import Prism
from worker.spec.job import Spec

__all__ = ["MOST_CELLS", "cells_of", "check_cells", "check_size"]

#: Cells of all drawers with their copies. A drawer of 3 x 3 m has 5,041 at 42 mm, and takes about a second to lay out.
MOST_CELLS: Final = 25_000

#: Cells of a drawer that is filled with spare trays, whose search takes longer, and of all such drawers: 20 drawers of
#: the first take 18 seconds.
_MOST_FILLED: Final = 1_000
_MOST_FILLED_IN_ALL: Final = 10_000

#: Cells times obstacles, and cells times corners of the outline, of one drawer: either takes about four times as long
#: as a plain drawer of 10,000 cells.
_MOST_BROKEN: Final = 50_000
_MOST_BENT: Final = 500_000
#: Cells times items that may go there, for one list of items and for all: near the first, placing takes half a minute.
_MOST_TRIED: Final = 100_000
_MOST_TRIED_IN_ALL: Final = 400_000
#: As many are taken in a drawer of any size.
_ALWAYS: Final = 4

_MOST_TRAYS: Final = 4_000
_MOST_ITEMS: Final = 1_000
_MOST_CORNERS: Final = 20_000
_SPLIT: Final = "Split it into several specs."


def check_size(spec: Spec, most_cells: int = MOST_CELLS) -> None:
    """Refuse a spec that asks for too much.

    Raises:
        SpecTooLarge: names the sum that is over its limit.
    """
    trays = sum(drawer.copies * sum(tray.quantity for tray in drawer.trays) for drawer in spec.drawers)
    if trays > _MOST_TRAYS:
        raise _refused("The spec has too many trays in all.", "/drawers", trays, f"at most {_MOST_TRAYS} trays")
    items = len(spec.items) + sum(len(drawer.items) for drawer in spec.drawers)
    if items > _MOST_ITEMS:
        raise _refused("The spec has too many kinds of items in all.", "", items, f"at most {_MOST_ITEMS} items")
    corners = sum(_corners(spec))
    if corners > _MOST_CORNERS:
        raise _refused(
            "The polygons of the spec have too many corners in all.", "", corners, f"at most {_MOST_CORNERS}"
        )
    filled = 0
    for index, drawer in enumerate(spec.drawers):
        cells = cells_of(drawer, spec.grid.pitch)
        _check_drawer(drawer, cells, f"/drawers/{index}")
        filled += cells if drawer.fill else 0
        if filled > _MOST_FILLED_IN_ALL:
            limit = f"at most {_MOST_FILLED_IN_ALL} cells in all"
            raise _refused("Too many cells are to be filled.", f"/drawers/{index}/fill", filled, limit)
    check_cells(spec, most_cells)
    _check_items(spec)


def _check_items(spec: Spec) -> None:
    """Refuse lists of items that are too long for the cells they may go to."""
    cells = [cells_of(drawer, spec.grid.pitch) for drawer in spec.drawers]
    lists = [("/items", len(spec.items), sum(cells))]
    lists += [
        (f"/drawers/{index}/items", len(drawer.items), room)
        for index, (drawer, room) in enumerate(zip(spec.drawers, cells, strict=True))
    ]
    together = 0
    for at, items, room in lists:
        together += items * room
        if items * room > _MOST_TRIED:
            limit = f"at most {_MOST_TRIED // room} items with {room} cells"
            raise _refused("There are too many items for so large a place.", at, items, limit)
        if together > _MOST_TRIED_IN_ALL:
            limit = f"items times cells at most {_MOST_TRIED_IN_ALL} in all"
            raise _refused("There are too many items for so many drawers.", at, together, limit)


def _check_drawer(drawer: Drawer, cells: int, at: str) -> None:
    """Refuse a drawer whose cells and what breaks them up are too many together."""
    if drawer.fill and cells > _MOST_FILLED:
        limit = f"at most {_MOST_FILLED} cells"
        raise _refused("The drawer is too large to be filled.", f"{at}/fill", cells, limit)
    for name, count, most in (
        ("obstacles", len(drawer.obstacles), _MOST_BROKEN // cells),
        ("outline", len(drawer.outline or ()), _MOST_BENT // cells),
    ):
        if count > max(most, _ALWAYS):
            what = "obstacles" if name == "obstacles" else "corners"
            limit = f"at most {max(most, _ALWAYS)} {what} with {cells} cells"
            raise _refused(f"The drawer has too many {what} for its size.", f"{at}/{name}", count, limit)


def check_cells(spec: Spec, most: int) -> None:
    """Refuse a spec whose drawers have more cells together than this.

    Raises:
        SpecTooLarge: when they have; it points at the drawer with which they do.
    """
    together = 0
    for index, drawer in enumerate(spec.drawers):
        together += drawer.copies * cells_of(drawer, spec.grid.pitch)
        if together > most:
            remedy = f"Take a larger pitch, or split it into several specs of at most {most} cells."
            error = _refused("The drawers have too many cells.", f"/drawers/{index}", together, f"at most {most} cells")
            error.remedy = remedy
            raise error


def cells_of(drawer: Drawer, pitch: float) -> int:
    """Return the cells of the box around the drawer; obstacles and slanted sides can only take some away."""
    left, front, right, back = drawer.box
    return math.ceil((right - left) / pitch) * math.ceil((back - front) / pitch)


def _corners(spec: Spec) -> Iterator[int]:
    """Yield the count of corners of each polygon."""
    for item in (*spec.items, *(item for drawer in spec.drawers for item in drawer.items)):
        if isinstance(item.shape, Prism):
            yield len(item.shape.points)
    for drawer in spec.drawers:
        yield len(drawer.outline or ())
        for tray in drawer.trays:
            yield from (len(pocket.points) for pocket in tray.pockets if isinstance(pocket, PolygonPocket))


def _refused(message: str, at: str, value: int, limit: str) -> SpecTooLarge:
    return SpecTooLarge(message, pointer=at, value=value, limit=limit, remedy=_SPLIT)
