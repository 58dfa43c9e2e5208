"""Compartments: the ways to store one item in a part of a shared tray.

A compartment has a width along the axis that compartments stand side by side on, and a length across it. Things lie in
rows with a gap to hook them out, stand, or lie loose. Only dividers across the axis run through it, so that they are
walls from side to side of the tray.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from math import ceil, inf
from typing import Final, TypeAlias

from worker.layout.storage.in_rows import FINGER_BREADTH, FINGER_GAP, ROW_WALL, layers_of
from worker.layout.storage.loose import FILL_DEPTH, Goods, heap, poured, ramp_radius, region, wedge
from worker.layout.storage.poses import Pose, lying_poses, poses
from worker.layout.storage.sizing_rules import AIR, DrawerLimits
from worker.layout.storage.spacing import Groups, Line, Pairs
from worker.layout.storage.tray_option import Bulk, Lot
from worker.layout.storage.tray_sizes import storages
from worker.layout.storage.upright import LEAST_GRIP, UPRIGHT_SUPPORT, standing_groups, standing_poses
from worker.spec.items.item import Item, Storage
from worker.spec.items.shape import PlainShape

__all__ = ["DEPTHS", "Compartment", "CompartmentBox", "Heaped", "Kind", "Laid", "compartments", "heaps"]

#: Depths that loose things may be meant to have.
DEPTHS: Final = (8.0, 12.0, 18.0, 24.0, FILL_DEPTH)

#: What stands is no further from the end walls than a tray of one cell would keep it, in cells: else it falls.
_LOOSE_ENDS: Final = 1.0

#: The narrowest compartment: dividers need that between their faces, and some to spare (worker.layout.tray.dividers).
_NARROWEST: Final = 5.0

#: A tray is a millimetre or two higher than the walls that it was asked for, so what stands must stick out more.
_ROUNDED: Final = 2.0


@dataclass(frozen=True)
class Kind:
    """What compartments of an item hang on, but for its name."""

    shape: PlainShape
    count: int
    ways: tuple[Storage, ...]
    layered: bool

    def __hash__(self) -> int:
        """Return the hash, worked out once."""
        return self._hash

    @cached_property
    def _hash(self) -> int:
        return hash((self.shape, self.count, self.ways, self.layered))

    @staticmethod
    def of(item: Item) -> "Kind":
        """Return an item's kind."""
        return Kind(
            item.plain, item.count, tuple(way for way in storages(item) if way != "pocket"), item.access != "often"
        )


@dataclass(frozen=True, slots=True)
class CompartmentBox:
    """The room of one compartment in the tray's part frame: where it starts and how wide it is along the axis.

    ``start`` and ``length`` are the same across it.
    """

    at: float
    width: float
    start: float
    length: float
    axis: int

    def turned(self, along: float, across: float) -> tuple[float, float]:
        """Return a pair along and across the axis as one of x and y."""
        return (along, across) if self.axis == 0 else (across, along)


@dataclass(frozen=True, slots=True)
class Heaped:
    """A compartment of loose things."""

    goods: Goods
    width: float
    walls: float
    stack: float
    storage: Storage = "loose"
    most: float = inf
    inner: int = 0

    def fill(
        self, name: str, box: CompartmentBox, ground: DrawerLimits, ramp: float | None, most: float
    ) -> tuple[Bulk, list[float]]:
        """Return the region that the things of an item fill."""
        margin = ground.margin(0.0)
        sides = box.turned(box.width - 2.0 * margin, box.length - 2.0 * margin)
        corner = box.turned(box.at + margin, box.start + margin)
        lying = heap(self.goods, *sides, ramp)
        if lying is None:  # sizes were chosen so that it is not
            raise AssertionError(self.goods)
        return region(replace(self.goods, name=name), lying, (*corner, ground.floor_top), sides, most), []


@dataclass(frozen=True, slots=True)
class Laid:
    """A compartment of things in a grid: ``along`` the axis and ``across`` it by these spacings.

    ``walls`` are the least over the floor and ``most`` the highest from which the things can still be taken; ``inner``
    counts the dividers that it has of its own.
    """

    pose: Pose
    count: int
    along: Line | Pairs | Groups
    across: Line | Pairs | Groups
    grid: tuple[int, int]
    layers: int
    width: float
    walls: float
    storage: Storage
    most: float = inf
    inner: int = 0

    @property
    def stack(self) -> float:
        """How high the things reach over the floor."""
        return self.layers * self.pose.size[2]

    def fill(
        self,
        name: str,
        box: CompartmentBox,
        ground: DrawerLimits,
        ramp: float | None,  # noqa: ARG002 - as loose things are asked
        most: float,  # noqa: ARG002 - as loose things are asked
    ) -> tuple[Lot, list[float]]:
        """Return where the things of an item lie, and the middles of the compartment's own dividers."""
        along = self.along.spread(self.grid[0], box.width)
        across = self.across.spread(self.grid[1], box.length)
        places = tuple(box.at + at for at in along.starts), tuple(box.start + at for at in across.starts)
        ups = tuple(ground.floor_top + layer * self.pose.size[2] for layer in range(self.layers))
        lot = Lot(name, self.pose, self.count, places[box.axis], places[1 - box.axis], ups)
        return lot, [box.at + at for at in along.dividers]


Compartment: TypeAlias = Heaped | Laid


