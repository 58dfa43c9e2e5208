"""The assortment: the things for one drawer, with all that is needed to size and to value trays for them."""

from bisect import bisect_left, bisect_right
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from functools import cached_property
from math import ceil, inf
from typing import Final, TypeAlias

from worker.layout.placement.columns.cutting import Cutting
from worker.layout.placement.columns.objective import Weights, worth
from worker.layout.placement.columns.tray_columns import Column, Footprint, LaneBand
from worker.layout.storage.lane import Lane
from worker.layout.storage.lane_sizing import lanes
from worker.layout.storage.sizing_rules import LEDGE, DrawerLimits, ledge_walls
from worker.layout.storage.ways import Kind, Way
from worker.layout.tray.font import least_cap
from worker.layout.tray.interior import UNDER_RIM, on_grid
from worker.layout.tray.joints.cut_sizes import Cut
from worker.layout.tray.part_mark import text_size
from worker.spec.drawer.tray import Rim
from worker.spec.items.item import Item, access_rank

__all__ = ["LABEL_AIR", "LONG", "UNDER_FOOT", "Assortment", "ChosenBand"]

#: Walls over the floor come in these steps: by a mm at first, later by this factor, so that few heights are printed.
_FINE_WALLS: Final = 14.0
_WALL_STEP: Final = 1.25

#: Plain face on both sides of a label, with some to spare.
LABEL_AIR: Final = 4.0

#: Things and dividers end so far under a stacking rim: the foot above settles in it (own choice: 0.35 mm at the default
#: clearance, and air).
UNDER_FOOT: Final = 1.0

#: A kind that takes more cells than this when it lies in one compartment may be split over several.
_BULKY: Final = 2.5

#: A thing is long when it is longer than this, in mm: it lies front to back.
LONG: Final = 100.0

#: Lanes side by side, by the index of their kind, and the length that they need.
ChosenBand: TypeAlias = tuple[float, Sequence[tuple[int, Lane]]]


