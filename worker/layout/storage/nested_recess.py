"""Nested pockets: outlines of one kind or of several turned and laid beside each other in one tray.

One kind is nested where rows of it would take a larger tray, several where one tray takes less than one for each.
Things on a shadow floor are nested in the same way: each lies within a groove along its outline.
"""

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from math import ceil, cos, pi, sin
from typing import Final

import shapely
import shapely.affinity
from pydantic import ValidationError
from shapely.geometry import Polygon

from worker.layout.model.shapes import Ring
from worker.layout.storage.poses import Pose, from_zero
from worker.layout.storage.reach import FINGER_BREADTH, FINGER_GAP
from worker.layout.storage.sizing_rules import DrawerLimits
from worker.layout.storage.tray_option import POCKET_CLEARANCE, Draft, Filling, Nest
from worker.layout.tray.interior import on_grid, tray_room
from worker.layout.tray.pockets.nested_pockets import PlacedNested, nested_pockets
from worker.layout.tray.pockets.tray_pockets import pocket_area
from worker.spec.drawer.pocket import NestedPocket, Notch
from worker.spec.drawer.tray import Rim, Tray
from worker.spec.errors import TrayError
from worker.spec.items.handling import MOST_NESTED
from worker.spec.items.item import Storage

__all__ = ["NestedKind", "nested_drafts"]

#: Most correlations for one tray: in all and for a thing. One takes about a millisecond in a tray of 100 x 100 mm.
_MOST_WORK: Final = 120
_WORK_EACH: Final = 30
#: Most work for a nest of one kind, and of several: correlations times mm2 of the trays that are tried.
_MOST_AREA: Final = 600.0 * 100.0**2
_MOST_SHARED_AREA: Final = 2000.0 * 100.0**2
#: A tray for several kinds is likely to be so many times as large as its things.
_LIKELY: Final = 2.2
#: Degrees between the directions in which an outline is compared with a tray before it is nested.
_STEP: Final = 15.0
#: Maximum length of a facet of a round outline, in mm, and the most of them.
_FACET: Final = 1.0
_MOST_FACETS: Final = 128


@dataclass(frozen=True, slots=True)
class NestedKind:
    """Things of one kind that are nested: their pose, how many, and how deep their pockets or grooves are.

    ``notched``: each has a finger notch at its best grip. ``engraved``: it lies on the floor, within a groove.
    """

    pose: Pose
    count: int
    depth: float
    notched: bool = False
    engraved: bool = False

    @property
    def sunk(self) -> float:
        """How far a thing lies below the raised floor, mm."""
        return 0.0 if self.engraved else self.depth

    @property
    def outline(self) -> Ring:
        """Its outline from above, on the coordinate grid, mm; of a round one the facets go round it."""
        pose, radius = self.pose, self.pose.round_radius
        if pose.form == "prism" and pose.axis == "z":
            return tuple((on_grid(x), on_grid(y)) for x, y in pose.outline)
        if not radius:
            wide, deep = (on_grid(side) for side in pose.size[:2])
            return (0.0, 0.0), (wide, 0.0), (wide, deep), (0.0, deep)
        facets = min(8 * ceil(2.0 * pi * radius / _FACET / 8.0), _MOST_FACETS)
        far, angles = radius / cos(pi / facets), [2.0 * pi * (k + 0.5) / facets for k in range(facets)]
        return tuple((on_grid(radius + far * cos(angle)), on_grid(radius + far * sin(angle))) for angle in angles)


