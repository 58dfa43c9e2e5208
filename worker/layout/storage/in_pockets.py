"""Storage in pockets: each thing in a pocket of its own shape, in even rows.

Things with an outline are nested as well, where that takes a smaller tray (`worker.layout.storage.nested_trays`). A
pocket is deep enough to hold its thing and leaves enough of it to take hold of; where it cannot, it has a finger
notch, and a row of them one slot across all its things. Pockets cost more plastic than any other way.
"""

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, replace
from math import ceil, sqrt
from typing import Final

import shapely

from worker.layout.storage.nested_trays import nest_drafts, pocketed_kind
from worker.layout.storage.pocket_sizing import filling_of, pocket_depth, stays_open
from worker.layout.storage.poses import Pose
from worker.layout.storage.reach import FINGER_BREADTH
from worker.layout.storage.sizing_rules import DrawerLimits
from worker.layout.storage.tray_option import POCKET_CLEARANCE, Draft, Filling, Lot
from worker.layout.tray.interior import UNDER_RIM, on_grid
from worker.layout.tray.pockets.pocket_outline import CHAMFERS, NOTCH_REACHES, shorter_side
from worker.spec.drawer.joint import CORNER_RADIUS
from worker.spec.drawer.tray import Rim
from worker.spec.items.item import Storage
from worker.spec.items.made_up_shape import STABLE

__all__ = ["recess_drafts"]

#: The longest rod that stands in a hole unasked, as bits do (own choice).
_ROD: Final = 60.0

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
    nests = list(_nests(count, natural, ground, rims, storage, footprints, drafts))
    others = [pose for pose in poses if pose not in natural]
    yield from [*drafts, *nests] or _drafts(name, count, others, ground, rims, storage, footprints)


def _stands(pose: Pose) -> bool:
    """Return whether a thing stands in its pocket unasked: a round one that is stable, and a short rod."""
    side, high = max(pose.size[:2]), pose.size[2]
    return (pose.round_radius > 0.0 and high <= STABLE * side) or (2.0 * side <= high <= _ROD)


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
        if not stays_open(pose):
            continue
        pattern = _pattern(name, count, pose, ground)
        # The filling ends `UNDER_RIM` under what ends `UNDER_RIM` under the rim.
        walls = pattern.depth + UNDER_RIM
        for rim in rims:
            stand = ground.stand(walls + ground.rim_overhang(rim), pose.size[2], rim)
            if stand is not None:
                yield from _footprints(pattern, rim, stand, storage, footprints)


def _nests(  # noqa: PLR0917 - those of `recess_drafts`
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
    kind = None if flat is None else pocketed_kind(count, flat)
    if kind is not None:
        yield from nest_drafts((kind,), ground, rims, storage=storage, footprints=footprints, rows=rows)


def _pattern(name: str, count: int, pose: Pose, ground: DrawerLimits) -> _Pattern:
    """Return the pockets' sizes in one pose."""
    depth, notched = pocket_depth(pose)
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
            filling = filling_of(draft, ground)
            if filling is not None:
                yield replace(draft, plastic=ground.plastic(halves, height, rim) + filling)
        if before == count:
            return
