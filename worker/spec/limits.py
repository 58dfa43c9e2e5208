"""Limits on the total size of a spec, which bound the time and memory that its layout takes.

Each list has its own limit in its model; these are the totals over the whole spec.
"""

import math
from collections.abc import Iterator
from typing import Final

from worker.spec.drawer.drawer import Drawer
from worker.spec.drawer.pocket import NestedPocket, PolygonPocket
from worker.spec.errors import SpecTooLarge
from worker.spec.items.shape import Prism
from worker.spec.job import Spec

__all__ = ["MOST_CELLS", "cells_of", "check_cells", "check_size"]

#: Cells of all drawers and their copies. A drawer of 3 x 3 m has 5,041 at 42 mm, and takes about a second to lay out.
MOST_CELLS: Final = 25_000

#: Cells of one drawer that is filled with spare trays, and of all such drawers. The search for spare trays takes time:
#: 18 seconds for 20 drawers of 1,000 cells.
_MOST_FILLED: Final = 1_000
_MOST_FILLED_IN_ALL: Final = 10_000

#: Cells times obstacles, and cells times corners of the outline, of one drawer. At either limit a layout takes about
#: four times as long as that of a plain drawer of 10,000 cells.
_MOST_OBSTACLE_CELLS: Final = 50_000
_MOST_CORNER_CELLS: Final = 500_000
#: Cells times items, for one list of items and for all lists. Near the first limit, placing takes half a minute.
_MOST_ITEM_CELLS: Final = 100_000
_MOST_ITEM_CELLS_IN_ALL: Final = 400_000
#: Obstacles or corners that are allowed in a drawer of any size.
_ALWAYS_ALLOWED: Final = 4

_MOST_TRAYS: Final = 4_000
_MOST_ITEMS: Final = 1_000
_MOST_CORNERS: Final = 20_000
_SPLIT: Final = "Split it into several specs."


def check_size(spec: Spec, most_cells: int = MOST_CELLS) -> None:
    """Check the totals of a spec against their limits.

    Raises:
        SpecTooLarge: if a total exceeds its limit.
    """
    trays = sum(drawer.copies * sum(tray.quantity for tray in drawer.trays) for drawer in spec.drawers)
    if trays > _MOST_TRAYS:
        raise _refused("The spec has too many trays in total.", "/drawers", trays, f"at most {_MOST_TRAYS} trays")
    items = len(spec.items) + sum(len(drawer.items) for drawer in spec.drawers)
    if items > _MOST_ITEMS:
        raise _refused("The spec has too many items in total.", "", items, f"at most {_MOST_ITEMS} items")
    corners = sum(_corners(spec))
    if corners > _MOST_CORNERS:
        raise _refused(
            "The polygons of the spec have too many corners in total.", "", corners, f"at most {_MOST_CORNERS} corners"
        )
    filled = 0
    for index, drawer in enumerate(spec.drawers):
        cells = cells_of(drawer, spec.grid.pitch)
        _check_drawer(drawer, cells, f"/drawers/{index}")
        filled += cells if drawer.fill else 0
        if filled > _MOST_FILLED_IN_ALL:
            limit = f"at most {_MOST_FILLED_IN_ALL} cells in total"
            raise _refused("Too many cells are to be filled with spare trays.", f"/drawers/{index}/fill", filled, limit)
    check_cells(spec, most_cells)
    _check_items(spec)


def _check_items(spec: Spec) -> None:
    """Check each list of items against the number of cells it may be placed on."""
    cells = [cells_of(drawer, spec.grid.pitch) for drawer in spec.drawers]
    lists = [("/items", len(spec.items), sum(cells))]
    lists += [
        (f"/drawers/{index}/items", len(drawer.items), drawer_cells)
        for index, (drawer, drawer_cells) in enumerate(zip(spec.drawers, cells, strict=True))
    ]
    together = 0
    for at, items, list_cells in lists:
        together += items * list_cells
        if items * list_cells > _MOST_ITEM_CELLS:
            limit = f"at most {_MOST_ITEM_CELLS // list_cells} items with {list_cells} cells"
            raise _refused("There are too many items for so many cells.", at, items, limit)
        if together > _MOST_ITEM_CELLS_IN_ALL:
            limit = f"items times cells: at most {_MOST_ITEM_CELLS_IN_ALL} in total"
            raise _refused("There are too many items for so many drawers.", at, together, limit)


def _check_drawer(drawer: Drawer, cells: int, at: str) -> None:
    """Check the obstacles, corners and spare trays of a drawer against its number of cells."""
    if drawer.fill and cells > _MOST_FILLED:
        limit = f"at most {_MOST_FILLED} cells"
        raise _refused("The drawer is too large to be filled with spare trays.", f"{at}/fill", cells, limit)
    for name, count, most in (
        ("obstacles", len(drawer.obstacles), _MOST_OBSTACLE_CELLS // cells),
        ("outline", len(drawer.outline or ()), _MOST_CORNER_CELLS // cells),
    ):
        if count > max(most, _ALWAYS_ALLOWED):
            what = "obstacles" if name == "obstacles" else "corners"
            limit = f"at most {max(most, _ALWAYS_ALLOWED)} {what} with {cells} cells"
            raise _refused(f"The drawer has too many {what} for its size.", f"{at}/{name}", count, limit)


def check_cells(spec: Spec, most: int) -> None:
    """Check the number of cells of all drawers and their copies.

    Raises:
        SpecTooLarge: if there are more than ``most``; it points at the drawer that exceeds the limit.
    """
    together = 0
    for index, drawer in enumerate(spec.drawers):
        together += drawer.copies * cells_of(drawer, spec.grid.pitch)
        if together > most:
            remedy = f"Use a larger pitch, or split it into several specs of at most {most} cells."
            error = _refused("The drawers have too many cells.", f"/drawers/{index}", together, f"at most {most} cells")
            error.remedy = remedy
            raise error


def cells_of(drawer: Drawer, pitch: float) -> int:
    """Return the number of cells in the drawer's bounding box, an upper bound of its cells."""
    left, front, right, back = drawer.box
    return math.ceil((right - left) / pitch) * math.ceil((back - front) / pitch)


def _corners(spec: Spec) -> Iterator[int]:
    """Yield the number of corners of each polygon."""
    for item in (*spec.items, *(item for drawer in spec.drawers for item in drawer.items)):
        if isinstance(item.shape, Prism):
            yield len(item.shape.points)
    for drawer in spec.drawers:
        yield len(drawer.outline or ())
        for tray in drawer.trays:
            yield from (len(pocket.points) for pocket in tray.pockets if isinstance(pocket, PolygonPocket))
            yield from (
                pocket.count * len(pocket.points) for pocket in tray.pockets if isinstance(pocket, NestedPocket)
            )


def _refused(message: str, at: str, value: int, limit: str) -> SpecTooLarge:
    return SpecTooLarge(message, pointer=at, value=value, limit=limit, remedy=_SPLIT)