@dataclass(frozen=True, slots=True)
class _Nesting:
    """Things in nested pockets, those of the first kind first."""

    kinds: tuple[NestedKind, ...]
    placed: tuple[PlacedNested, ...]
    ground: DrawerLimits

    def fill(self, _: Draft) -> Filling:
        """Return where the things lie: each in its pocket."""
        content = tuple(self._nest(number, kind) for number, kind in enumerate(self.kinds))
        pockets = tuple(each.pocket for each in self.placed)
        engraved = any(kind.engraved for kind in self.kinds)
        return Filling(content, recess=_deepest(self.kinds), pockets=pockets, engraved=engraved)

    def _nest(self, number: int, kind: NestedKind) -> Nest:
        """Return the things of one kind."""
        wall, pose = self.ground.wall, kind.pose
        up = on_grid(self.ground.floor_top + _deepest(self.kinds) - kind.sunk)
        poses, places = [], []
        for item in (each.item for each in self.placed if each.entry == number):
            left, front, right, back = Polygon(item).bounds
            if pose.round_radius:
                poses.append(pose)
                x, y = ((low + high) / 2.0 - pose.round_radius for low, high in ((left, right), (front, back)))
            else:
                poses.append(
                    Pose("prism", (on_grid(right - left), on_grid(back - front), pose.size[2]), "z", from_zero(item))
                )
                x, y = left, front
            places.append((on_grid(x + wall), on_grid(y + wall), up))
        return Nest("", tuple(poses), tuple(places))


def _deepest(kinds: Sequence[NestedKind]) -> float:
    return max(kind.depth for kind in kinds)


def nested_drafts(
    kinds: Sequence[NestedKind],
    ground: DrawerLimits,
    rim: Rim,
    stand: tuple[float, float],
    *,
    storage: Storage,
    footprints: Collection[tuple[int, int]],
    beaten: Sequence[tuple[int, int]] = (),
) -> Iterator[Draft]:
    """Yield trays in which things are nested, a wider one each time, without the plastic of their filling.

    Args:
        kinds: what is nested.
        ground: the drawer's.
        rim: of the trays.
        stand: the height of the trays, and the top of all.
        storage: what it is called.
        footprints: the sides in half cells that a tray may have.
        beaten: those of trays of which none may be as small.
    """
    if sum(kind.count for kind in kinds) > MOST_NESTED:
        return
    try:
        search = _Search(tuple(_pocket(kind) for kind in kinds), ground)
    except ValidationError:  # sides that all but touch do when they are rounded
        return
    height, top = stand
    open_sizes = [halves for halves in footprints if not _over(halves, beaten)]
    sized = search.smallest if len(kinds) == 1 else search.least
    for halves, placed in sized(rim, height, open_sizes):
        nesting = _Nesting(tuple(kinds), placed, ground)
        yield Draft((storage,) * len(kinds), halves, height, top, rim, 0.0, nesting.fill, recessed=True)


def _pocket(kind: NestedKind) -> NestedPocket:
    """Return the pockets of a kind as a tray's spec has them; a round one looks the same however it is turned."""
    radius = on_grid(kind.pose.round_radius)
    notch = None
    if kind.notched:
        notch = Notch(at=(radius, radius)) if radius else Notch()
    return NestedPocket(
        shape="nested", points=kind.outline, count=kind.count, turns="none" if radius else "any", depth=kind.depth,
        clearance=POCKET_CLEARANCE, notch=notch, engraved=kind.engraved,
    )  # fmt: skip


