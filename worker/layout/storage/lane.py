"""Lanes: every way to keep one kind of thing in a compartment that runs the whole length of a tray's room.

Lanes stand side by side along an axis, a divider between each two. In a lane things lie in rows and layers, stand,
stand filed leaf by leaf, or lie loose. Whatever is taken out singly can be reached: beside the first thing there is a
gap of `FINGER_GAP`, or it sticks out of the walls by `LEAST_GRIP`; things are all alike, so those that are left follow.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import lru_cache
from math import ceil
from typing import Final, Literal, TypeAlias

from worker.layout.storage.loose import FILL_DEPTH, FILL_SHARE, Goods, heap, poured, region
from worker.layout.storage.poses import Pose, poses, turned, volume
from worker.layout.storage.reach import FINGER_BREADTH, FINGER_GAP, LEAST_GRIP
from worker.layout.storage.sizing_rules import AIR, DrawerLimits
from worker.layout.storage.tray_option import Bulk, Lot
from worker.spec.items.item import Storage
from worker.spec.items.shape import Cylinder, PlainShape, Prism, Screw
from worker.spec.tolerances import LENGTH_EPSILON

__all__ = ["Kind", "Lane", "lanes", "natural_ways"]

#: Of a lying rod this share of its thickness must stick out, for fingertips reach down beside its round (own choice).
_ROD_GRIP: Final = 0.4

#: How far a wall may rise over things that a finger reaches beside (own choice: the first two joints).
_REACH: Final = 25.0

#: The share of the topmost lying thing that walls hold: a round one does not roll over them.
_LYING_WALL: Final = 0.5

#: The shares of a standing thing's height that walls hold: of a bottle a third, of what is filed a half (common
#: practice); what was asked to stand though it tips over easily is held by more. Over three quarters nothing is left to
#: take it by.
_BOTTLE_WALL: Final = 1.0 / 3.0
_STANDING_WALL: Final = 0.35
_FILED_WALL: Final = 0.5
_TIPPING_WALL: Final = 0.6
_MOST_STANDING_WALL: Final = 0.75

#: A thing stands by itself when it is no higher than so many times its least width.
_STABLE: Final = 3.0

#: More layers than these, or higher ones, are dug through, not looked at; flat things are piled as high as this, to be
#: leafed through.
_MOST_LAYERS: Final = 4
_DEEP: Final = 60.0
_PILE: Final = 45.0

#: A pile that is held at its foot only is no higher than so many times its shorter side.
_PILED: Final = 1.2

#: A flat thing is no thicker than this share of its second side; from this second side on it may be filed.
_FLAT: Final = 0.2
_FILED: Final = 18.0

#: What filed things take beyond their thickness for leafing, and the longest file without a stop.
_LEAF_AIR: Final = 0.15
_FILE: Final = 50.0

#: Small things are no longer and no larger (mm3) than this, and so many of them are poured (own choice).
_SMALL: Final = 60.0
_SMALL_VOLUME: Final = 3500.0
_MANY: Final = 8

#: Depths that loose things may be meant to have, and the highest walls that fingers reach over to the last of them.
_DEPTHS: Final = (8.0, 12.0, 18.0, 24.0, FILL_DEPTH)
_MOST_HEAP_WALL: Final = 50.0

#: The narrowest lane: dividers need that between their faces, and some to spare (worker.layout.tray.dividers).
_NARROWEST: Final = 5.0

#: Heaps of more than this (mm3) may be split over compartments.
_LARGE_HEAP: Final = 400_000.0

#: Walls round loose things are at least this high (own choice).
_LEAST_HEAP_WALL: Final = 10.0

#: The lowest wall of a tray over its floor.
_LEAST_WALL: Final = 5.0

#: A tray is up to so much higher than the walls that it was asked for.
_ROUNDED: Final = 1.2

Way: TypeAlias = Literal["row", "file", "stand", "heap"]


@dataclass(frozen=True, slots=True)
class Kind:
    """What lanes depend on: a thing's shape, how many there are, and the storage that was asked for."""

    shape: PlainShape
    count: int
    storage: Storage | None = None


