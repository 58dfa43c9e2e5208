"""Trays on panels: what finds no place lies in a tray that is lifted out from over lanes, where panels carry it.

It covers only things that are used no more often than what is in it, and only where its things are worth more than the
plastic and the lifting. Panels of lanes reach up to it; those of the drawer's list keep their heights.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from itertools import islice, product
from math import floor
from typing import Final

import shapely
from shapely.geometry.base import BaseGeometry

from worker.layout.items.filling.drawer_site import Site
from worker.layout.items.filling.drawer_stock import Settled
from worker.layout.items.filling.filled_tray import tray_option
from worker.layout.items.filling.stacked_trays import may_lie_above, rank_of
from worker.layout.items.item_trays import ItemTray, ListedItem
from worker.layout.model.plan import Lattice, Stored, Unplaced
from worker.layout.panels.sockets import Box
from worker.layout.placement.bay import Bay, Spot
from worker.layout.placement.columns.assortment import Assortment
from worker.layout.placement.columns.column_pricing import columns
from worker.layout.placement.columns.tray_columns import Column
from worker.layout.placement.layers.panel_seats import SeatMaker
from worker.layout.placement.layers.upper_placement import DrawerRoom, panel_seats, stands_at
from worker.layout.placement.layers.upper_trays import LayeredTray, support
from worker.layout.placement.tray_placement import PlacedTray, tray_halves
from worker.layout.storage.sizing_rules import FRAME_AIR
from worker.layout.tray.interior import LEAST_HEIGHT, UNDER_RIM, on_grid
from worker.spec import Drawer
from worker.spec.drawer.joint import Joint
from worker.spec.drawer.tray import Tray
from worker.spec.items.item import Item, access_rank
from worker.spec.tolerances import LENGTH_EPSILON

__all__ = [
    "PanelDrawer",
    "TraysOnPanels",
    "area_of",
    "less",
    "levels_of",
    "may_lie_on_panels",
    "panel_site",
    "trays_on_panels",
]

#: Trays on panels in one drawer, at most: each has to be lifted to see what is below (own choice).
_MOST: Final = 3

#: Trays that are tried, the best ones; heights of panels that are tried; places at which a
#: tray is looked at closely, and those of which they are chosen.
_MOST_TRIED: Final = 8
_MOST_TOPS: Final = 2
_MOST_PLACES: Final = 10
_MOST_LOOKED_AT: Final = 50

#: Share of a tray's length that may reach beyond the outermost panels on one side: more than that tips it
#: (`worker.layout.placement.layers.upper_trays.LEAST_BALANCE`).
_MOST_BESIDE: Final = 0.25

#: Distance of a panel from a line between half cells up to which it counts as on it, in half cells.
_ON_LINE: Final = 0.005


@dataclass(frozen=True)
class PanelDrawer:
    """A drawer with panels in their places, and what stands and lies in it.

    ``site`` is the drawer as trays above its panels find it; ``drawer`` lists all ``trays`` that stand in it. ``below``
    are the things in lanes and trays, each with the rectangle where it lies and the height that it reaches, mm; ``top``
    is the highest in a lane, mm.
    """

    drawer: Drawer
    lattice: Lattice
    joint: Joint
    room: DrawerRoom
    site: Site
    trays: tuple[PlacedTray, ...]
    below: tuple[tuple[Box, Item, float], ...]
    top: float = 0.0


@dataclass(frozen=True)
class TraysOnPanels:
    """Trays on panels, how many things of each item lie in them by pointer, and what that is worth, in minutes."""

    trays: tuple[ItemTray, ...] = ()
    held: Mapping[str, int] = field(default_factory=dict)
    value: float = 0.0


def may_lie_on_panels(item: Item) -> bool:
    """Return whether an item may lie in a tray over lanes."""
    return item.storage != "lane" and may_lie_above(item)


def area_of(lot: Stored) -> Box:
    """Return the rectangle that things cover, mm."""
    (x, y, _), (wide, deep, _) = lot.at, lot.size
    return x, y, x + wide, y + deep


def less(unplaced: Iterable[Unplaced], held: Mapping[str, int]) -> Iterator[Unplaced]:
    """Yield what still has no place when so many things of items, by pointer, have one."""
    left = dict(held)
    for lack in unplaced:
        count = min(left.get(lack.pointer, 0), lack.count)
        left[lack.pointer] = left.get(lack.pointer, 0) - count
        if lack.count > count:
            yield replace(lack, count=lack.count - count)


def levels_of(case: PanelDrawer) -> list[float]:
    """Return the heights of panels that are tried: as they are, and just above what lies in lanes."""
    tops = sorted({panel.height for panel in case.room.panels})
    highest = tops[-1] if tops else 0.0
    # a tray whose feet stand to both sides of its panels sinks between these
    over = [on_grid(max(case.top + UNDER_RIM + sunk, highest)) for sunk in (0.0, case.joint.nesting_depth)]
    return [level for level in sorted({*tops[-_MOST_TOPS:], *over}) if level > 0.0]


def trays_on_panels(case: PanelDrawer, left: Sequence[tuple[ListedItem, int]], level: float) -> TraysOnPanels:
    """Return trays for things without a place on panels that are as high as a level.

    Args:
        case: the drawer; its panels have their heights.
        left: the items, and how many of each have no place.
        level: z of the panels' upper edges, mm.
    """
    items = [item for (_, item), _ in left]
    pointers = {id(item): pointer for (pointer, item), _ in left}
    room = on_grid(case.drawer.height - FRAME_AIR - level)
    missing = {index: count for index, (_, count) in enumerate(left)}
    over = _Over(case, level)
    trays: list[ItemTray] = []
    held: dict[str, int] = {}
    value = 0.0
    while missing and len(trays) < _MOST:
        stock = case.site.assortment(items)
        if room < stock.ground.floor_top + LEAST_HEIGHT:
            break
        best = _best(over, stock, missing, room)
        if best is None:
            break
        column, place, worth = best
        option = tray_option(stock, column)
        settled = Settled(tuple(stock.items[index] for index, _ in column.lanes), option, place.at, place.z)
        where = tuple(pointers[id(item)] for item in settled.items)
        tray = option.tray((place.at[0] / 2.0, place.at[1] / 2.0)).model_copy(update={"at": None})
        trays.append(ItemTray(tray, place.at, place.z, where[0], settled, where))
        over = over.with_tray(trays[-1], place)
        value += worth
        for index, count in column.counts:
            missing[index] -= count
            pointer = pointers[id(items[index])]
            held[pointer] = held.get(pointer, 0) + count
        missing = {index: count for index, count in missing.items() if count > 0}
    return TraysOnPanels(tuple(trays), held, value)


def panel_site(site: Site, drawer: Drawer, lattice: Lattice, usable: BaseGeometry) -> Site:
    """Return a drawer as trays above its panels find it, whatever its floor covers.

    Args:
        site: the drawer as trays on its floor find it.
        drawer: the drawer.
        lattice: its grid.
        usable: its usable area, mm.
    """
    half, (_, _, right, back) = lattice.pitch / 2.0, usable.bounds
    wide, deep = (
        max(floor((end - start) / half + LENGTH_EPSILON), 1)
        for start, end in zip(lattice.origin, (right, back), strict=True)
    )
    ground = replace(site.ground, span=(wide, deep), height=drawer.height)
    bay = Bay.open(wide, deep)
    return replace(site, ground=ground, bay=bay, joints=False, anchors=(), earlier=(), empty=None)


def _best(
    over: "_Over", stock: Assortment, missing: Mapping[int, int], room: float
) -> tuple[Column, PlacedTray, float] | None:
    """Return the best tray for what is missing that has a place, where it stands, and what that is worth."""
    footprints = frozenset(halves for halves in stock.footprints if over.spots(halves))
    if not footprints:
        return None
    narrowed = replace(stock, footprints=footprints, ground=replace(stock.ground, height=room + FRAME_AIR))
    every = [column for column in columns(narrowed, missing).values() if column.value > 0.0]
    for column in sorted(every, key=lambda column: (-column.value, column.key))[:_MOST_TRIED]:
        tray = tray_option(narrowed, column).tray((0.0, 0.0)).model_copy(update={"at": None, "z": over.level})
        for spot in over.spots(column.halves):
            below = over.items_below(spot, column.halves)
            worth = column.value - sum(stock.weights.below(item) for item in below)
            if worth <= 0.0 or any(access_rank(item.access) < rank_of(stock, column) for item in below):
                continue
            place = over.placed(tray, spot)
            if place is not None:
                return column, place, worth
    return None


@dataclass(frozen=True)
class _Over:
    """What is above the panels of a drawer so far; ``level`` is the height of their upper edges, mm."""

    case: PanelDrawer
    level: float
    _spots: dict[Spot, tuple[Spot, ...]] = field(default_factory=dict)

    def with_tray(self, tray: ItemTray, place: PlacedTray) -> "_Over":
        """Return it with one more tray."""
        drawer = self.case.drawer.model_copy(update={"trays": (*self.case.drawer.trays, tray.tray)})
        trays = (*self.case.trays, replace(place, tray=len(drawer.trays) - 1))
        return _Over(replace(self.case, drawer=drawer, trays=trays), self.level)

    @cached_property
    def seats(self) -> SeatMaker:
        return SeatMaker(self.case.lattice, self.case.joint)

    @cached_property
    def _blocked(self) -> list[Box]:
        """What reaches above the panels, and trays that are lifted out, in half cells."""
        least = self.level - self.case.joint.height
        room, limit = self.case.room, self.level + LENGTH_EPSILON
        boxes = [self.seats.halves(panel.box) for panel in room.panels if panel.height > limit]
        boxes += [self.seats.halves(other.box) for other in room.obstructions if other.top > limit]
        for place in self.case.trays:
            tray = self.case.drawer.trays[place.tray]
            wide, deep = tray_halves(tray)
            if place.z or place.z + tray.height > least:
                boxes.append((*place.at, place.at[0] + wide, place.at[1] + deep))
        return boxes + [self.seats.halves(box) for box, _, top in self.case.below if top > least]

    @cached_property
    def _carrying(self) -> list[tuple[Box, bool | None]]:
        """The panels of this height, in half cells: each with whether it is on a line between feet of any tray.

        None for one that is so near such a line that it is below no foot.
        """
        half, (inset, _) = self.case.lattice.pitch / 2.0, self.case.joint.foot_levels()[0]
        panels: list[tuple[Box, bool | None]] = []
        for panel in self.case.room.panels:
            if abs(panel.height - self.level) < LENGTH_EPSILON:
                box = self.seats.halves(panel.box)
                across = 1 - panel.axis
                middle, thick = (box[across] + box[across + 2]) / 2.0, box[across + 2] - box[across]
                off = abs(middle - round(middle))
                corner = round(box[panel.axis]), round(middle) - 1
                seat = self.seats.seat(panel, corner if panel.axis == 0 else corner[::-1], (2, 2), half_feet=True)
                flat = off + thick / 2.0 > inset / half
                on_line = off < _ON_LINE and seat is not None and seat.line is not None
                panels.append((box, True if on_line else False if flat else None))
        return panels

    def spots(self, halves: Spot) -> tuple[Spot, ...]:
        """Return where a tray may stand: nothing is in the way, and panels carry it on all sides of its middle.

        A bounded number: places come first at which panels are on lines between its feet and keep it from sliding, then
        those in front.
        """
        if halves not in self._spots:
            self._spots[halves] = tuple(self._holding(halves))
        return self._spots[halves]

    def _holding(self, halves: Spot) -> Iterator[Spot]:
        places = sorted((not on_lines, y, x, bearing) for (x, y), on_lines, bearing in self._free(halves))
        step = -(-len(places) // _MOST_LOOKED_AT) or 1
        holding = ((x, y) for _, y, x, bearing in places[::step] if _holds((x, y), halves, bearing))
        yield from islice(holding, _MOST_PLACES)

    def _free(self, halves: Spot) -> Iterator[tuple[Spot, bool, list[Box]]]:
        """Yield where a tray may stand, whether it does so on lines between its feet, and the panels that carry it."""
        bay = self.case.site.bay
        for y, x in product(range(bay.back - halves[1] + 1), range(bay.across - halves[0] + 1)):
            own = (x, y, x + halves[0], y + halves[1])
            under = [(box, kind) for box, kind in self._carrying if _meet(own, box)]
            # between its feet a tray is lower than any panel that carries these flat
            on_lines = all(kind for _, kind in under)
            bearing = [box for box, kind in under if kind is on_lines]
            if len(bearing) > 1 and _around(own, bearing) and not any(_meet(own, box) for box in self._blocked):
                yield (x, y), on_lines, bearing

    def items_below(self, spot: Spot, halves: Spot) -> list[Item]:
        """Return the items that lie below a tray, each once."""
        own = (*spot, spot[0] + halves[0], spot[1] + halves[1])
        below: dict[int, Item] = {}
        for box, item, _ in self.case.below:
            if _meet(own, self.seats.halves(box)):
                below[id(item)] = item
        return list(below.values())

    def placed(self, tray: Tray, spot: Spot) -> PlacedTray | None:
        """Return where a tray stands on panels, on half feet; None where it does not."""
        case, halves = self.case, tray_halves(tray)
        seats = (self.seats.seat(panel, spot, halves, half_feet=True) for panel in case.room.panels)
        z = max((seat.level for seat in seats if seat is not None), default=0.0)
        wished = tray.model_copy(update={"z": z})
        place = stands_at(case.drawer, case.lattice, case.joint, case.trays, wished, spot, case.room) if z else None
        if place is None:
            return None
        stood = LayeredTray(spot, halves, place.z, tray.height, tray.rim)
        carried = panel_seats(case.room, case.lattice, case.joint, stood, half_feet=True)
        stands = support(stood, (), [seat.contact for seat in carried.values()])
        return replace(place, half_feet=True) if stands is not None and stands.holds else None


def _meet(first: Box, other: Box) -> bool:
    """Return whether two rectangles overlap."""
    return all(
        first[axis] < other[axis + 2] - LENGTH_EPSILON and other[axis] < first[axis + 2] - LENGTH_EPSILON
        for axis in (0, 1)
    )


def _holds(spot: Spot, halves: Spot, panels: Sequence[Box]) -> bool:
    """Return whether a tray would not tip if panels carried it along all of their edges below it."""
    own = shapely.box(*spot, spot[0] + halves[0], spot[1] + halves[1])
    stands = support(LayeredTray(spot, halves, 1.0, 0.0, "straight"), (), [own & shapely.box(*box) for box in panels])
    return stands is not None and stands.holds


def _around(tray: Box, panels: Sequence[Box]) -> bool:
    """Return whether panels below a tray lie to both sides of its middle, along both axes."""
    for axis in (0, 1):
        low, high = tray[axis], tray[axis + 2]
        near = min((max(panel[axis], low) for panel in panels), default=high)
        far = max((min(panel[axis + 2], high) for panel in panels), default=low)
        # the middle is at least as far within them as they are from the tray's sides
        if near - low > (high - low) * _MOST_BESIDE or high - far > (high - low) * _MOST_BESIDE:
            return False
    return True
