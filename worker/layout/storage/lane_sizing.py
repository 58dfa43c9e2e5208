"""Lane sizing: the lanes of a given length that a kind of thing may have, none of which is beaten by another.

Whatever is taken out singly can be reached: beside the first thing there is a gap of `FINGER_GAP`, or it sticks out of
the walls by `LEAST_GRIP`; things are all alike, so those that are left follow.
"""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import lru_cache
from math import ceil
from typing import Final, NamedTuple, TypeAlias

from worker.layout.storage.lane import LEAST_LANE, Lane, last_offset
from worker.layout.storage.loose import FILL_DEPTH, SOFT_DEPTH, Goods, heap, poured
from worker.layout.storage.poses import Pose
from worker.layout.storage.reach import FINGER_BREADTH, FINGER_GAP, FINGER_REACH, HAND_BREADTH, LEAST_GRIP
from worker.layout.storage.row_pitch import row_pitch
from worker.layout.storage.sizing_rules import AIR, DrawerLimits
from worker.layout.storage.ways import FLAT, STABLE, Kind, Way, natural_ways
from worker.spec.tolerances import LENGTH_EPSILON

__all__ = ["LYING_WALL", "MOST_HEAP_WALL", "lanes", "lanes_by_length", "natural_lengths"]

#: Of a lying rod this share of its thickness must stick out, for fingertips reach down beside its round (own choice).
_ROD_GRIP: Final = 0.4

#: The share of the topmost lying thing that walls hold: a round one does not roll over them.
LYING_WALL: Final = 0.5

#: The shares of a standing thing's height that walls hold: of a bottle a third, of what is filed a half (common
#: practice); what was asked to stand though it tips over easily is held by more. Over three quarters nothing is left to
#: take it by.
_BOTTLE_WALL: Final = 1.0 / 3.0
_STANDING_WALL: Final = 0.35
_FILED_WALL: Final = 0.5
_TIPPING_WALL: Final = 0.6
_MOST_STANDING_WALL: Final = 0.75

#: More layers than these, or higher ones, are dug through, not looked at (own choice; a hand reaches two or three
#: layers of thick things); flat things are piled as high as this, to be leafed through. Soft ones are piled as high as
#: they may lie in a heap.
_MOST_LAYERS: Final = 4
_DEEP: Final = 80.0
_PILE: Final = 45.0

#: A pile that is held at its foot only is no higher than so many times its shorter side; soft things lean.
_PILED: Final = 1.2
_SOFT_PILED: Final = 0.6

#: Piles and sleeves of things that nest, at most.
_MOST_PILES: Final = 8
_MOST_SLEEVES: Final = 4

#: What filed things take beyond their thickness for leafing, and the longest file without a stop.
_LEAF_AIR: Final = 0.15
_FILE: Final = 50.0

#: Depths that loose things may be meant to have, and the highest walls that fingers reach over to the last of them.
_DEPTHS: Final = (8.0, 12.0, 18.0, 24.0, FILL_DEPTH)
_SOFT_DEPTHS: Final = (30.0, 45.0, 60.0, 80.0, SOFT_DEPTH)
MOST_HEAP_WALL: Final = 50.0

#: Fingers do not reach as far down between walls that are nearer to each other than this (own choice).
_NARROW: Final = 40.0
_MOST_NARROW_WALL: Final = 35.0

#: Heaps of more than this (mm3) may be split over compartments.
_LARGE_HEAP: Final = 400_000.0

#: Walls round loose things are at least this high (own choice).
_LEAST_HEAP_WALL: Final = 10.0

#: Parts of a kind are so many shares of its rows.
_PARTS: Final = 8

#: The lowest wall of a tray over its floor.
_LEAST_WALL: Final = 5.0

#: A tray is up to so much higher than the walls that it was asked for.
_ROUNDED: Final = 1.2


class _Rows(NamedTuple):
    """What of a length counts for lying things: how many lie one behind the other, and what that leaves.

    ``margin`` is how far they keep from the sides, in mm; ``end_gap`` says whether a finger has room before the first,
    ``beside_first`` whether it has when the others are taken out.
    """

    along: int
    margin: float
    end_gap: bool
    beside_first: bool


