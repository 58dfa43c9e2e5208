"""Storage in pockets: each thing in a pocket of its own shape, in even rows.

Things with an outline are nested as well, where that takes a smaller tray (`worker.layout.storage.nested_recess`).
A pocket is deep enough to hold its thing and leaves enough of it to take hold of; where it cannot, it has a finger
notch, and a row of them one slot across all its things. Pockets cost more plastic than any other way.
"""

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from math import ceil, sqrt
from typing import Final

import shapely
from pydantic import ValidationError
from shapely.geometry import Polygon

from worker.layout.model.shapes import Ring
from worker.layout.storage.nested_recess import nested_drafts
from worker.layout.storage.poses import Pose
from worker.layout.storage.reach import FINGER_BREADTH, LEAST_GRIP
from worker.layout.storage.sizing_rules import DrawerLimits
from worker.layout.storage.tray_option import POCKET_CLEARANCE, Draft, Filling, Lot
from worker.layout.tray.interior import UNDER_RIM, on_grid, tray_room
from worker.layout.tray.pockets.pocket_outline import CHAMFERS, NOTCH_REACHES, notch, recess, shorter_side
from worker.layout.tray.pockets.tray_pockets import tray_pockets
from worker.layout.tray.pockets.wells import filling_volume, tray_wells
from worker.spec.drawer.joint import CORNER_RADIUS
from worker.spec.drawer.pocket import PolygonPocket
from worker.spec.drawer.tray import Rim
from worker.spec.errors import TrayError
from worker.spec.items.item import Storage

__all__ = ["recess_drafts"]

#: The share of a thing's height that its pocket holds: of one that lies a half, of one that stands by itself a third,
#: of one that tips over more; over three quarters nothing is left to take it by (common practice). What sticks out by
#: less than `LEAST_GRIP` is taken by a notch.
_LYING_SHARE: Final = 0.5
_STANDING_SHARE: Final = 1.0 / 3.0
_TIPPING_SHARE: Final = 0.6

#: A thing stands by itself when it is no higher than so many times its least width, as in `worker.layout.storage.lane`.
_STABLE: Final = 3.0

#: A narrower recess closes up when it is printed (fdm_rules, hole-min: a public design guide).
_LEAST_HOLE: Final = 2.0

#: The longest rod that stands in a hole unasked, as bits do (own choice).
_ROD: Final = 60.0

_LEAST_DEPTH: Final = 0.5
_MOST: Final = 60


