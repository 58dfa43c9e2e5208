"""Columns: the trays that a drawer's things could have, each as lanes side by side.

An assortment is the things for one drawer with all that is needed to size and to value trays for them.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from math import ceil
from typing import Final, TypeAlias

from worker.layout.placement.objective import Weights, worth
from worker.layout.storage.in_pockets import recess_drafts
from worker.layout.storage.lane import Kind, Lane, lanes
from worker.layout.storage.poses import lying_poses, poses
from worker.layout.storage.sizing_rules import LEDGE, DrawerLimits, ledge_walls
from worker.layout.storage.tray_option import Draft
from worker.layout.tray.interior import UNDER_RIM, on_grid
from worker.layout.tray.part_mark import text_size
from worker.layout.tray.text import LEAST_CAP, LEAST_DEPTH
from worker.spec.drawer.joint import CORNER_RADIUS
from worker.spec.drawer.tray import Rim
from worker.spec.items.item import Item
from worker.spec.tolerances import LENGTH_EPSILON

__all__ = ["LANE_UNIT", "UNDER_FOOT", "Assortment", "Column", "ColumnKey", "Footprint", "Offer"]

Footprint: TypeAlias = tuple[int, int]
ColumnKey: TypeAlias = tuple[Footprint, tuple[tuple[int, int], ...]]

#: Widths of lanes are added up in steps of so many mm.
LANE_UNIT: Final = 0.5

#: Walls over the floor come in these steps: by a mm at first, later by this factor, so that few heights are printed.
_FINE_WALLS: Final = 14.0
_WALL_STEP: Final = 1.25

#: Plain face on both sides of a label, with some to spare.
_LABEL_AIR: Final = 4.0

#: Things and dividers end so far under a stacking rim: the foot above settles in it (own choice: 0.35 mm at the default
#: clearance, and air).
UNDER_FOOT: Final = 1.0

#: A kind that takes more cells than this when it lies in one compartment may be split over several.
_BULKY: Final = 2.5

#: A thing is long when it is longer than this, in mm: it lies front to back.
_LONG: Final = 100.0


@dataclass(frozen=True)
class Column:
    """A tray that could be made: its lanes, by the index of their kind, side by side along ``axis``.

    ``walls`` are the walls over the floor and ``height`` the tray's, in mm; ``top`` is the highest point of tray and
    things. ``worth`` is the worth of the things in it and ``cost`` what the tray costs, both in minutes. Where
    each thing has a pocket of its own, ``draft`` says where.
    """

    halves: Footprint
    axis: int
    lanes: tuple[tuple[int, Lane], ...]
    walls: float
    height: float
    top: float
    ledge: bool
    plastic: float
    worth: float
    cost: float
    draft: Draft | None = None
    rim: Rim = "straight"

    @property
    def area(self) -> int:
        """Half cells that it covers."""
        return self.halves[0] * self.halves[1]

    @property
    def value(self) -> float:
        """Its worth less its cost, in minutes."""
        return self.worth - self.cost

    @cached_property
    def counts(self) -> tuple[tuple[int, int], ...]:
        """The kinds in it, and how many of each."""
        return tuple((index, lane.count) for index, lane in self.lanes)

    def renumbered(self, items: Sequence[Item], number: Mapping[int, int]) -> "Column":
        """Return the same column for a list in which items have other indices.

        Args:
            items: the list that its indices are of.
            number: the new index of each item, by the identity of the object.
        """
        return replace(self, lanes=tuple((number[id(items[index])], lane) for index, lane in self.lanes))

    @cached_property
    def key(self) -> ColumnKey:
        """What columns that serve alike have in common."""
        return self.halves, tuple(sorted(self.counts))


@dataclass(frozen=True, slots=True)
class Offer:
    """A lane as the knapsack sees it: its width in units, what it gives, the cost of its divider for each mm of height.

    ``levels`` are the least and the greatest level of walls, by their index, that suit it.
    """

    lane: Lane
    units: int
    gain: float
    divider: float
    levels: tuple[int, int]


@dataclass(frozen=True)
class Assortment:
    """The things for one drawer, and what is needed to size trays for them.

    ``footprints`` are the sides in half cells that a tray may have; ``families`` the sets of things that may share.
    Under a stacking ``rim`` everything must end.
    """

    items: tuple[Item, ...]
    families: tuple[tuple[int, ...], ...]
    alike: Callable[[Item, Item], bool]
    ground: DrawerLimits
    weights: Weights
    footprints: frozenset[Footprint]
    rim: Rim = "straight"

    @cached_property
    def worths(self) -> tuple[float, ...]:
        """What a place for all things of each kind is worth."""
        return tuple(worth(item, self.weights) for item in self.items)

    @cached_property
    def kinds(self) -> tuple[Kind, ...]:
        """The kinds that lanes are made for."""
        return tuple(Kind(item.plain, item.count, item.storage) for item in self.items)

    @cached_property
    def long_sides(self) -> tuple[int, ...]:
        """Lengths of lanes in half cells."""
        return tuple(sorted({side for pair in self.footprints for side in pair}))

    @cached_property
    def levels(self) -> tuple[float, ...]:
        """Heights of walls over the floor that trays may have, in mm; tray heights are whole mm where they can be."""
        ground = self.ground
        most = ground.limit - ground.floor_top - UNDER_RIM - ground.rim_overhang(self.rim) - ground.rim_height(self.rim)
        levels: list[float] = []
        height = float(ceil(ground.floor_top + 5.0 + UNDER_RIM))
        while (walls := height - ground.floor_top - UNDER_RIM) < most:
            levels.append(on_grid(walls))
            height += 1.0 if walls < _FINE_WALLS else float(ceil(walls * (_WALL_STEP - 1.0)))
        levels.append(on_grid(most))
        return tuple(levels)

    def usable(self, halves: int) -> float:
        """Return the length of a tray's room."""
        return self.ground.usable(halves, self.rim)

    @cached_property
    def _lanes(self) -> dict[tuple[int, int, bool], tuple[Lane, ...]]:
        return {}

    def lanes(self, index: int, side: int, *, ledge: bool) -> tuple[Lane, ...]:
        """Return the lanes of a kind that run so many half cells front to back, those for all of its things first."""
        key = index, side, ledge
        if key not in self._lanes:
            length = self.usable(side) - (LEDGE.depth if ledge else 0.0)
            self._lanes[key] = lanes(self.kinds[index], 0, length, self.ground) if length > 0.0 else ()
        return self._lanes[key]

    @cached_property
    def _offers(self) -> dict[tuple[int, int, bool], tuple[Offer, ...]]:
        return {}

    def offers(self, index: int, side: int, *, ledge: bool) -> tuple[Offer, ...]:
        """Return what each lane of a kind that runs so many half cells takes and gives."""
        key = index, side, ledge
        if key not in self._offers:
            self._offers[key] = tuple(self._offered(index, side, ledge=ledge))
        return self._offers[key]

    def _offered(self, index: int, side: int, *, ledge: bool) -> Iterator[Offer]:
        weights, item, wall = self.weights, self.items[index], self.ground.wall
        for lane in self.lanes(index, side, ledge=ledge):
            stack = lane.stack + UNDER_FOOT if self.rim == "stacking" else 0.0
            least = max(lane.walls, ledge_walls(ledge=ledge), stack)
            levels = [n for n, level in enumerate(self.levels) if least <= level <= lane.most]
            if levels:
                width = max(lane.width, self.label_width(index)) if ledge else lane.width
                divider = (1 + lane.inner) * self.usable(side) * wall * weights.plastic
                gain = self.share_worth(index, lane.count) - weights.lane(item, lane)
                yield Offer(lane, ceil((width + wall) / LANE_UNIT - 1e-6), gain, divider, (levels[0], levels[-1]))

    @cached_property
    def _recessed(self) -> dict[int, tuple[Column, ...]]:
        return {}

    def recessed(self, index: int) -> tuple[Column, ...]:
        """Return the trays in which each thing of a kind has a pocket, where that was asked for.

        What is to stand upright and would tip over stands in pockets, too.
        """
        if index not in self._recessed:
            self._recessed[index] = tuple(self._pocketed(index))
        return self._recessed[index]

    def _pocketed(self, index: int) -> Iterator[Column]:
        item, ground = self.items[index], self.ground
        if item.storage not in {"pocket", "upright"}:
            return
        every = poses(item.plain)
        lying = lying_poses(every)
        chosen = [pose for pose in every if pose.size[2] > min(pose.size[:2]) and pose not in lying]
        if item.storage == "pocket":
            chosen = [*lying, *chosen]
        for draft in recess_drafts("", item.count, chosen, ground, (self.rim,), storage=item.storage):
            if draft.halves in self.footprints and carries(item.label_text, draft, ground):
                lane = Lane("stand", chosen[0], item.count, 1, item.count, 1, 0.0, 0.0, 0.0, 0.0, 0.0)
                cost = self.tray_cost(draft.halves, draft.plastic)
                yield Column(
                    draft.halves, 0, ((index, lane),), 0.0, draft.height, draft.top, False,  # noqa: FBT003 - no ledge
                    draft.plastic, self.worths[index], cost, draft,
                )  # fmt: skip

    @cached_property
    def bulky(self) -> tuple[bool, ...]:
        """Whether each kind takes so much floor that it may be split over compartments."""
        cell = self.ground.pitch**2
        bulky: list[bool] = []
        for index, item in enumerate(self.items):
            least = min(
                (
                    lane.width * self.usable(side) / cell
                    for side in self.long_sides
                    for lane in self.lanes(index, side, ledge=item.label_text is not None)
                    if lane.count == item.count
                ),
                default=None,
            )
            bulky.append(item.count > 1 and (least is None or least > _BULKY))
        return tuple(bulky)

    def label_width(self, index: int) -> float:
        """Return how wide a compartment must be for its label."""
        label = self.items[index].label_text
        return 0.0 if label is None else text_size(label, LEAST_CAP)[0] + _LABEL_AIR

    def share_worth(self, index: int, count: int) -> float:
        """Return what a place for some of a kind's things is worth."""
        whole, item = self.worths[index], self.items[index]
        if count >= item.count:
            return whole
        return whole * count / item.count * (1.0 - self.weights.split) - whole * self.weights.split / 2.0

    def plastic(self, halves: Footprint, walls: float, *, ledge: bool) -> tuple[float, float]:
        """Return an empty tray's height and its plastic in mm3."""
        ground = self.ground
        height = on_grid(
            ground.floor_top + walls + UNDER_RIM + ground.rim_overhang(self.rim) + ground.rim_height(self.rim)
        )
        return height, ground.plastic(halves, height, self.rim, ledge=ledge)

    @cached_property
    def _least_costs(self) -> dict[tuple[Footprint, float, bool], float]:
        return {}

    def least_cost(self, halves: Footprint, walls: float, *, ledge: bool) -> float:
        """Return the least that a column with such walls costs beside what is in it, in minutes.

        The knapsack counts a divider for each lane, one too many.
        """
        key = halves, walls, ledge
        if key not in self._least_costs:
            _, plastic = self.plastic(halves, walls, ledge=ledge)
            divider = max(self.usable(side) for side in halves) * walls * self.ground.wall * self.weights.plastic
            self._least_costs[key] = self.tray_cost(halves, plastic) - divider
        return self._least_costs[key]

    def tray_cost(self, halves: Footprint, plastic: float) -> float:
        """Return what an empty tray costs, in minutes."""
        weights = self.weights
        return weights.tray + weights.plastic * plastic + weights.cell * halves[0] * halves[1] / 4.0

    @cached_property
    def _columns(self) -> dict[tuple[Footprint, int, float, bool, tuple[tuple[int, int], ...]], Column]:
        return {}

    def column(
        self, halves: Footprint, axis: int, chosen: Sequence[tuple[int, Lane]], walls: float, *, ledge: bool
    ) -> Column:
        """Return the column of these lanes, given as they run front to back."""
        key = (halves, axis, walls, ledge, tuple((index, id(lane)) for index, lane in chosen))
        if key not in self._columns:
            self._columns[key] = self._column(halves, axis, chosen, walls, ledge=ledge)
        return self._columns[key]

    def _column(
        self, halves: Footprint, axis: int, chosen: Sequence[tuple[int, Lane]], walls: float, *, ledge: bool
    ) -> Column:
        height, plastic = self.plastic(halves, walls, ledge=ledge)
        length = self.usable(halves[1 - axis])
        dividers = len(chosen) - 1 + sum(lane.inner for _, lane in chosen)
        plastic += dividers * length * walls * self.ground.wall
        cost = self.tray_cost(halves, plastic)
        order = sorted(chosen, key=lambda pair: (-pair[1].pose.size[1], -pair[1].width, pair[0]))
        for position, (index, lane) in enumerate(order):
            cost += self.weights.lane(self.items[index], lane)
            if axis == 1 and lane.pose.size[1] > _LONG:
                cost += self.weights.side
            if position and not self.alike(self.items[order[position - 1][0]], self.items[index]):
                cost += self.weights.unlike
        top = max(height, on_grid(self.ground.floor_top + max(lane.stack for _, lane in chosen)))
        lying = tuple((index, lane if axis == 0 else lane.turned()) for index, lane in order)
        gain = sum(self.share_worth(index, lane.count) for index, lane in chosen)
        return Column(halves, axis, lying, walls, height, top, ledge, plastic, gain, cost, rim=self.rim)


def carries(label: str | None, draft: Draft, ground: DrawerLimits) -> bool:
    """Return whether the front of a tray with pockets is wide and high enough for its label."""
    if label is None:
        return True
    if ground.wall < ground.lines + LEAST_DEPTH - LENGTH_EPSILON:
        return False
    wide, high = text_size(label, LEAST_CAP)
    face = draft.height - ground.joint.foot_height
    room = ground.usable(draft.halves[0], draft.rim)
    return wide + _LABEL_AIR + 2.0 * CORNER_RADIUS <= room and high + _LABEL_AIR <= face