@dataclass(frozen=True, slots=True)
class Lane:
    """One kind of thing in a lane: ``count`` of them in ``across`` rows of ``along``, ``layers`` high.

    ``width`` is the least width of the lane in mm, from wall to wall. ``walls`` are the least walls over the tray's
    floor and ``most`` the highest from which things can still be taken; ``stack`` is how high the things reach.
    ``margin`` is kept to the lane's sides and ``side_gap`` free beside the rows; ``pitch`` is from one row to the next
    (0: their width and `AIR`), ``inner`` counts the stops that divide a file. Loose things have ``goods``.
    """

    way: Way
    pose: Pose
    count: int
    along: int
    across: int
    layers: int
    width: float
    walls: float
    most: float
    stack: float
    margin: float
    side_gap: float = 0.0
    pitch: float = 0.0
    inner: int = 0
    goods: Goods | None = None

    @property
    def storage(self) -> Storage:
        """The way as the spec of an item calls it."""
        return {"row": "rows", "file": "upright", "stand": "upright", "heap": "loose"}[self.way]  # type: ignore[return-value]

    @property
    def capacity(self) -> int:
        """How many have room; of loose things those that were counted."""
        return self.count if self.way == "heap" else self.along * self.across * self.layers

    def turned(self) -> "Lane":
        """Return the same lane in a tray whose lanes stand side by side along the other axis."""
        return replace(self, pose=turned(self.pose))

    def fill(  # noqa: PLR0917 - numbers of one room
        self,
        name: str,
        at: float,
        width: float,
        span: tuple[float, float],
        axis: int,
        ground: DrawerLimits,
        walls: float,
        ramp: float | None = None,
    ) -> tuple[Lot | Bulk, tuple[float, ...]]:
        """Return where the things are, and the middles of the lane's own stops along the axis.

        Args:
            name: of the item.
            at: where the lane begins along ``axis``, in the tray's part frame.
            width: of the lane, from wall to wall; no less than it needs.
            span: where it begins across the axis, and its length there.
            axis: along which lanes stand side by side, 0 for x.
            ground: the drawer's.
            walls: height of the tray's walls over its floor.
            ramp: radius of the tray's finger ramp.
        """
        start, length = span
        if self.way == "heap":
            return self._heaped(name, at, width, span, axis, ground, walls, ramp), ()
        sizes = self.pose.size[1 - axis], self.pose.size[axis]
        pitch = self.pitch or sizes[1] + AIR
        rows, stops = self._rows(at, width, sizes[1], pitch, self.margin, ground.wall)
        slack = length - self.along * sizes[0] - (self.along - 1) * AIR
        if self.way == "row":
            behind = min(slack - FINGER_GAP, ground.corner) if slack >= FINGER_GAP + AIR else slack / 2.0
            first = start + slack - behind  # against the back, the gap in front
            step = sizes[0] + AIR
        else:
            spread = (slack - 2.0 * self.margin) / (self.along + 1.0)
            step = sizes[0] + AIR + spread
            first = start + self.margin + spread
        places = tuple(first + k * step for k in range(self.along))
        pair = (rows, places) if axis == 0 else (places, rows)
        ups = tuple(ground.floor_top + layer * self.pose.size[2] for layer in range(self.layers))
        return Lot(name, self.pose, self.count, pair[0], pair[1], ups), stops

    def _rows(  # noqa: PLR0917 - numbers of one room
        self, at: float, width: float, size: float, pitch: float, margin: float, wall: float
    ) -> tuple[tuple[float, ...], tuple[float, ...]]:
        """Return where each row begins along the axis, and the middles of stops."""
        if self.inner:
            groups = self.inner + 1
            room = (width - self.inner * wall) / groups
            per = ceil(self.across / groups)
            rows: list[float] = []
            stops: list[float] = []
            for group in range(groups):
                begin = at + group * (room + wall)
                number = min(per, self.across - group * per)
                spare = (room - (number - 1) * pitch - size) / 2.0
                rows.extend(begin + spare + k * pitch for k in range(number))
                if group:
                    stops.append(begin - wall / 2.0)
            return tuple(rows), tuple(stops)
        slack = width - 2.0 * margin - (self.across - 1) * pitch - size
        if self.side_gap and self.across == 2:  # noqa: PLR2004 - the gap between two rows serves both
            return (at + margin, at + margin + pitch + slack), ()
        if self.side_gap:
            return tuple(at + margin + k * pitch for k in range(self.across)), ()
        if self.way == "stand":
            step = slack / (self.across + 1.0)
            return tuple(at + margin + step + k * (pitch + step) for k in range(self.across)), ()
        return tuple(at + margin + slack / 2.0 + k * pitch for k in range(self.across)), ()

    def _heaped(  # noqa: PLR0917 - numbers of one room
        self,
        name: str,
        at: float,
        width: float,
        span: tuple[float, float],
        axis: int,
        ground: DrawerLimits,
        walls: float,
        ramp: float | None,
    ) -> Bulk:
        goods, margin = self.goods, ground.margin(0.0)
        assert goods is not None  # noqa: S101 - a heap has goods
        sides = (width - 2.0 * margin, span[1] - 2.0 * margin)
        corner = (at + margin, span[0] + margin)
        if axis == 1:
            sides, corner = sides[::-1], corner[::-1]
        lying = heap(goods, *sides, ramp)
        assert lying is not None  # noqa: S101 - the width was chosen so that it is not too deep
        most = min(FILL_DEPTH, FILL_SHARE * walls)
        return region(replace(goods, name=name), lying, (*corner, ground.floor_top), sides, most)