#: What of a room's length counts for one way to keep things: rows of lying ones, or a length in mm.
_Room: TypeAlias = float | tuple[_Rows, ...]


def lanes(kind: Kind, length: float, ground: DrawerLimits, *, parts: bool = False) -> tuple[Lane, ...]:
    """Return every sensible lane of this length: none is wider, higher and holds less than another.

    Args:
        kind: what is to lie in it; lanes stand side by side along x.
        length: of the room from front to back, in mm.
        ground: the drawer's.
        parts: whether lanes for some of the things are returned, too.
    """
    return _lanes(kind, _rooms(kind, length, ground), ground, parts)


def lanes_by_length(
    kind: Kind, lengths: Sequence[float], ground: DrawerLimits
) -> Iterator[tuple[list[int], tuple[Lane, ...]]]:
    """Yield the lanes for all of a kind's things, each with the lengths that give them, by their index.

    Args:
        kind: what is to lie in them.
        lengths: of rooms from front to back, in mm.
        ground: the drawer's.
    """
    alike: dict[tuple[_Room, ...], list[int]] = {}
    for number, length in enumerate(lengths):
        alike.setdefault(_rooms(kind, length, ground), []).append(number)
    for rooms, numbers in alike.items():
        yield numbers, _lanes(kind, rooms, ground, False)  # noqa: FBT003 - a cache keeps arguments by place


@lru_cache(maxsize=16384)
def _lanes(
    kind: Kind,
    rooms: tuple[_Room, ...],
    ground: DrawerLimits,
    parts: bool,  # noqa: FBT001 - a cache keeps arguments by place
) -> tuple[Lane, ...]:
    """Return every sensible lane for such a room for each way to keep the things."""
    kept: list[Lane] = []
    limit = ground.limit - ground.floor_top
    for lane in sorted(
        _every(kind, rooms, ground, parts=parts), key=lambda lane: (-lane.count, lane.width, lane.walls, -lane.most)
    ):
        if lane.walls > lane.most or max(lane.walls + _ROUNDED, lane.stack) > limit:
            continue
        if not any(_beats(other, lane) for other in kept):
            kept.append(lane)
    return tuple(kept)


@lru_cache(maxsize=4096)
def natural_lengths(kind: Kind, longest: float, ground: DrawerLimits) -> tuple[float, ...]:
    """Return the lengths that lanes of a kind fill: so many things one behind the other, with and without a gap.

    Loose things take any length: they have none.

    Args:
        kind: what is to lie in the lanes.
        longest: no length is over this, in mm.
        ground: the drawer's.
    """
    lengths: set[float] = set()
    for way, pose in natural_ways(kind):
        if way == "heap":
            continue
        along = pose.size[1]
        ends = _row_ends(ground) if way == "row" or kind.nest is not None else (2.0 * ground.margin(0.0) - AIR,)
        if way == "row" and kind.nest is not None:
            sleeves = {ceil(kind.count / rows) for rows in range(1, _MOST_SLEEVES + 1)}
            lengths.update(along + (number - 1) * kind.nest + end for number in sleeves for end in ends)
            continue
        for number in range(1, min(kind.count, int(longest / along)) + 1):
            lengths.update(number * (along + AIR) + end for end in ends)
    return tuple(sorted(length for length in lengths if length <= longest))


def _row_ends(ground: DrawerLimits) -> tuple[float, ...]:
    """Return what a row of things takes at its ends beyond the air of each, without a gap for a finger and with one.

    Either as little as can be: it then keeps from the sides by the whole radius of the room's round corners; or so much
    that it clears them at least width.
    """
    margin = ground.margin(0.0)
    return AIR, 2.0 * margin - AIR, AIR + FINGER_GAP, margin - AIR + FINGER_GAP


def _beats(lane: Lane, other: Lane) -> bool:
    """Return whether a lane serves wherever the other does."""
    return (
        lane.count >= other.count
        and lane.width <= other.width
        and lane.walls <= other.walls
        and lane.most >= other.most
        and lane.layers <= other.layers
    )