@dataclass(frozen=True)
class Assortment:
    """The things for one drawer, and what is needed to size trays for them.

    ``footprints`` are the sides in half cells that a tray may have; ``families`` the sets of things that may share, and
    ``use`` what a thing belongs to, its group or the like; None where it has none.
    Under a stacking ``rim`` everything must end. ``ways`` is how each item is kept where its series leaves no choice.
    ``cutting`` says which footprints are larger than the bed; None where no tray may be cut.
    """

    items: tuple[Item, ...]
    families: tuple[tuple[int, ...], ...]
    use: Callable[[Item], str | None]
    ground: DrawerLimits
    weights: Weights
    footprints: frozenset[Footprint]
    rim: Rim = "straight"
    ways: tuple[Way | None, ...] = ()
    cutting: Cutting | None = None

    @cached_property
    def worths(self) -> tuple[float, ...]:
        """What a place for all things of each kind is worth."""
        return tuple(worth(item, self.weights) for item in self.items)

    @cached_property
    def kinds(self) -> tuple[Kind, ...]:
        """The kinds that lanes are made for."""
        return tuple(
            Kind.of(item, way=way) for item, way in zip(self.items, self.ways or (None,) * len(self.items), strict=True)
        )

    @cached_property
    def sides(self) -> tuple[int, ...]:
        """Sides in half cells of trays that the bed takes."""
        return tuple(sorted({side for pair in self.footprints if self.cut(pair) is None for side in pair}))

    @cached_property
    def joined_footprints(self) -> tuple[Footprint, ...]:
        """The footprints of trays that are joined from pieces."""
        return tuple(sorted(pair for pair in self.footprints if self.cut(pair) is not None))

    def cut(self, halves: Footprint) -> Cut | None:
        """Return how a tray is cut; None for one that the bed takes."""
        return None if self.cutting is None else self.cutting.cuts.get(halves)

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

    def beside_posts(self, halves: Footprint) -> tuple[float, float]:
        """Return what the posts of a tray in pieces take off its room at each end of x and of y, in mm."""
        cut = self.cut(halves)
        if cut is None or self.cutting is None:
            return 0.0, 0.0
        depth = self.cutting.sizes.depth(self.ground.start(self.rim))
        across, back = (depth if posts else 0.0 for posts in cut.posts)
        return across, back

    def room(self, halves: Footprint, axis: int) -> float:
        """Return the length of a tray's room along an axis, between the posts if it has any."""
        return self.usable(halves[axis]) - 2.0 * self.beside_posts(halves)[axis]

    @cached_property
    def least_joined(self) -> int:
        """The least level of walls, by its index, of a tray that is joined from pieces."""
        least = 0.0 if self.cutting is None else self.cutting.sizes.least_height(self.rim)
        return next((n for n, level in enumerate(self.levels) if self.tray_height(level) >= least), len(self.levels))

    def level_range(self, lane: Lane, *, ledge: bool, joined: bool = False) -> tuple[int, int] | None:
        """Return the least and the greatest level of walls, by their index, that suit a lane.

        Args:
            lane: the lane.
            ledge: whether the tray has a label ledge.
            joined: whether it is joined from pieces.
        """
        stack = lane.stack + UNDER_FOOT if self.rim == "stacking" else 0.0
        least = max(lane.walls, ledge_walls(ledge=ledge), stack)
        if joined and self.least_joined < len(self.levels):
            least = max(least, self.levels[self.least_joined])
        elif joined:
            return None
        first, last = bisect_left(self.levels, least), bisect_right(self.levels, lane.most) - 1
        return (first, last) if first <= last else None

    @cached_property
    def bulky(self) -> tuple[bool, ...]:
        """Whether each kind takes so much floor that it may be split over compartments."""
        cell = self.ground.pitch**2
        bulky: list[bool] = []
        for kind in self.kinds:
            rooms = [self.usable(side) for side in self.sides]
            least = min(
                (lane.width * room / cell for room in rooms if room > 0.0 for lane in lanes(kind, room, self.ground)),
                default=inf,
            )
            bulky.append(kind.count > 1 and least > _BULKY)
        return tuple(bulky)

    @cached_property
    def label_widths(self) -> tuple[float, ...]:
        """How wide a compartment must be for the label of each kind."""
        labels = [item.label_text for item in self.items]
        return tuple(
            0.0 if label is None else text_size(label, least_cap(self.ground.line_width))[0] + LABEL_AIR
            for label in labels
        )

    def lane_width(self, index: int, lane: Lane, *, labels: bool) -> float:
        """Return how wide a lane is, in mm; with ``labels`` its label has room over the first of its compartments."""
        label = self.label_widths[index] if labels else 0.0
        return max(lane.width, label * (lane.inner + 1) + lane.inner * self.ground.wall if label else 0.0)

    def share_worth(self, index: int, count: int) -> float:
        """Return what a place for some of a kind's things is worth."""
        whole, item = self.worths[index], self.items[index]
        if count >= item.count:
            return whole
        return whole * count / item.count * (1.0 - self.weights.split) - whole * self.weights.split / 2.0

    def tray_height(self, walls: float) -> float:
        """Return the height of a tray with such walls over its floor."""
        ground = self.ground
        return on_grid(
            ground.floor_top + walls + UNDER_RIM + ground.rim_overhang(self.rim) + ground.rim_height(self.rim)
        )

    def plastic(self, halves: Footprint, height: float, *, ledge: bool) -> float:
        """Return the volume of a tray without dividers in mm3, with its posts if it is in pieces."""
        plastic = self.ground.plastic(halves, height, self.rim, ledge=ledge)
        cut = self.cut(halves)
        if cut is None or self.cutting is None:
            return plastic
        return plastic + self.cutting.sizes.plastic(cut, max(height - self.ground.floor_top, 0.0))

    def tray_cost(self, halves: Footprint, plastic: float) -> float:
        """Return what an empty tray costs, in minutes."""
        weights, cut = self.weights, self.cut(halves)
        joining = 0.0 if cut is None else weights.piece * (cut.pieces - 1)
        return weights.tray + joining + weights.plastic * plastic + weights.cell * halves[0] * halves[1] / 4.0

    @cached_property
    def uses(self) -> tuple[str | None, ...]:
        """What each thing belongs to: its group or the like."""
        return tuple(self.use(item) for item in self.items)

    def mixing_cost(self, members: Collection[int]) -> float:
        """Return what it costs that these things, by their index, share a tray, in minutes."""
        uses = [self.uses[index] for index in members]
        return self.weights.mixing(float(len(set(uses) - {None})), float(uses.count(None)))

    @cached_property
    def _base_costs(self) -> dict[tuple[Footprint, float, bool], float]:
        return {}

    def base_cost(self, halves: Footprint, walls: float, *, ledge: bool) -> float:
        """Return what a tray without dividers costs, in minutes."""
        key = halves, walls, ledge
        if key not in self._base_costs:
            plastic = self.plastic(halves, self.tray_height(walls), ledge=ledge)
            self._base_costs[key] = self.tray_cost(halves, plastic)
        return self._base_costs[key]

    def side_cost(self, lane: Lane, axis: int) -> float:
        """Return what it costs that long things of a lane lie left to right, in minutes.

        Args:
            lane: as it is in a tray whose lanes stand side by side along x.
            axis: along which they do.
        """
        across, along = lane.pose.size[axis], lane.pose.size[1 - axis]
        return self.weights.side if lane.way == "row" and across > LONG and across > along else 0.0

    def column(self, halves: Footprint, axis: int, bands: Sequence[ChosenBand], walls: float, *, ledge: bool) -> Column:
        """Return the column of these bands; room that they leave is shared out among them.

        Args:
            halves: the tray's sides.
            axis: along which lanes stand side by side.
            bands: the lanes as they run front to back, the front band first; only the last may have labels.
            walls: over the floor, in mm.
            ledge: whether the tray has a label ledge.
        """
        ground, weights = self.ground, self.weights
        height = self.tray_height(walls)
        wide, deep = self.room(halves, axis), self.room(halves, 1 - axis) - (LEDGE.depth if ledge else 0.0)
        spare = (deep - sum(length for length, _ in bands) - (len(bands) - 1) * ground.wall) / len(bands)
        dividers = (len(bands) - 1) * wide
        cost, gain, stack = 0.0, 0.0, 0.0
        made: list[LaneBand] = []
        for length, chosen in self._ordered(bands, ledge=ledge):
            order = self._side_by_side(chosen)
            dividers += (length + spare) * (len(order) - 1 + sum(lane.inner for _, lane in order))
            for index, lane in order:
                item = self.items[index]
                cost += weights.lane(item, lane) + self.side_cost(lane, axis)
                gain += self.share_worth(index, lane.count)
                stack = max(stack, lane.stack)
            made.append(
                LaneBand(length + spare, tuple((index, lane if axis == 0 else lane.turned()) for index, lane in order))
            )
        plastic = self.plastic(halves, height, ledge=ledge) + dividers * walls * ground.wall
        cost += self.tray_cost(halves, plastic) + self.mixing_cost({index for _, lot in bands for index, _ in lot})
        top = max(height, on_grid(ground.floor_top + stack))
        return Column(halves, axis, tuple(made), walls, height, top, ledge, plastic, gain, cost, rim=self.rim)

    def _side_by_side(self, chosen: Sequence[tuple[int, Lane]]) -> list[tuple[int, Lane]]:
        """Return the lanes of a band with those of one group next to each other, long and wide ones first."""
        longest: dict[str | None, float] = {}
        for index, lane in chosen:
            use = self.uses[index]
            longest[use] = max(longest.get(use, 0.0), lane.pose.size[1])
        uses = sorted(longest, key=lambda use: (-longest[use], use or ""))

        def rank(pair: tuple[int, Lane]) -> tuple[int, float, float, int]:
            index, lane = pair
            return uses.index(self.uses[index]), -lane.pose.size[1], -lane.width, index

        return sorted(chosen, key=rank)

    def _ordered(self, bands: Sequence[ChosenBand], *, ledge: bool) -> list[ChosenBand]:
        """Return bands with what is used most often in front; the one with labels stays behind."""

        def rank(band: ChosenBand) -> tuple[int, float]:
            return min(access_rank(self.items[index].access) for index, _ in band[1]), band[0]

        front = bands[:-1] if ledge else bands
        return [*sorted(front, key=rank), *(bands[-1:] if ledge else ())]