def natural_ways(kind: Kind) -> tuple[tuple[Way, Pose], ...]:
    """Return the ways and poses in which a person would keep such things, both turns of each.

    Things lie as low as they can or as they were given, stand only where they are stable or are asked to, and thin
    flat ones are filed where there are several. Small ones that are many are poured.
    """
    every = poses(kind.shape)
    lowest = min(pose.size[2] for pose in every)
    lying = [pose for pose in every if pose.size[2] <= lowest]
    if isinstance(kind.shape, Prism):
        lying = [pose for pose in every if pose.axis == "z"]
    standing = [pose for pose in every if pose.size[2] > min(pose.size[:2]) and pose not in lying]
    short, middle, long = sorted(every[0].size)
    flat = short <= _FLAT * middle
    if kind.storage == "rows":
        return tuple(("row", pose) for pose in lying)
    if kind.storage == "loose":
        return (("heap", lying[0]),)
    if kind.storage == "pocket":
        return ()
    if kind.storage == "upright":
        return tuple(("file" if _leaf(pose) else "stand", pose) for pose in standing)
    if kind.count >= _MANY and long <= _SMALL and volume(kind.shape) <= _SMALL_VOLUME:
        return (("heap", lying[0]),)
    ways: list[tuple[Way, Pose]] = [("row", pose) for pose in lying]
    if flat and middle >= _FILED and kind.count > 1:
        ways += [("file", pose) for pose in standing if _leaf(pose) and pose.size[2] <= middle]
    if not flat:
        ways += [("stand", pose) for pose in standing if _stands(kind.shape, pose)]
    return tuple(ways)


def _leaf(pose: Pose) -> bool:
    return min(pose.size[:2]) <= _FLAT * sorted(pose.size)[1]


def _stands(shape: PlainShape, pose: Pose) -> bool:
    """Return whether a thing stands so unasked: it is stable, and its base is not smaller than it has to be."""
    if pose.size[2] > _STABLE * min(pose.size[:2]):
        return False
    if isinstance(shape, Cylinder | Screw):
        return pose.axis == "z"
    if isinstance(shape, Prism):
        return False
    return pose.size[2] == shape.size[2]  # as it was given


