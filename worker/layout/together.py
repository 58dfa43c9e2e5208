"""Together: several small kinds in one tray, side by side, a divider between each two at the computed place.

Along the dividers every compartment is as long as the room; across them each kind gets the width that it needs and an
even share of what is left over.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import pairwise
from math import ceil
from typing import Final

from worker.layout.ground import AIR, SHELF, Ground
from worker.layout.loose import FILL_DEPTH, Goods, fill_limit, heap, poured, ramp_radius, region, wedge
from worker.layout.option import Bulk, Draft, Filling, Lot, Option, Wall, sensible
from worker.layout.poses import Pose, lying_poses, poses
from worker.layout.rows import FINGER_BREADTH, FINGER_GAP, ROW_WALL, layers_of, shelf_walls
from worker.layout.sizing import carries, options, rims, storages
from worker.layout.spacing import Line, Pairs
from worker.spec.item import Item, Storage
from worker.spec.tray import Rim

__all__ = ["MOST_TOGETHER", "gangs", "share"]

#: More kinds than these make a tray that nobody finds anything in (own choice).
MOST_TOGETHER: Final = 6

#: A kind is small when its own tray would cover no more half cells than this (own choice): two cells.
_SMALL: Final = 8

#: Depths that loose things may be meant to have.
_DEPTHS: Final = (8.0, 12.0, 18.0, 24.0, FILL_DEPTH)

#: The longest compartment worth trying, in half cells.
_LONGEST: Final = 10


@dataclass(frozen=True, slots=True)
class _Poured:
    """A compartment of loose things."""

    goods: Goods
    width: float
    storage: Storage = "loose"


@dataclass(frozen=True, slots=True)
class _Laid:
    """A compartment of one row, or of two with a gap between: ``length`` things in a row."""

    name: str
    count: int
    pose: Pose
    length: int
    rows: int
    layers: int
    width: float
    storage: Storage = "rows"


_Compartment = _Poured | _Laid


@dataclass(frozen=True, slots=True)
class _Kind:
    """What is known of an item before any compartment is tried."""

    item: Item
    ways: tuple[Storage, ...]
    goods: Goods
    lying: tuple[Pose, ...]

    @staticmethod
    def of(item: Item) -> "_Kind":
        """Return what is known of an item."""
        shape = item.plain
        return _Kind(item, _ways(item), poured(item.name, item.count, shape), lying_poses(poses(shape)))


@dataclass(frozen=True, slots=True)
class _Tray:
    """Compartments side by side along ``axis``."""

    rooms: tuple[_Compartment, ...]
    axis: int
    ramp: float | None
    shelf: float
    ground: Ground

    @property
    def need(self) -> float:
        """The least length along the axis, walls between included."""
        ground = self.ground
        width = sum(room.width + 2.0 * ground.margin(0.0) for room in self.rooms)
        return width + (len(self.rooms) - 1) * ground.wall

    def fill(self, draft: Draft) -> Filling:
        """Return where things lie and dividers stand."""
        ground, rim, axis = self.ground, draft.rim, self.axis
        start, margin = ground.start(rim), ground.margin(0.0)
        usable = [ground.usable(halves, rim) for halves in draft.halves]
        usable[1] -= self.shelf
        spare = (usable[axis] - self.need) / len(self.rooms)
        content: list[Lot | Bulk] = []
        dividers: list[Wall] = []
        at = 0.0
        for room in self.rooms:
            if content:
                dividers.append(Wall("y" if axis else "x", at + ground.wall / 2.0 + ground.ledge(rim)))
                at += ground.wall
            width = room.width + 2.0 * margin + spare
            box = _Box(start + at, width, start, usable[1 - axis], axis)
            content.append(self._heap(room, box, draft) if isinstance(room, _Poured) else _lot(room, box, ground))
            at += width
        return Filling(tuple(content), tuple(dividers), ramp=self.ramp)

    def _heap(self, room: _Poured, box: "_Box", draft: Draft) -> Bulk:
        margin = self.ground.margin(0.0)
        sides = box.turned(box.width - 2.0 * margin, box.length - 2.0 * margin)
        corner = box.turned(box.at + margin, box.start + margin)
        lying = heap(room.goods, *sides, self.ramp)
        if lying is None:  # sizes were chosen so that it is not
            raise AssertionError(room.goods)
        return region(room.goods, lying, (*corner, self.ground.floor_top), sides, fill_limit(draft, self.ground))


@dataclass(frozen=True, slots=True)
class _Box:
    """One compartment: where it starts and how wide it is along the axis; the same across it."""

    at: float
    width: float
    start: float
    length: float
    axis: int

    def turned(self, along: float, across: float) -> tuple[float, float]:
        """Return a pair along and across the axis as one of x and y."""
        return (along, across) if self.axis == 0 else (across, along)


def _lot(room: _Laid, box: _Box, ground: Ground) -> Lot:
    """Return where the things of a laid compartment lie."""
    margin, axis = ground.margin(0.0), box.axis
    along = Line(room.pose.size[axis], margin).spread(room.length, box.width)
    across = Pairs(room.pose.size[1 - axis], FINGER_GAP, ground.wall, margin).spread(room.rows, box.length)
    places = tuple(box.at + at for at in along.starts), tuple(box.start + at for at in across.starts)
    ups = tuple(ground.floor_top + layer * room.pose.size[2] for layer in range(room.layers))
    return Lot(room.name, room.pose, room.count, places[axis], places[1 - axis], ups)


def share(items: Sequence[Item], ground: Ground) -> tuple[Option, ...]:
    """Return every sensible tray that holds all of these items, each in its own compartment; none when none fits.

    A label names the group, or the first item that has one.

    Args:
        items: two or more, all of them loose or in rows.
        ground: the drawer's grid, span and height.
    """
    return _share(tuple(items), ground)


@lru_cache(maxsize=1024)
def _share(items: tuple[Item, ...], ground: Ground) -> tuple[Option, ...]:
    label = next((item.group or item.label_text for item in items if item.label_text is not None), None)
    both = set.intersection(*(set(rims(item)) for item in items))
    kinds = tuple(_Kind.of(item) for item in items)
    drafts = [
        draft
        for rim in sorted(both)
        for axis in (0, 1)
        for draft in _drafts(kinds, ground, rim, axis, shelf=label is not None)
        if carries(label, draft, ground)
    ]
    names = tuple(item.name for item in items)
    return tuple(one.option(names, label, ground) for one in sensible(drafts, low="stacking" in both))


def gangs(items: Sequence[Item], ground: Ground) -> tuple[tuple[Item, ...], ...]:
    """Return the small kinds of each group that may share a tray, at most `MOST_TOGETHER` at a time, in order.

    An item with a place of its own, pinned, fixed or near another, shares none.
    """
    groups: dict[tuple[str, tuple[Rim, ...]], list[Item]] = {}
    for item in items:
        if item.group is not None and item.at is None and item.near is None and not item.fixed and _ways(item):
            alone = options(item, ground)
            if alone and alone[0].area <= _SMALL:
                groups.setdefault((item.group, rims(item)), []).append(item)
    found: list[tuple[Item, ...]] = []
    for kinds in groups.values():
        trays = ceil(len(kinds) / MOST_TOGETHER)
        # as even as can be, so that none is left over alone
        cuts = [round(k * len(kinds) / trays) for k in range(trays + 1)]
        found += [tuple(kinds[start:end]) for start, end in pairwise(cuts) if end - start > 1]
    return tuple(found)


def _ways(item: Item) -> tuple[Storage, ...]:
    """Return how an item may be stored in a compartment."""
    return tuple(way for way in storages(item) if way in {"rows", "loose"})


def _drafts(kinds: tuple[_Kind, ...], ground: Ground, rim: Rim, axis: int, *, shelf: bool) -> Iterator[Draft]:
    """Yield the drafts of one direction of dividers, a longer compartment each time."""
    strip = SHELF.depth if shelf else 0.0
    margin = 2.0 * ground.margin(0.0)
    for long in range(ground.step, min(ground.span[1 - axis], _LONGEST) + 1, ground.step):
        length = ground.usable(long, rim) - margin - (strip if axis == 0 else 0.0)
        if length < FINGER_BREADTH - margin:
            continue
        for depth in _DEPTHS:
            tray = _tray(kinds, _Bounds(ground, axis, length, depth), strip)
            if tray is None:
                continue
            wide = ground.halves(tray.need + (strip if axis == 1 else 0.0), rim)
            walls, stack = _heights(tray, length)
            stand = ground.stand(max(walls, shelf_walls(shelf=shelf)), stack, rim)
            if stand is None or wide > ground.span[axis]:
                continue
            height, top = stand
            halves = (wide, long) if axis == 0 else (long, wide)
            plastic = ground.plastic(halves, height, rim, shelf=shelf)
            plastic += (len(kinds) - 1) * length * ground.wall * (height - ground.floor_top)
            plastic += wedge(tray.ramp) * tray.need if tray.ramp else 0.0
            yield Draft(tuple(room.storage for room in tray.rooms), halves, height, top, rim, plastic, tray.fill)
            if not any(isinstance(room, _Poured) for room in tray.rooms):
                break  # the depth made no difference


def _tray(kinds: tuple[_Kind, ...], bounds: "_Bounds", strip: float) -> _Tray | None:
    """Return the compartments for rooms of this length, or None when one thing does not fit."""
    all_loose = all("loose" in kind.ways for kind in kinds)
    if all_loose and bounds.axis == 0:
        bounds = replace(bounds, ramp=ramp_radius(bounds.depth, bounds.length))
    rooms: list[_Compartment] = []
    for kind in kinds:
        ways = ("loose",) if bounds.ramp is not None else kind.ways
        rooms_of = [_poured(kind, bounds) if way == "loose" else _laid(kind, bounds) for way in ways]
        found = [room for room in rooms_of if room is not None]
        if not found:
            return None
        rooms.append(min(found, key=lambda room: (room.width, room.storage)))
    return _Tray(tuple(rooms), bounds.axis, bounds.ramp, strip, bounds.ground)


@dataclass(frozen=True, slots=True)
class _Bounds:
    """What compartments are tried for: their length, the dividers' axis, how deep loose things are meant to lie."""

    ground: Ground
    axis: int
    length: float
    depth: float
    ramp: float | None = None