@lru_cache(maxsize=8192)
def compartments(kind: Kind, axis: int, length: float, ground: DrawerLimits) -> tuple[Compartment, ...]:
    """Return every sensible compartment of this length, narrowest first: none is both wider and higher than another.

    Args:
        kind: what is to lie in it.
        axis: along which compartments stand side by side, 0 for x.
        length: of the room across that.
        ground: the drawer's.
    """
    kept: list[Compartment] = []
    for room in sorted(_every(kind, axis, length, ground), key=lambda room: (room.width, room.walls, -room.most)):
        if not any(_beats(other, room) for other in kept):
            kept.append(room)
    return tuple(kept)


def heaps(kind: Kind, length: float, ground: DrawerLimits, depth: float) -> tuple[float | None, Heaped | None]:
    """Return the ramp of compartments side by side along x in which things lie so deep, and this kind's compartment."""
    margin = 2.0 * ground.margin(0.0)
    ramp = ramp_radius(depth, length - margin)
    return ramp, _heaped(poured("", kind.count, kind.shape), 0, length, ground, depth, ramp)


def _beats(room: Compartment, other: Compartment) -> bool:
    """Return whether one that is no wider serves wherever the other does."""
    lower = room.walls <= other.walls and room.stack <= other.stack
    return lower and room.most >= other.most and room.inner <= other.inner


def _every(kind: Kind, axis: int, length: float, ground: DrawerLimits) -> Iterator[Compartment]:
    if "loose" in kind.ways:
        goods = poured("", kind.count, kind.shape)
        for depth in DEPTHS:
            heaped = _heaped(goods, axis, length, ground, depth, None)
            if heaped is not None:
                yield heaped
    every = poses(kind.shape)
    if "rows" in kind.ways:
        for pose in lying_poses(every):
            for layers in layers_of(pose, kind.count, layered=kind.layered):
                yield from _rows(kind, pose, layers, axis, length, ground)
    if "upright" in kind.ways:
        for pose in standing_poses(every):
            yield from _standing(kind, pose, axis, length, ground)


def _heaped(  # noqa: PLR0917 - all of them numbers of one room
    goods: Goods, axis: int, length: float, ground: DrawerLimits, depth: float, ramp: float | None
) -> Heaped | None:
    """Return the narrowest compartment for loose things that lie no deeper than this."""
    margin = 2.0 * ground.margin(0.0)
    length -= margin
    depth = max(depth, goods.thin)
    section = depth * length - (wedge(ramp) if ramp else 0.0)
    if section <= 0.0 or depth > FILL_DEPTH:
        return None
    width = max(goods.volume / section, FINGER_BREADTH, goods.thin + 2.0 * AIR)
    if length < goods.long + 2.0 * AIR:
        width = max(width, goods.long + 2.0 * AIR)
    if not goods.fits(width, length):
        return None
    lying = heap(goods, *((width, length) if axis == 0 else (length, width)), ramp)
    return None if lying is None else Heaped(goods, width + margin, lying.walls, lying.depth)


def _rows(  # noqa: PLR0917 - all of them of one room
    kind: Kind, pose: Pose, layers: int, axis: int, length: float, ground: DrawerLimits
) -> Iterator[Laid]:
    """Yield rows along the axis, one or two of them with a gap between, and rows across it, in pairs."""
    margin = ground.margin(0.0)
    wide, long = pose.size[axis], pose.size[1 - axis]
    walls = (layers - 1.0 + ROW_WALL) * pose.size[2]
    line, pairs = Line(wide, margin), Pairs(long, FINGER_GAP, ground.wall, margin)
    rows = next((n for n in (2, 1) if n <= kind.count and pairs.need(n) <= length), 0)
    if rows:
        count = ceil(kind.count / (rows * layers))
        width = max(line.need(count), FINGER_BREADTH)
        yield Laid(pose, kind.count, line, pairs, (count, rows), layers, width, walls, "rows")
    line, pairs = Line(long, margin), Pairs(wide, FINGER_GAP, ground.wall, margin)
    count = min(line.most(length), ceil(kind.count / layers))
    if count and length >= FINGER_BREADTH:
        rows = ceil(kind.count / (count * layers))
        count = ceil(kind.count / (rows * layers))
        inner = (rows + 1) // 2 - 1
        yield Laid(pose, kind.count, pairs, line, (rows, count), layers, pairs.need(rows), walls, "rows", inner=inner)


def _standing(kind: Kind, pose: Pose, axis: int, length: float, ground: DrawerLimits) -> Iterator[Laid]:
    """Yield things standing, so many across that no divider runs along the axis."""
    along, across = (standing_groups(pose, side, ground) for side in (axis, 1 - axis))
    count = min(across.most(length), across.per, kind.count)
    if not count:
        return
    rows = ceil(kind.count / count)
    count = ceil(kind.count / rows)
    if length - across.need(count) > _LOOSE_ENDS * ground.pitch:
        return
    inner = ceil(rows / along.per) - 1
    width = max(along.need(rows), _NARROWEST)
    walls = UPRIGHT_SUPPORT * pose.size[2]
    most = pose.size[2] - LEAST_GRIP - _ROUNDED
    if walls <= most:
        grid = (rows, count)
        yield Laid(pose, kind.count, along, across, grid, 1, width, walls, "upright", most=most, inner=inner)