@lru_cache(maxsize=16384)
def lanes(kind: Kind, axis: int, length: float, ground: DrawerLimits) -> tuple[Lane, ...]:
    """Return every sensible lane of this length: none is wider, higher and holds less than another.

    Args:
        kind: what is to lie in it.
        axis: along which lanes stand side by side, 0 for x.
        length: of the room across that, in mm.
        ground: the drawer's.
    """
    kept: list[Lane] = []
    limit = ground.limit - ground.floor_top
    for lane in sorted(
        _every(kind, axis, length, ground), key=lambda lane: (-lane.count, lane.width, lane.walls, -lane.most)
    ):
        if lane.walls > lane.most or max(lane.walls + _ROUNDED, lane.stack) > limit:
            continue
        if not any(_beats(other, lane) for other in kept):
            kept.append(lane)
    return tuple(kept)


def _beats(lane: Lane, other: Lane) -> bool:
    """Return whether a lane serves wherever the other does."""
    return (
        lane.count >= other.count
        and lane.width <= other.width
        and lane.walls <= other.walls
        and lane.most >= other.most
        and lane.layers <= other.layers
    )


def _every(kind: Kind, axis: int, length: float, ground: DrawerLimits) -> Iterator[Lane]:
    for way, pose in natural_ways(kind):
        if way == "heap":
            yield from _heaps(kind, pose, length, ground)
        elif way == "row":
            yield from _lying(kind, pose, axis, length, ground)
        elif way == "file":
            yield from _filed(kind, pose, axis, length, ground)
        else:
            yield from _standing(kind, pose, axis, length, ground)


def _counts(most: int, per: int) -> tuple[int, ...]:
    """Return how many rows are worth trying: all that are needed, about a half, a third, one."""
    rows = ceil(most / per)
    return tuple(sorted({rows, ceil(rows / 2), ceil(rows / 3), 1}, reverse=True))


