"""Storage in rows: things lie side by side, with a finger gap for every two rows.

The gap lies at one end of each row, so that a fingertip hooks a thing out. Dividers keep pairs of rows apart.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import ceil
from typing import Final

from worker.layout.storage.poses import Pose
from worker.layout.storage.sizing_rules import LEDGE, DrawerLimits
from worker.layout.storage.spacing import Line, Pairs
from worker.layout.storage.tray_option import DividerWall, Draft, Filling, Lot
from worker.spec.drawer.tray import MOST_DIVIDERS, Rim

__all__ = ["FINGER_BREADTH", "FINGER_GAP", "ROW_WALL", "layers_of", "ledge_walls", "row_drafts"]

#: Gap at one side of a thing to hook it out with a fingertip (anthropometry, finger-clearance: 12 to 15; trade value).
FINGER_GAP: Final = 15.0

#: Width in which a finger finds room: the 95th percentile of men's index finger breadth, 23, plus 2 (anthropometry,
#: index-breadth-m, finger-access-min: British adult hand tables).
FINGER_BREADTH: Final = 25.0

#: A wall beside lying things reaches up to this share of the topmost: what is round stays in, what is taken is seen.
ROW_WALL: Final = 0.75

#: More layers than these are dug through, not looked at.
_MOST_LAYERS: Final = 3

#: Flat things lie in piles, this high at most, so that they can be leafed through (own choice); flat is what is no
#: thicker than this share of its shorter side.
_PILE: Final = 30.0
_FLAT: Final = 0.2


@dataclass(frozen=True, slots=True)
class _Rows:
    """Rows in one pose: ``gap_axis`` is where the finger gaps lie, 0 for x; ``length`` things fill one row."""

    name: str
    count: int
    pose: Pose
    gap_axis: int
    length: int
    layers: int
    ground: DrawerLimits
    ledge: float

    @property
    def rows(self) -> int:
        return ceil(self.count / (self.length * self.layers))

    @property
    def line(self) -> Line:
        """Things along a row."""
        return Line(self.pose.size[1 - self.gap_axis], self.ground.margin(0.0))

    @property
    def pairs(self) -> Pairs:
        """Rows side by side."""
        size, margin = self.pose.size[self.gap_axis], self.ground.margin(0.0)
        return Pairs(size, FINGER_GAP, self.ground.wall, margin)

    def fill(self, draft: Draft) -> Filling:
        """Return where the things lie and the dividers stand."""
        ground, rim = self.ground, draft.rim
        start = ground.start(rim)
        room = [ground.usable(halves, rim) for halves in draft.halves]
        room[1] -= self.ledge
        along = self.line.spread(self.length, room[1 - self.gap_axis])
        across = self.pairs.spread(self.rows, room[self.gap_axis])
        starts = [tuple(start + at for at in spacing.starts) for spacing in (along, across)]
        acrosses, backs = starts if self.gap_axis == 1 else starts[::-1]
        ups = tuple(ground.floor_top + layer * self.pose.size[2] for layer in range(self.layers))
        axis: Final = "x" if self.gap_axis == 0 else "y"
        dividers = tuple(DividerWall(axis, at + ground.rim_overhang(rim)) for at in across.dividers)
        return Filling((Lot(self.name, self.pose, self.count, acrosses, backs, ups),), dividers)


def row_drafts(
    name: str,
    count: int,
    poses: Sequence[Pose],
    ground: DrawerLimits,
    rims: Sequence[Rim],
    *,
    layered: bool,
    ledge: bool,
) -> Iterator[Draft]:
    """Yield every way to lay things in rows.

    Args:
        name: of the item.
        count: how many.
        poses: the poses that they may lie in.
        ground: the drawer's.
        rims: which rims the tray may have.
        layered: whether things may lie over things.
        ledge: whether room is kept for a label ledge.
    """
    strip = LEDGE.depth if ledge else 0.0
    for pose in poses:
        for layers in layers_of(pose, count, layered=layered):
            for rim in rims:
                stack = layers * pose.size[2]
                walls = stack - (1.0 - ROW_WALL) * pose.size[2]
                stand = ground.stand(max(walls, ledge_walls(ledge=ledge)), stack, rim)
                if stand is not None:
                    for gap_axis in (0, 1):
                        rows = _Rows(name, count, pose, gap_axis, 1, layers, ground, strip)
                        yield from _footprints(rows, rim, stand)


def layers_of(pose: Pose, count: int, *, layered: bool) -> tuple[int, ...]:
    """Return how many things may lie over each other."""
    if pose.size[2] <= _FLAT * min(pose.size[:2]):
        most = min(max(int(_PILE / pose.size[2]), 1), count)
        return tuple(sorted({1, ceil(most / 2), most}))
    most = min(_MOST_LAYERS if layered else 1, count)
    return tuple(range(1, most + 1))


def ledge_walls(*, ledge: bool) -> float:
    """Return the least height of walls over the floor that carry a label ledge."""
    # its slope, its edge, its 45-degree underside and a space under it (worker.layout.tray.ramp_and_ledge)
    return LEDGE.drop + 1.2 + LEDGE.depth + 3.0 if ledge else 0.0


def _footprints(rows: _Rows, rim: Rim, stand: tuple[float, float]) -> Iterator[Draft]:
    """Yield the drafts of one pose, a longer row each time."""
    ground, gap_axis = rows.ground, rows.gap_axis
    strip = (0.0, rows.ledge)
    line, pairs = rows.line, rows.pairs
    most = ceil(rows.count / rows.layers)
    before = 0
    for long in range(ground.step, ground.span[1 - gap_axis] + 1, ground.step):
        room = ground.usable(long, rim) - strip[1 - gap_axis]
        length = min(line.most(room), most)
        if length <= before or room < FINGER_BREADTH:
            continue
        before = length
        count = ceil(rows.count / (length * rows.layers))
        even = ceil(rows.count / (count * rows.layers))
        if (count + 1) // 2 - 1 > MOST_DIVIDERS:
            continue
        wide = ground.halves(pairs.need(count) + strip[gap_axis], rim)
        if wide <= ground.span[gap_axis]:
            halves = (wide, long) if gap_axis == 0 else (long, wide)
            height, top = stand
            between = ((count + 1) // 2 - 1) * room * ground.wall * (height - ground.floor_top)
            plastic = ground.plastic(halves, height, rim, ledge=rows.ledge > 0.0) + between
            made = _Rows(rows.name, rows.count, rows.pose, gap_axis, even, rows.layers, ground, rows.ledge)
            yield Draft(("rows",), halves, height, top, rim, plastic, made.fill)
        if length == most:
            return