def _rooms(kind: Kind, length: float, ground: DrawerLimits) -> tuple[_Room, ...]:
    """Return what of a length counts for each natural way to keep things of a kind."""
    return tuple(_room(kind, way, pose, length, ground) for way, pose in natural_ways(kind))


def _room(kind: Kind, way: Way, pose: Pose, length: float, ground: DrawerLimits) -> _Room:
    """Return what of a length counts for things in a pose: rows, or the length or a shorter one with the same lanes."""
    if way == "heap" or kind.nest is not None:
        return length
    if way == "row":
        return tuple(_rows(kind.count, pose, length, ground))
    if way == "stand" and not _is_stable(pose):
        return length  # its short last row is parted by its length
    return _length(_along(pose, length, ground), pose, ground)


def _rows(count: int, pose: Pose, length: float, ground: DrawerLimits) -> Iterator[_Rows]:
    """Yield as many lying things one behind the other as the length takes, and one less."""
    long, steps = pose.size[1], (AIR, ground.margin(0.0), ground.corner)
    most = int((length - AIR + 1e-9) // (long + AIR))
    for along in sorted({min(most, count), min(max(most - 1, 1), count)} if most else ()):
        slack = length - along * long - (along - 1) * AIR
        end_gap = slack >= FINGER_GAP + AIR
        margin = ground.beside(slack - FINGER_GAP if end_gap else slack / 2.0)
        margin = next((step for step in steps if step >= margin), margin)
        yield _Rows(along, margin, end_gap, length - long >= FINGER_GAP)


def _along(pose: Pose, length: float, ground: DrawerLimits) -> int:
    """Return how many upright things have room one behind the other in a length."""
    return int((length - 2.0 * ground.margin(0.0) + AIR + 1e-9) // (pose.size[1] + AIR))


def _length(along: int, pose: Pose, ground: DrawerLimits) -> float:
    """Return the length of a room that so many upright things take one behind the other, in mm."""
    return along * (pose.size[1] + AIR) - AIR + 2.0 * ground.margin(0.0)


def _every(kind: Kind, rooms: tuple[_Room, ...], ground: DrawerLimits, *, parts: bool) -> Iterator[Lane]:
    for (way, pose), room in zip(natural_ways(kind), rooms, strict=True):
        if isinstance(room, tuple):
            yield from _lying(kind, pose, room, ground, parts=parts)
        elif way == "heap":
            yield from _heaps(kind, pose, room, ground, parts=parts)
        elif kind.nest is not None:
            nested = _sleeved if way == "row" else _piled
            yield from nested(kind, kind.nest, pose, room, ground)
        elif way == "file":
            yield from _filed(kind, pose, room, ground, parts=parts)
        else:
            yield from _standing(kind, pose, room, ground, parts=parts)


def _counts(most: int, per: int, *, parts: bool) -> tuple[int, ...]:
    """Return how many rows are worth trying: all that are needed, and for parts fewer, down to one."""
    rows = ceil(most / per)
    return tuple(dict.fromkeys(ceil(rows * k / _PARTS) for k in range(_PARTS, 0, -1))) if parts else (rows,)


def _lying(kind: Kind, pose: Pose, room: tuple[_Rows, ...], ground: DrawerLimits, *, parts: bool) -> Iterator[Lane]:
    long, wide, high = pose.size[1], pose.size[0], pose.size[2]
    limit = ground.limit - ground.floor_top
    flat = high <= FLAT * min(long, wide)
    deep = SOFT_DEPTH if kind.fill is not None else _PILE if flat else _DEEP
    highest = max(int(deep / high), 1)
    layer_counts = (1, ceil(highest / 2), highest) if flat else range(1, min(highest, _MOST_LAYERS) + 1)
    for rows in room:
        for layers in sorted({min(kind.count, count) for count in layer_counts}):
            if layers * high > limit:
                break
            for across in _counts(kind.count, rows.along * layers, parts=parts):
                yield from _laid(kind, pose, rows, across, layers)


def _laid(kind: Kind, pose: Pose, room: _Rows, rows: int, layers: int) -> Iterator[Lane]:
    """Yield the lanes of one pattern: with a gap for a finger, and without where things stick out of low walls."""
    long, wide, high = pose.size[1], pose.size[0], pose.size[2]
    margin = room.margin
    count = min(kind.count, room.along * rows * layers)
    along = ceil(count / (rows * layers))
    stack = layers * high
    walls = max(stack - (1.0 - LYING_WALL) * high, 0.0)
    pitch = row_pitch(pose)
    width = last_offset(rows, *pitch) + wide + 2.0 * margin
    rod = pose.form == "cylinder" and pose.axis != "z"
    grip = min(LEAST_GRIP, _ROD_GRIP * high) if rod else LEAST_GRIP

    def laid(width: float, walls: float, most: float, *, side_gap: float = 0.0, end_gap: bool = False) -> Lane:
        return Lane(
            "row", pose, count, along, rows, layers, width, walls, most, stack, margin, side_gap,
            pitch=pitch.pitch, end_gap=end_gap, back_pitch=pitch.back if rows > 1 else 0.0,
        )  # fmt: skip

    if room.end_gap:
        yield laid(max(width, FINGER_GAP + 2.0), walls, stack + FINGER_REACH, end_gap=True)
    else:
        yield laid(width + FINGER_GAP, walls, stack + FINGER_REACH, side_gap=FINGER_GAP)
    if high - grip < _LEAST_WALL:
        return  # no wall is so low
    if layers == 1 or width - wide >= FINGER_GAP or room.beside_first:
        # the first sticks out, and what is left has a gap
        yield laid(max(width, LEAST_LANE), walls, stack - grip)
    elif stack <= (_PILED if kind.fill is None else _SOFT_PILED) * min(long, wide):
        # each sticks out, to the lowest
        yield laid(max(width, LEAST_LANE), min(LYING_WALL * high, high - grip), high - grip)


def _piled(kind: Kind, nest: float, pose: Pose, length: float, ground: DrawerLimits) -> Iterator[Lane]:
    """Yield piles of things that nest, each in the one under it, beside each other and behind each other.

    What nests holds itself: walls hold the lowest by a half, and the pile by a third, or a slender one by a half.
    """
    long, wide, high = pose.size[1], pose.size[0], pose.size[2]
    slack = length - long
    if slack < 2.0 * AIR:
        return
    along_most = int((length - AIR + 1e-9) // (long + AIR))
    for piles in range(1, min(kind.count, _MOST_PILES) + 1):
        layers = ceil(kind.count / piles)
        stack = high + (layers - 1) * nest
        if ceil(kind.count / layers) < piles or stack > max(STABLE * min(long, wide), high):
            continue
        for along in sorted({min(along_most, piles), 1}):
            rows = ceil(piles / along)
            slack = length - along * long - (along - 1) * AIR
            end_gap = slack >= FINGER_GAP + AIR
            margin = ground.beside(slack - FINGER_GAP if end_gap else slack / 2.0)
            width = rows * (wide + AIR) - AIR + 2.0 * margin
            held = _BOTTLE_WALL if stack <= _PILED * min(long, wide) else _FILED_WALL
            walls = max(LYING_WALL * high, held * stack)
            lane = Lane(
                "row", pose, kind.count, along, rows, layers, max(width, LEAST_LANE), walls, stack - LEAST_GRIP, stack,
                margin, rise=nest,
            )  # fmt: skip
            if lane.walls <= lane.most:
                yield lane
            if end_gap:
                yield replace(lane, width=max(width, FINGER_GAP + 2.0), most=stack + FINGER_REACH, end_gap=True)
            else:
                yield replace(lane, width=width + FINGER_GAP, most=stack + FINGER_REACH, side_gap=FINGER_GAP)


def _sleeved(kind: Kind, nest: float, pose: Pose, length: float, ground: DrawerLimits) -> Iterator[Lane]:
    """Yield things that nest lying one in the other, in sleeves beside each other with a gap before the first."""
    long, wide, high = pose.size[1], pose.size[0], pose.size[2]
    for rows in range(1, min(kind.count, _MOST_SLEEVES) + 1):
        along = ceil(kind.count / rows)
        slack = length - long - (along - 1) * nest
        if ceil(kind.count / along) < rows or slack < FINGER_GAP + AIR:
            continue
        margin = ground.beside(slack - FINGER_GAP)
        width = rows * (wide + AIR) - AIR + 2.0 * margin
        yield Lane(
            "row", pose, kind.count, along, rows, 1, max(width, FINGER_GAP + 2.0), LYING_WALL * high,
            high + FINGER_REACH, high, margin, end_gap=True, step=nest,
        )  # fmt: skip


def _filed(kind: Kind, pose: Pose, length: float, ground: DrawerLimits, *, parts: bool) -> Iterator[Lane]:
    """Yield files: leaves across the lane's width, so that walls and stops hold them."""
    margin = ground.margin(0.0)
    long, thick, high = pose.size[1], pose.size[0], pose.size[2]
    if thick > long:
        return
    along = _along(pose, length, ground)
    if along < 1 or high - _FILED_WALL * high < LEAST_GRIP + _ROUNDED:
        return
    pitch = thick * (1.0 + _LEAF_AIR) + 0.1
    per = max(int(_FILE / pitch), 2)
    for rows in _counts(kind.count, along, parts=parts):
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
            max(width, LEAST_LANE * groups + inner * ground.wall),
            _FILED_WALL * high,
            most,
            high,
            margin,
            pitch=pitch,
            inner=inner,
        )


def _is_stable(pose: Pose) -> bool:
    return pose.size[2] <= STABLE * min(pose.size[:2])


def _standing(kind: Kind, pose: Pose, length: float, ground: DrawerLimits, *, parts: bool) -> Iterator[Lane]:
    margin = ground.margin(0.0)
    wide, _, high = pose.size
    along = _along(pose, length, ground)
    if along < 1:
        return
    stable = _is_stable(pose)
    share = (_BOTTLE_WALL if pose.round_radius else _STANDING_WALL) if stable else _TIPPING_WALL
    most = min(_MOST_STANDING_WALL * high, high - LEAST_GRIP)
    for least in _counts(kind.count, along, parts=parts):
        count = min(kind.count, along * least)
        for rows in range(least, count + 1):
            width = rows * (wide + AIR) - AIR + 2.0 * margin
            lane = Lane(
                "stand", pose, count, ceil(count / rows), rows, 1, max(width, LEAST_LANE), share * high, most, high,
                margin,
            )  # fmt: skip
            if stable or lane.parts_short_row(length, 0, ground.wall):
                yield lane
                break


def _heaps(kind: Kind, pose: Pose, length: float, ground: DrawerLimits, *, parts: bool) -> Iterator[Lane]:
    every = poured("", kind.count, kind.shape, kind.fill)
    yield from _heaps_of(every, pose, length, ground)
    if parts and every.volume > _LARGE_HEAP:
        for share in (2, 3, 4):
            yield from _heaps_of(poured("", ceil(kind.count / share), kind.shape, kind.fill), pose, length, ground)


def _heaps_of(goods: Goods, pose: Pose, length: float, ground: DrawerLimits) -> Iterator[Lane]:
    margin = 2.0 * ground.margin(0.0)
    room = length - margin
    for depth in _SOFT_DEPTHS if goods.soft else _DEPTHS:
        deep = max(depth, goods.thin)
        if deep > goods.deepest or room <= 0.0:
            continue
        breadth = HAND_BREADTH if goods.soft else FINGER_BREADTH
        width = max(goods.volume / (deep * room), goods.thin + 2.0 * AIR, breadth)
        if room < goods.long + 2.0 * AIR:
            width = max(width, goods.long + 2.0 * AIR)
        if not goods.fits(width, room):
            continue
        lying = heap(goods, width, room, None)
        if lying is not None:
            most = MOST_HEAP_WALL if min(width + margin, length) >= _NARROW else _MOST_NARROW_WALL
            most = lying.depth + FINGER_REACH if goods.soft else most
            yield Lane(
                "heap",
                pose,
                goods.count,
                1,
                1,
                1,
                width + margin,
                max(lying.depth / goods.share, _LEAST_HEAP_WALL),
                most,
                lying.depth,
                margin / 2.0,
                goods=goods,
            )
            if lying.depth < depth - LENGTH_EPSILON:
                return