@dataclass(frozen=True, slots=True)
class _Pattern:
    """Pockets in one pose, ``grid`` of them across and front to back.

    On each axis ``reach`` is what clearance, a notch's breadth and a slanting outline take beside each thing, ``web``
    what stays between two of them, a wall or the slot that they share, and ``edge`` what stays between them and the
    usable room's sides.
    """

    name: str
    count: int
    pose: Pose
    grid: tuple[int, int]
    reach: tuple[float, float]
    web: tuple[float, float]
    edge: tuple[float, float]
    depth: float
    notched: bool
    ground: DrawerLimits

    def need(self, axis: int, count: int) -> float:
        """Return the least length of so many along one axis."""
        return count * self._side(axis) + (count - 1) * self.web[axis] + 2.0 * self.edge[axis]

    def most(self, axis: int, length: float) -> int:
        """Return how many find room along one axis."""
        web = self.web[axis]
        return max(int((length - 2.0 * self.edge[axis] + web + 1e-9) // (self._side(axis) + web)), 0)

    def _side(self, axis: int) -> float:
        return self.pose.size[axis] + 2.0 * self.reach[axis]

    def fill(self, draft: Draft) -> Filling:
        """Return where the things lie: spread over the tray."""
        ground, rim = self.ground, draft.rim
        places: list[tuple[float, ...]] = []
        for axis in (0, 1):
            count = self.grid[axis]
            slack = ground.usable(draft.halves[axis], rim) - self.need(axis, count)
            start = ground.start(rim) + self.edge[axis] + self.reach[axis] + slack / (2.0 * count)
            step = self._side(axis) + self.web[axis] + slack / count
            places.append(tuple(on_grid(start + k * step) for k in range(count)))
        lot = Lot(self.name, self.pose, self.count, places[0], places[1], (ground.floor_top,))
        return Filling((lot,), recess=self.depth, notched=self.notched)


def recess_drafts(
    name: str,
    count: int,
    poses: Sequence[Pose],
    ground: DrawerLimits,
    rims: Sequence[Rim],
    *,
    storage: Storage,
    footprints: Collection[tuple[int, int]],
) -> Iterator[Draft]:
    """Yield every even pattern of pockets.

    Things lie, and round ones that are stable and short rods may stand; only where none of these patterns fits, or
    where they are to stand, the other poses are used.

    Args:
        name: of the item.
        count: how many.
        poses: the poses that they may lie or stand in.
        ground: the drawer's.
        rims: which rims the tray may have.
        storage: what it is called.
        footprints: the sides in half cells that a tray may have.
    """
    if count > _MOST:
        return
    lowest = min((pose.size[2] for pose in poses), default=0.0)
    natural = [pose for pose in poses if storage != "pocket" or pose.size[2] <= lowest or _stands(pose)]
    drafts = list(_drafts(name, count, natural, ground, rims, storage, footprints))
    nests = list(_nests(name, count, natural, ground, rims, storage, footprints, drafts))
    others = [pose for pose in poses if pose not in natural]
    yield from [*drafts, *nests] or _drafts(name, count, others, ground, rims, storage, footprints)


def _stands(pose: Pose) -> bool:
    """Return whether a thing stands in its pocket unasked: a round one that is stable, and a short rod."""
    side, high = max(pose.size[:2]), pose.size[2]
    return (pose.round_radius > 0.0 and high <= _STABLE * side) or (2.0 * side <= high <= _ROD)


def _drafts(  # noqa: PLR0917 - those of `recess_drafts`
    name: str,
    count: int,
    poses: Sequence[Pose],
    ground: DrawerLimits,
    rims: Sequence[Rim],
    storage: Storage,
    footprints: Collection[tuple[int, int]],
) -> Iterator[Draft]:
    """Yield every even pattern of pockets in these poses."""
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
                yield from _footprints(pattern, rim, stand, storage, footprints)


def _nests(  # noqa: PLR0917 - those of `recess_drafts`
    name: str,
    count: int,
    poses: Sequence[Pose],
    ground: DrawerLimits,
    rims: Sequence[Rim],
    storage: Storage,
    footprints: Collection[tuple[int, int]],
    rows: Sequence[Draft],
) -> Iterator[Draft]:
    """Yield the trays in which things with an outline are nested, smaller than any with even rows."""
    flat = next((pose for pose in poses if pose.form == "prism" and pose.axis == "z"), None)
    if flat is None or not _stays_open(flat.outline):
        return
    pattern = _pattern(name, count, flat, ground)
    walls = pattern.depth + UNDER_RIM
    stands = [(rim, ground.stand(walls + ground.rim_overhang(rim), flat.size[2], rim)) for rim in rims]
    for draft in nested_drafts(
        name, count, flat, ground, [(rim, stand) for rim, stand in stands if stand is not None],
        depth=pattern.depth, notched=pattern.notched, storage=storage, footprints=footprints, rows=rows,
    ):  # fmt: skip
        filling = _filling(draft, ground)
        if filling is not None:
            yield replace(draft, plastic=ground.plastic(draft.halves, draft.height, draft.rim) + filling)


@lru_cache(maxsize=256)
def _stays_open(outline: Ring) -> bool:
    """Return whether an outline has no gap that its clearance or a finger notch across it closes to a hole."""
    points = tuple((on_grid(x), on_grid(y)) for x, y in outline)
    try:
        pocket = PolygonPocket(shape="polygon", points=points, depth=1.0, clearance=POCKET_CLEARANCE)
    except ValidationError:  # sides that all but touch do when they are rounded
        return False
    item = recess(pocket, (0.0, 0.0))
    both = shapely.union_all([item, notch(item, FINGER_BREADTH, NOTCH_REACHES[0], along=shorter_side(item))])
    return all(isinstance(shape, Polygon) and not shape.interiors for shape in (item, both))


def _share(pose: Pose) -> float:
    """Return the share of a thing's height that its pocket holds in this pose."""
    least, high = min(pose.size[:2]), pose.size[2]
    if high <= least:
        return _LYING_SHARE
    return _STANDING_SHARE if high <= _STABLE * least else _TIPPING_SHARE


def _pattern(name: str, count: int, pose: Pose, ground: DrawerLimits) -> _Pattern:
    """Return the pockets' sizes in one pose."""
    high = pose.size[2]
    depth = on_grid(max(min(_share(pose) * high, high), _LEAST_DEPTH))
    notched = high - depth < LEAST_GRIP
    slanted = pose.form == "prism" and pose.axis == "z"
    air = POCKET_CLEARANCE * (2.0 if slanted else 1.0)  # a mitre of at most twice the clearance
    corner = max(CORNER_RADIUS - ground.joint.body_inset - ground.wall - ground.lines, 0.0)
    # The grown thing's corner must lie inside a round corner: so far from both sides (see `Ground.margin`).
    own = pose.round_radius + POCKET_CLEARANCE
    inside = (
        max((corner - own) * (1.0 - 1.0 / sqrt(2.0)), 0.0) if pose.round_radius else corner * (1.0 - 1.0 / sqrt(2.0))
    )
    reach, web = [air, air], [ground.lines + 2.0 * CHAMFERS[0] + 0.01] * 2
    edge = [ground.lines + inside + 0.02] * 2
    if notched:
        along = shorter_side(shapely.box(0.0, 0.0, *pose.size[:2]))
        reach[1 - along] = max(air, (FINGER_BREADTH - pose.size[1 - along]) / 2.0)
        web[along] = NOTCH_REACHES[0]
        edge[along] += NOTCH_REACHES[0]
    return _Pattern(
        name=name,
        count=count,
        pose=pose,
        grid=(1, 1),
        reach=(reach[0], reach[1]),
        web=(web[0], web[1]),
        edge=(edge[0], edge[1]),
        depth=depth,
        notched=notched,
        ground=ground,
    )


def _footprints(
    pattern: _Pattern,
    rim: Rim,
    stand: tuple[float, float],
    storage: Storage,
    footprints: Collection[tuple[int, int]],
) -> Iterator[Draft]:
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
        halves = (wide, deep)
        if halves in footprints:
            made = replace(pattern, grid=(columns, rows))
            draft = Draft((storage,), halves, height, top, rim, 0.0, made.fill, recessed=True)
            filling = _filling(draft, ground)
            if filling is not None:
                yield replace(draft, plastic=ground.plastic(halves, height, rim) + filling)
        if before == count:
            return


def _filling(draft: Draft, ground: DrawerLimits) -> float | None:
    """Return the volume in mm3 of what stands around a draft's pockets; None where they do not fit after all."""
    tray = draft.option(("thing",), None, ground).tray()
    half_feet = any(along % 2 for along in draft.halves)
    try:
        room = tray_room(tray, joint=ground.joint, pitch=ground.pitch, line_width=ground.line_width, pointer="")
        fill_top, pockets = tray_pockets(room)
    except TrayError:
        return None
    wells = tray_wells(room, pockets, fill_top, joint=ground.joint, pitch=ground.pitch, half_feet=half_feet)
    return filling_volume(room, pockets, wells, fill_top)
