"""Nested pockets for one kind: outlines turned and laid beside each other, where rows would take a larger tray."""

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from typing import Final

import shapely
import shapely.affinity
from pydantic import ValidationError
from shapely.geometry import Polygon

from worker.layout.storage.poses import Pose, from_zero
from worker.layout.storage.sizing_rules import DrawerLimits
from worker.layout.storage.tray_option import POCKET_CLEARANCE, Draft, Filling, Nest
from worker.layout.tray.interior import on_grid, tray_room
from worker.layout.tray.pockets.nested_pockets import nested_pockets
from worker.layout.tray.pockets.tray_pockets import pocket_area
from worker.spec.drawer.pocket import NestedPocket, Notch, PolygonPocket
from worker.spec.drawer.tray import Rim, Tray
from worker.spec.errors import TrayError
from worker.spec.items.item import Storage

__all__ = ["nested_drafts"]

#: Most things of a kind that are nested: more take long to search, and rows of them waste little.
_MOST: Final = 12
#: Most correlations for one tray: in all and for a thing. One takes about a millisecond in a tray of 100 x 100 mm.
_MOST_WORK: Final = 120
_WORK_EACH: Final = 30
#: Most work for a kind: correlations times mm2 of the trays that are tried.
_MOST_AREA: Final = 600.0 * 100.0**2
#: Degrees between the directions in which an outline is compared with a tray before it is nested.
_STEP: Final = 15.0


@dataclass(frozen=True, slots=True)
class _Nesting:
    """Things in nested pockets."""

    name: str
    high: float
    pockets: tuple[PolygonPocket, ...]
    depth: float
    ground: DrawerLimits

    def fill(self, _: Draft) -> Filling:
        """Return where the things lie: each in its pocket."""
        wall = self.ground.wall
        poses, places = [], []
        for pocket in self.pockets:
            left, front, right, back = Polygon(pocket.points).bounds
            size = on_grid(right - left), on_grid(back - front), self.high
            poses.append(Pose("prism", size, "z", from_zero(pocket.points)))
            places.append((on_grid(left + wall), on_grid(front + wall), self.ground.floor_top))
        nest = Nest(self.name, tuple(poses), tuple(places))
        return Filling((nest,), recess=self.depth, pockets=self.pockets)


def nested_drafts(
    name: str,
    count: int,
    pose: Pose,
    ground: DrawerLimits,
    stands: Sequence[tuple[Rim, tuple[float, float]]],
    *,
    depth: float,
    notched: bool,
    storage: Storage,
    footprints: Collection[tuple[int, int]],
    rows: Sequence[Draft],
) -> Iterator[Draft]:
    """Yield trays in which things are nested, a wider one each time, without the plastic of their filling.

    Args:
        name: of the item.
        count: how many.
        pose: a prism that lies.
        ground: the drawer's.
        stands: for each rim the height of the tray, and the top of all.
        depth: of the pockets.
        notched: whether each has a finger notch, at its best grip.
        storage: what it is called.
        footprints: the sides in half cells that a tray may have.
        rows: the trays with even rows, of which none may be as small.
    """
    if count > _MOST:
        return
    points = tuple((on_grid(x), on_grid(y)) for x, y in pose.outline)
    try:
        pocket = NestedPocket(
            shape="nested", points=points, count=count, depth=depth, clearance=POCKET_CLEARANCE,
            notch=Notch() if notched else None,
        )  # fmt: skip
    except ValidationError:  # sides that all but touch do when they are rounded
        return
    item = Polygon(points)
    search = _Search(pocket, ground, _boxes(item), count * item.buffer(POCKET_CLEARANCE + ground.lines / 2.0).area)
    for rim, (height, top) in stands:
        beaten = [draft.halves for draft in rows if draft.rim == rim]
        for halves, pockets in search.smallest(
            rim, height, [halves for halves in footprints if not _over(halves, beaten)]
        ):
            nesting = _Nesting(name, pose.size[2], pockets, depth, ground)
            yield Draft((storage,), halves, height, top, rim, 0.0, nesting.fill, recessed=True)


@dataclass(slots=True)
class _Search:
    """The search for the smallest trays that take a nest: its pocket, boxes of one thing, and the area of all."""

    pocket: NestedPocket
    ground: DrawerLimits
    boxes: Sequence[tuple[float, float]]
    area: float
    spent: float = 0.0

    def smallest(
        self, rim: Rim, height: float, footprints: Collection[tuple[int, int]]
    ) -> Iterator[tuple[tuple[int, int], tuple[PolygonPocket, ...]]]:
        """Yield for each width the least deep of these footprints that takes the nest, with the pockets."""
        by_width: dict[int, list[int]] = {}
        for wide, deep in sorted(footprints):
            if self._may_hold((wide, deep), rim):
                by_width.setdefault(wide, []).append(deep)
        # the smallest trays first, as the work is limited
        smaller: list[tuple[int, int]] = []
        for wide, every in sorted(by_width.items(), key=lambda entry: (entry[0] * entry[1][0], entry[0])):
            depths = [deep for deep in every if not _over((wide, deep), smaller)]
            low, high = 0, len(depths)
            best: tuple[int, tuple[PolygonPocket, ...]] | None = None
            # the deepest is tried first: where it is too small, no other need be
            middle = high - 1
            while low < high and self.spent < _MOST_AREA:
                pockets = self._nested((wide, depths[middle]), rim, height)
                if pockets is None:
                    low = middle + 1
                else:
                    high, best = middle, (depths[middle], pockets)
                middle = (low + high) // 2
            if best is not None:
                smaller.append((wide, best[0]))
                yield (wide, best[0]), best[1]

    def _may_hold(self, halves: tuple[int, int], rim: Rim) -> bool:
        """Return whether a tray is large enough for the area of things, and for one of them in some direction."""
        ground = self.ground
        room = [ground.usable(along, rim) for along in halves]
        reach = [along - 2.0 * (ground.lines + POCKET_CLEARANCE) for along in room]
        return self.area <= room[0] * room[1] and any(
            wide <= reach[0] and deep <= reach[1] for wide, deep in self.boxes
        )

    def _nested(self, halves: tuple[int, int], rim: Rim, height: float) -> tuple[PolygonPocket, ...] | None:
        """Return the pockets nested in a tray; None if they do not fit."""
        ground = self.ground
        most = min(_MOST_WORK, _WORK_EACH * self.pocket.count)
        self.spent += most * ground.usable(halves[0], rim) * ground.usable(halves[1], rim)
        tray = Tray(
            name="nest", cells=(halves[0] / 2.0, halves[1] / 2.0), height=height, rim=rim,
            wall=ground.wall, floor=ground.floor, pockets=(self.pocket,),
        )  # fmt: skip
        try:
            room = tray_room(tray, joint=ground.joint, pitch=ground.pitch, line_width=ground.line_width, pointer="")
            placed = nested_pockets(room, pocket_area(room), (), most_work=most)
        except TrayError:
            return None
        return tuple(spec for _, spec in placed)


def _over(halves: tuple[int, int], others: Sequence[tuple[int, int]]) -> bool:
    """Return whether a tray is at least as wide and as deep as one of the others."""
    return any(wide <= halves[0] and deep <= halves[1] for wide, deep in others)


def _boxes(item: Polygon) -> list[tuple[float, float]]:
    """Return width and depth of the box around an item in each direction."""
    turns = [step * _STEP for step in range(round(180.0 / _STEP))]
    boxes = [shapely.affinity.rotate(item, turn, origin=(0.0, 0.0)).bounds for turn in turns]
    return [(right - left, back - front) for left, front, right, back in boxes]