def _lying(kind: Kind, pose: Pose, axis: int, length: float, ground: DrawerLimits) -> Iterator[Lane]:
    long, wide, high = pose.size[1 - axis], pose.size[axis], pose.size[2]
    flat = high <= _FLAT * min(long, wide)
    highest = max(int((_PILE if flat else _DEEP) / high), 1)
    layer_counts = (1, ceil(highest / 2), highest) if flat else range(1, min(highest, _MOST_LAYERS) + 1)
    most = int((length - AIR + 1e-9) // (long + AIR))
    for number in sorted({min(most, kind.count), min(max(most - 1, 1), kind.count)} if most else ()):
        slack = length - number * long - (number - 1) * AIR
        end_gap = slack >= FINGER_GAP + AIR
        margin = ground.beside(slack - FINGER_GAP if end_gap else slack / 2.0)
        for layers in sorted({min(kind.count, count) for count in layer_counts}):
            for rows in _counts(kind.count, number * layers):
                yield from _laid(kind, pose, axis, length, (number, rows, layers), margin, end_gap=end_gap)


def _laid(  # noqa: PLR0917 - of one room
    kind: Kind, pose: Pose, axis: int, length: float, grid: tuple[int, int, int], margin: float, *, end_gap: bool
) -> Iterator[Lane]:
    """Yield the lanes of one pattern: with a gap for a finger, and without where things stick out of low walls."""
    long, wide, high = pose.size[1 - axis], pose.size[axis], pose.size[2]
    number, rows, layers = grid
    count = min(kind.count, number * rows * layers)
    along = ceil(count / (rows * layers))
    stack = layers * high
    walls = max(stack - (1.0 - _LYING_WALL) * high, 0.0)
    width = rows * (wide + AIR) - AIR + 2.0 * margin
    made = Lane("row", pose, count, along, rows, layers, max(width, _NARROWEST), walls, stack + _REACH, stack, margin)
    if end_gap:
        yield replace(made, width=max(width, FINGER_GAP + 2.0))
    else:
        yield replace(made, width=width + FINGER_GAP, side_gap=FINGER_GAP)
    rod = pose.form == "cylinder" and pose.axis != "z"
    grip = min(LEAST_GRIP, _ROD_GRIP * high) if rod else LEAST_GRIP
    if high - grip < _LEAST_WALL:
        return  # no wall is so low
    if layers == 1 or width - wide >= FINGER_GAP or length - long >= FINGER_GAP:
        # the first sticks out, and what is left has a gap
        yield replace(made, most=stack - grip)
    elif stack <= _PILED * min(long, wide):
        # each sticks out, to the lowest
        yield replace(made, walls=min(_LYING_WALL * high, high - grip), most=high - grip)


def _filed(kind: Kind, pose: Pose, axis: int, length: float, ground: DrawerLimits) -> Iterator[Lane]:
    """Yield files: leaves across the lane's width, so that walls and stops hold them."""
    margin = ground.margin(0.0)
    long, thick, high = pose.size[1 - axis], pose.size[axis], pose.size[2]
    if thick > long:
        return
    along = int((length - 2.0 * margin + AIR + 1e-9) // (long + AIR))
    if along < 1 or high - _FILED_WALL * high < LEAST_GRIP + _ROUNDED:
        return
    pitch = thick * (1.0 + _LEAF_AIR) + 0.1
    per = max(int(_FILE / pitch), 2)
    for rows in _counts(kind.count, along):
        count = min(kind.count, along * rows)
        inner = ceil(rows / per) - 1
        groups = inner + 1
        widest = ceil(rows / groups)
        width = groups * ((widest - 1) * pitch + thick + 2.0 * margin) + inner * ground.wall
        most = min(_MOST_STANDING_WALL * high, high - LEAST_GRIP)
        yield Lane(
            "file",
            pose,
            count,
            ceil(count / rows),
            rows,
            1,
            max(width, _NARROWEST * groups + inner * ground.wall),
            _FILED_WALL * high,
            most,
            high,
            margin,
            pitch=pitch,
            inner=inner,
        )


def _standing(kind: Kind, pose: Pose, axis: int, length: float, ground: DrawerLimits) -> Iterator[Lane]:
    margin = ground.margin(0.0)
    long, wide, high = pose.size[1 - axis], pose.size[axis], pose.size[2]
    along = int((length - 2.0 * margin + AIR + 1e-9) // (long + AIR))
    if along < 1:
        return
    stable = high <= _STABLE * min(long, wide)
    share = (_BOTTLE_WALL if pose.round_radius else _STANDING_WALL) if stable else _TIPPING_WALL
    most = min(_MOST_STANDING_WALL * high, high - LEAST_GRIP)
    for rows in _counts(kind.count, along):
        count = min(kind.count, along * rows)
        width = rows * (wide + AIR) - AIR + 2.0 * margin
        yield Lane(
            "stand", pose, count, ceil(count / rows), rows, 1, max(width, _NARROWEST), share * high, most, high, margin
        )


def _heaps(kind: Kind, pose: Pose, length: float, ground: DrawerLimits) -> Iterator[Lane]:
    every = poured("", kind.count, kind.shape)
    yield from _heaps_of(every, pose, length, ground)
    if every.volume > _LARGE_HEAP:
        for parts in (2, 3, 4):
            yield from _heaps_of(poured("", ceil(kind.count / parts), kind.shape), pose, length, ground)


def _heaps_of(goods: Goods, pose: Pose, length: float, ground: DrawerLimits) -> Iterator[Lane]:
    margin = 2.0 * ground.margin(0.0)
    room = length - margin
    for depth in _DEPTHS:
        deep = max(depth, goods.thin)
        if deep > FILL_DEPTH or room <= 0.0:
            continue
        width = max(goods.volume / (deep * room), goods.thin + 2.0 * AIR, FINGER_BREADTH)
        if room < goods.long + 2.0 * AIR:
            width = max(width, goods.long + 2.0 * AIR)
        if not goods.fits(width, room):
            continue
        lying = heap(goods, width, room, None)
        if lying is not None:
            yield Lane(
                "heap",
                pose,
                goods.count,
                1,
                1,
                1,
                width + margin,
                max(lying.depth / FILL_SHARE, _LEAST_HEAP_WALL),
                _MOST_HEAP_WALL,
                lying.depth,
                margin / 2.0,
                goods=goods,
            )
            if lying.depth < depth - LENGTH_EPSILON:
                return
