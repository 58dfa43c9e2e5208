"""Upright storage: things stand in compartments that hold them by part of their height."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import ceil
from typing import Final

from worker.layout.storage.in_rows import ledge_walls
from worker.layout.storage.poses import Pose
from worker.layout.storage.sizing_rules import LEDGE, DrawerLimits
from worker.layout.storage.spacing import Groups
from worker.layout.storage.tray_option import DividerWall, Draft, Filling, Lot
from worker.spec.drawer.tray import MOST_DIVIDERS, Rim

__all__ = ["LEAST_GRIP", "UPRIGHT_SUPPORT", "standing_drafts", "standing_groups", "standing_poses"]

#: The share of a standing thing's height that walls hold: under a half it leans out, over three quarters nothing is
#: left to take it by (common practice).
UPRIGHT_SUPPORT: Final = 0.6

#: What must stick out of its compartment to be taken between fingertips (own choice).
LEAST_GRIP: Final = 6.0

#: Things to one compartment on each axis: with one left, it leans on the walls and does not fall.
_PER: Final = 2

#: A thing no thicker than this share of its height is filed: leaf by leaf, so much of its thickness for turning over.
_LEAF: Final = 1.0 / 6.0
_LEAF_AIR: Final = 0.15
#: The length of a file between dividers, so that a half empty one does not lie down.
_FILE: Final = 50.0


@dataclass(frozen=True, slots=True)
class _Standing:
    """Things standing in one pose, ``grid`` of them across and front to back."""

    name: str
    count: int
    pose: Pose
    grid: tuple[int, int]
    groups: tuple[Groups, Groups]
    ground: DrawerLimits
    ledge: float

    def fill(self, draft: Draft) -> Filling:
        """Return where the things and the dividers stand."""
        ground, rim = self.ground, draft.rim
        start, overhang = ground.start(rim), ground.rim_overhang(rim)
        rooms = (ground.usable(draft.halves[0], rim), ground.usable(draft.halves[1], rim) - self.ledge)
        across, back = (self.groups[axis].spread(self.grid[axis], rooms[axis]) for axis in (0, 1))
        lot = Lot(
            self.name,
            self.pose,
            self.count,
            tuple(start + at for at in across.starts),
            tuple(start + at for at in back.starts),
            (ground.floor_top,),
        )
        height = UPRIGHT_SUPPORT * self.pose.size[2] if rim == "stacking" else None
        dividers = [DividerWall("x", at + overhang, height) for at in across.dividers]
        dividers += [DividerWall("y", at + overhang, height) for at in back.dividers]
        return Filling((lot,), tuple(dividers))


def standing_poses(poses: Sequence[Pose]) -> list[Pose]:
    """Return the poses in which a thing stands: not on its largest side, and high enough to be held and taken."""
    return [
        pose
        for pose in poses
        if pose.size[2] > min(pose.size[:2]) and pose.size[2] * (1.0 - UPRIGHT_SUPPORT) >= LEAST_GRIP
    ]


def standing_drafts(
    name: str, count: int, poses: Sequence[Pose], ground: DrawerLimits, rims: Sequence[Rim], *, ledge: bool
) -> Iterator[Draft]:
    """Yield every way to stand things in compartments.

    Args:
        name: of the item.
        count: how many.
        poses: the poses that they may stand in.
        ground: the drawer's.
        rims: which rims the tray may have.
        ledge: whether room is kept for a label ledge.
    """
    strip = LEDGE.depth if ledge else 0.0
    for pose in poses:
        groups = (standing_groups(pose, 0, ground), standing_groups(pose, 1, ground))
        for rim in rims:
            walls = max(UPRIGHT_SUPPORT * pose.size[2], ledge_walls(ledge=ledge))
            stand = ground.stand(walls, pose.size[2], rim)
            if stand is not None:
                yield from _footprints(_Standing(name, count, pose, (1, 1), groups, ground, strip), rim, stand)


def standing_groups(pose: Pose, axis: int, ground: DrawerLimits) -> Groups:
    """Return how things stand along one axis."""
    size, margin = pose.size[axis], ground.margin(pose.round_radius)
    if size <= _LEAF * pose.size[2]:
        air = size * _LEAF_AIR
        return Groups(size, max(int(_FILE / (size + air)), _PER), ground.wall, margin, air)
    return Groups(size, _PER, ground.wall, margin)


def _footprints(standing: _Standing, rim: Rim, stand: tuple[float, float]) -> Iterator[Draft]:
    """Yield the drafts of one pose, a wider tray each time."""
    ground = standing.ground
    across, back = standing.groups
    height, top = stand
    before = 0
    for wide in range(ground.step, ground.span[0] + 1, ground.step):
        room = ground.usable(wide, rim)
        columns = min(across.most(room), standing.count)
        if columns <= before:
            continue
        before = columns
        rows = ceil(standing.count / columns)
        columns = ceil(standing.count / rows)
        walls = ceil(columns / across.per) - 1, ceil(rows / back.per) - 1
        if sum(walls) > MOST_DIVIDERS:
            continue
        deep = ground.halves(back.need(rows) + standing.ledge, rim)
        if deep <= ground.span[1]:
            up = height - ground.floor_top if rim == "straight" else UPRIGHT_SUPPORT * standing.pose.size[2]
            length = walls[0] * ground.usable(deep, rim) + walls[1] * room
            plastic = ground.plastic((wide, deep), height, rim, ledge=standing.ledge > 0.0) + length * ground.wall * up
            made = _Standing(
                standing.name, standing.count, standing.pose, (columns, rows), standing.groups, ground, standing.ledge
            )
            yield Draft(("upright",), (wide, deep), height, top, rim, plastic, made.fill)
        if before == standing.count:
            return