@dataclass(slots=True)
class _Search:
    """The search for the smallest trays that take a nest of these pockets."""

    pockets: tuple[NestedPocket, ...]
    ground: DrawerLimits
    spent: float = 0.0

    @property
    def area(self) -> float:
        """The area of all things with a half of the web around them, mm2."""
        grow = POCKET_CLEARANCE + self.ground.lines / 2.0
        return sum(pocket.count * float(Polygon(pocket.points).buffer(grow).area) for pocket in self.pockets)

    def smallest(
        self, rim: Rim, height: float, footprints: Collection[tuple[int, int]]
    ) -> Iterator[tuple[tuple[int, int], tuple[PlacedNested, ...]]]:
        """Yield for each width the least deep of these footprints that takes the nest, with the pockets."""
        by_width: dict[int, list[int]] = {}
        for wide, deep in self._large_enough(rim, footprints):
            by_width.setdefault(wide, []).append(deep)
        # the smallest trays first, as the work is limited
        smaller: list[tuple[int, int]] = []
        for wide, every in sorted(by_width.items(), key=lambda entry: (entry[0] * entry[1][0], entry[0])):
            depths = [deep for deep in every if not _over((wide, deep), smaller)]
            low, high = 0, len(depths)
            best: tuple[int, tuple[PlacedNested, ...]] | None = None
            # the deepest is tried first: where it is too small, no other need be
            middle = high - 1
            while low < high and self.spent < _MOST_AREA:
                placed = self._nested((wide, depths[middle]), rim, height)
                if placed is None:
                    low = middle + 1
                else:
                    high, best = middle, (depths[middle], placed)
                middle = (low + high) // 2
            if best is not None:
                smaller.append((wide, best[0]))
                yield (wide, best[0]), best[1]

    def least(
        self, rim: Rim, height: float, footprints: Collection[tuple[int, int]]
    ) -> Iterator[tuple[tuple[int, int], tuple[PlacedNested, ...]]]:
        """Yield the footprint of about the least area that takes the nest, and the same turned, with the pockets.

        A larger tray need not take what a smaller one of another form does, so halving the sizes may miss the least.
        """
        sizes = sorted(self._large_enough(rim, footprints), key=lambda pair: (pair[0] * pair[1], sum(pair), pair))
        # of two that are each other turned the second is tried last
        tried = [pair for pair in sizes if pair[0] <= pair[1] or pair[::-1] not in sizes]
        best: tuple[tuple[int, int], tuple[PlacedNested, ...]] | None = None
        low, high = 0, len(tried)
        middle = sum(pair[0] * pair[1] * (self.ground.pitch / 2.0) ** 2 < _LIKELY * self.area for pair in tried)
        while low < high and self.spent < _MOST_SHARED_AREA:
            middle = min(middle, high - 1)
            placed = self._nested(tried[middle], rim, height)
            if placed is None:
                low = middle + 1
            else:
                high, best = middle, (tried[middle], placed)
            middle = (low + high) // 2
        if best is None:
            return
        yield best
        turned = best[0][::-1]
        if turned != best[0] and turned in sizes and (placed := self._nested(turned, rim, height)) is not None:
            yield turned, placed

    def _large_enough(self, rim: Rim, footprints: Collection[tuple[int, int]]) -> Iterator[tuple[int, int]]:
        """Yield the footprints that are large enough for the area of things, and for each of them in some direction."""
        ground, area = self.ground, self.area
        boxes = [_boxes(Polygon(pocket.points)) for pocket in self.pockets]
        for halves in sorted(footprints):
            room = [ground.usable(along, rim) for along in halves]
            reach = [along - 2.0 * (ground.lines + POCKET_CLEARANCE) for along in room]
            if area <= room[0] * room[1] and all(
                any(wide <= reach[0] and deep <= reach[1] for wide, deep in turns) for turns in boxes
            ):
                yield halves

    def _nested(self, halves: tuple[int, int], rim: Rim, height: float) -> tuple[PlacedNested, ...] | None:
        """Return the pockets nested in a tray; None if they do not fit."""
        ground = self.ground
        most = min(_MOST_WORK, _WORK_EACH * sum(pocket.count for pocket in self.pockets))
        self.spent += most * ground.usable(halves[0], rim) * ground.usable(halves[1], rim)
        tray = Tray(
            name="nest", cells=(halves[0] / 2.0, halves[1] / 2.0), height=height, rim=rim,
            wall=ground.wall, floor=ground.floor, pockets=self.pockets,
        )  # fmt: skip
        try:
            room = tray_room(tray, joint=ground.joint, pitch=ground.pitch, line_width=ground.line_width, pointer="")
            return tuple(
                nested_pockets(room, pocket_area(room), (), finger=(FINGER_BREADTH, FINGER_GAP), most_work=most)
            )
        except TrayError:
            return None


def _over(halves: tuple[int, int], others: Sequence[tuple[int, int]]) -> bool:
    """Return whether a tray is at least as wide and as deep as one of the others."""
    return any(wide <= halves[0] and deep <= halves[1] for wide, deep in others)


def _boxes(item: Polygon) -> list[tuple[float, float]]:
    """Return width and depth of the box around an item in each direction."""
    turns = [step * _STEP for step in range(round(180.0 / _STEP))]
    boxes = [shapely.affinity.rotate(item, turn, origin=(0.0, 0.0)).bounds for turn in turns]
    return [(right - left, back - front) for left, front, right, back in boxes]
