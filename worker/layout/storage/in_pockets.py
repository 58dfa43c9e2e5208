"""Storage in pockets: each thing in a pocket of its own shape, in even rows.

A pocket is deep enough to hold its thing and leaves enough of it to take hold of; where it cannot, it has a finger
notch. The filling round the pockets is solid, so they cost more plastic than any other way.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from math import ceil, pi, sqrt
from typing import Final

import shapely
from pydantic import ValidationError
from shapely.geometry import Polygon

from worker.layout.model.shapes import Ring
from worker.layout.storage.poses import Pose
from worker.layout.storage.reach import FINGER_BREADTH, LEAST_GRIP
from worker.layout.storage.sizing_rules import DrawerLimits
from worker.layout.storage.tray_option import POCKET_CLEARANCE, Draft, Filling, Lot
from worker.layout.tray.interior import UNDER_RIM, on_grid
from worker.layout.tray.pocket_outline import CHAMFERS, NOTCH_REACHES, notch, recess
from worker.spec.drawer.joint import CORNER_RADIUS
from worker.spec.drawer.pocket import PolygonPocket
from worker.spec.drawer.tray import Rim
from worker.spec.items.item import Storage

__all__ = ["recess_drafts"]

#: The share of a thing that lies or stands in its pocket: under a half it leans out, over three quarters nothing is
#: left to take it by (common practice). What sticks out by less than `LEAST_GRIP` is taken by a notch.
_SHARE: Final = 0.6

#: A narrower recess closes up when it is printed (fdm_rules, hole-min: a public design guide).
_LEAST_HOLE: Final = 2.0

_LEAST_DEPTH: Final = 0.5
_MOST: Final = 60

#: Sides that differ by less: which of them a notch crosses may hang on rounding, so both have room for it.
_SQUARE: Final = 0.01


@dataclass(frozen=True, slots=True)
class _Pattern:
    """Pockets in one pose, ``grid`` of them across and front to back.

    ``reach`` is what clearance, notch and a slanting outline take beside each thing, on each axis; ``web`` is what
    stays between two of them, ``edge`` between them and the usable room's sides.
    """

    name: str
    count: int
    pose: Pose
    grid: tuple[int, int]
    reach: tuple[float, float]
    web: float
    edge: float
    depth: float
    notched: bool
    ground: DrawerLimits

    def need(self, axis: int, count: int) -> float:
        """Return the least length of so many along one axis."""
        return count * self._side(axis) + (count - 1) * self.web + 2.0 * self.edge

    def most(self, axis: int, length: float) -> int:
        """Return how many find room along one axis."""
        return max(int((length - 2.0 * self.edge + self.web + 1e-9) // (self._side(axis) + self.web)), 0)

    def _side(self, axis: int) -> float:
        return self.pose.size[axis] + 2.0 * self.reach[axis]

    def fill(self, draft: Draft) -> Filling:
        """Return where the things lie: spread over the tray."""
        ground, rim = self.ground, draft.rim
        places: list[tuple[float, ...]] = []
        for axis in (0, 1):
            count = self.grid[axis]
            slack = ground.usable(draft.halves[axis], rim) - self.need(axis, count)
            start = ground.start(rim) + self.edge + self.reach[axis] + slack / (2.0 * count)
            step = self._side(axis) + self.web + slack / count
            places.append(tuple(on_grid(start + k * step) for k in range(count)))
        lot = Lot(self.name, self.pose, self.count, places[0], places[1], (ground.floor_top,))
        return Filling((lot,), recess=self.depth, notched=self.notched)


def recess_drafts(
    name: str, count: int, poses: Sequence[Pose], ground: DrawerLimits, rims: Sequence[Rim], *, storage: Storage
) -> Iterator[Draft]:
    """Yield every even pattern of pockets.

    Args:
        name: of the item.
        count: how many.
        poses: the poses that they may lie or stand in.
        ground: the drawer's.
        rims: which rims the tray may have.
        storage: what it is called.
    """
    if count > _MOST:
        return
    for pose in poses:
        if min(pose.size[:2]) + 2.0 * POCKET_CLEARANCE < _LEAST_HOLE:
            continue
        if pose.outline and pose.axis == "z" and not _stays_open(pose.outline):
            continue
        pattern = _pattern(name, count, pose, ground)
        # The filling ends `UNDER_RIM` under what ends `UNDER_RIM` under the rim.
        walls = pattern.depth + UNDER_RIM
        for rim in rims:
            stand = ground.stand(walls + ground.rim_overhang(rim), pose.size[2], rim)
            if stand is not None:
                yield from _footprints(pattern, rim, stand, storage)


@lru_cache(maxsize=256)
def _stays_open(outline: Ring) -> bool:
    """Return whether an outline has no gap that its clearance or a finger notch across it closes to a hole."""
    points = tuple((on_grid(x), on_grid(y)) for x, y in outline)
    try:
        pocket = PolygonPocket(shape="polygon", points=points, depth=1.0, clearance=POCKET_CLEARANCE)
    except ValidationError:  # sides that all but touch do when they are rounded
        return False
    item = recess(pocket, (0.0, 0.0))
    left, front, right, back = item.bounds
    shorter = 0 if right - left <= back - front else 1
    both = shapely.union_all([item, notch(item, FINGER_BREADTH, NOTCH_REACHES[0], along=shorter)])
    return all(isinstance(shape, Polygon) and not shape.interiors for shape in (item, both))


def _hollow(pattern: _Pattern) -> float:
    """Return the area of a pocket: the thing's, its clearance, and two round-ended bays of a notch."""
    short, long = sorted(pattern.pose.size[:2])
    area = pattern.pose.shadow + 2.0 * POCKET_CLEARANCE * (short + long)
    if pattern.notched:
        half = FINGER_BREADTH / 2.0
        area += 2.0 * (FINGER_BREADTH * (NOTCH_REACHES[0] - half) + pi / 2.0 * half**2)
        area += max(FINGER_BREADTH - long, 0.0) * short
    return area