def _poured(kind: _Kind, bounds: _Bounds) -> _Poured | None:
    """Return the narrowest compartment for an item's loose things."""
    goods = kind.goods
    depth, length = max(bounds.depth, goods.thin), bounds.length
    section = depth * length - (wedge(bounds.ramp) if bounds.ramp else 0.0)
    width = max(goods.volume / section, FINGER_BREADTH, goods.thin + 2.0 * AIR)
    if length < goods.long + 2.0 * AIR:
        width = max(width, goods.long + 2.0 * AIR)
    return _Poured(goods, width) if goods.fits(width, length) and depth <= FILL_DEPTH else None


def _laid(kind: _Kind, bounds: _Bounds) -> _Laid | None:
    """Return the narrowest compartment for an item's things in one row or two."""
    axis, least = bounds.axis, FINGER_BREADTH - 2.0 * bounds.ground.margin(0.0)
    item = kind.item
    found: list[_Laid] = []
    for pose in kind.lying:
        across = pose.size[1 - axis]
        rows = next((n for n in (2, 1) if n * across + FINGER_GAP <= bounds.length and n <= item.count), 0)
        if not rows:
            continue
        for layers in layers_of(pose, item.count, layered=item.access != "often"):
            count = ceil(item.count / (rows * layers))
            width = max(Line(pose.size[axis], 0.0).need(count), least)
            found.append(_Laid(item.name, item.count, pose, count, rows, layers, width))
    return min(found, key=lambda one: (one.width, one.layers), default=None)


def _heights(tray: _Tray, length: float) -> tuple[float, float]:
    """Return the least walls over the floor and the height of what lies there."""
    walls, stack = 0.0, 0.0
    for room in tray.rooms:
        if isinstance(room, _Laid):
            high = room.pose.size[2]
            walls, stack = max(walls, (room.layers - 1.0 + ROW_WALL) * high), max(stack, room.layers * high)
        else:
            sides = (room.width, length) if tray.axis == 0 else (length, room.width)
            lying = heap(room.goods, *sides, tray.ramp)
            if lying is None:  # sizes were chosen so that it is not
                raise AssertionError(room.goods)
            walls, stack = max(walls, lying.walls), max(stack, lying.depth)
    return walls, stack