def _pattern(name: str, count: int, pose: Pose, ground: DrawerLimits) -> _Pattern:
    """Return the pockets' sizes in one pose."""
    high = pose.size[2]
    depth = on_grid(max(min(_SHARE * high, high), _LEAST_DEPTH))
    notched = high - depth < LEAST_GRIP
    slanted = pose.form == "prism" and pose.axis == "z"
    air = POCKET_CLEARANCE * (2.0 if slanted else 1.0)  # a mitre of at most twice the clearance
    reach = [air, air]
    if notched:
        wide, deep = pose.size[:2]
        bays = POCKET_CLEARANCE + NOTCH_REACHES[0]
        across = [(FINGER_BREADTH - side) / 2.0 for side in (wide, deep)]
        shorter = (wide - deep <= _SQUARE, deep - wide <= _SQUARE)
        reach = [max(air, bays if shorter[axis] else across[axis]) for axis in (0, 1)]
    chamfer = 2.0 * CHAMFERS[0]
    corner = max(CORNER_RADIUS - ground.joint.body_inset - ground.wall - ground.lines, 0.0)
    # The grown thing's corner must lie inside a round corner: so far from both sides (see `Ground.margin`).
    own = pose.round_radius + POCKET_CLEARANCE
    inside = (
        max((corner - own) * (1.0 - 1.0 / sqrt(2.0)), 0.0) if pose.round_radius else corner * (1.0 - 1.0 / sqrt(2.0))
    )
    return _Pattern(
        name=name,
        count=count,
        pose=pose,
        grid=(1, 1),
        reach=(reach[0], reach[1]),
        web=ground.lines + chamfer + 0.01,
        edge=ground.lines + inside + 0.02,
        depth=depth,
        notched=notched,
        ground=ground,
    )


def _footprints(pattern: _Pattern, rim: Rim, stand: tuple[float, float], storage: Storage) -> Iterator[Draft]:
    """Yield the drafts of one pose, a wider tray each time."""
    ground, count = pattern.ground, pattern.count
    height, top = stand
    before = 0
    for wide in range(ground.step, ground.span[0] + 1, ground.step):
        columns = min(pattern.most(0, ground.usable(wide, rim)), count)
        if columns <= before:
            continue
        before = columns
        rows = ceil(count / columns)
        columns = ceil(count / rows)
        deep = ground.halves(pattern.need(1, rows), rim)
        if deep <= ground.span[1]:
            halves = (wide, deep)
            sides = [ground.usable(half, rim) + 2.0 * ground.rim_overhang(rim) for half in halves]
            hollow = count * _hollow(pattern)
            plastic = ground.plastic(halves, height, rim) + (sides[0] * sides[1] - hollow) * pattern.depth
            made = _Pattern(
                pattern.name, count, pattern.pose, (columns, rows), pattern.reach, pattern.web, pattern.edge,
                pattern.depth, pattern.notched, ground,
            )  # fmt: skip
            yield Draft((storage,), halves, height, top, rim, plastic, made.fill, recessed=True)
        if before == count:
            return
