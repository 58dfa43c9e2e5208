"""Family patterns: the best tray of every footprint for every subset of a few like things.

All patterns of an assortment are found once, whatever the prices; pricing then only adds up numbers.
"""

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import cached_property, lru_cache
from itertools import pairwise
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np

from worker.layout.placement.columns.assortment import LONG, Assortment, ChosenBand
from worker.layout.placement.columns.band_split import ENDLESS, MOST_BANDS, BandSplit, BandWidths, subset_sums
from worker.layout.placement.columns.tray_columns import Column, Footprint
from worker.layout.storage.lane import LEAST_LANE, Lane
from worker.layout.storage.lane_sizing import lanes_by_length, natural_lengths
from worker.layout.storage.poses import longest
from worker.layout.storage.sizing_rules import LEDGE, ledge_walls
from worker.spec.drawer.tray import MOST_DIVIDERS

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["MOST_MEMBERS", "FamilyPatterns"]

#: The most members of a family that patterns are found for at once.
MOST_MEMBERS: Final = 8

#: Lengths of lanes closer than this, in mm, are one; and there are so many of them at most.
_NEAR: Final = 0.6
_MOST_LENGTHS: Final = 80

#: A larger tray is kept when it costs less than smaller ones by this, in minutes.
_LESS: Final = 0.05


class _Entry(NamedTuple):
    """A lane with its member, the index of its length, the levels of walls that suit it, and the cost of reaching."""

    member: int
    at: int
    least: int
    greatest: int
    width: float
    reach: float
    lane: Lane


class _Depths(NamedTuple):
    """Depths that trays of one width may have: by the index of their side, rising, and the length of their room.

    ``posts`` says whether posts stand at both ends of the width.
    """

    posts: bool
    sides: "NDArray[np.intp]"
    rooms: "NDArray[np.float64]"

    def place(self, least: "NDArray[np.float64]") -> "NDArray[np.intp]":
        """Return the side, by its index, of the least depth that takes each of these; -1 where none does."""
        chosen: NDArray[np.intp] = np.append(self.sides, -1)[np.searchsorted(self.rooms, least - 1e-6)]
        return chosen


@lru_cache(maxsize=1024)
def _base_costs(
    stock: Assortment,
    footprints: tuple[Footprint, ...],
    sides: tuple[int, ...],
    walls: float,
    ledge: bool,  # noqa: FBT001 - a cache keeps arguments by place
) -> "NDArray[np.float64]":
    """Return what trays without dividers cost, by side and depth; those that cannot be made are endless.

    They depend on the drawer alone: 79 families of a drawer of 30 kinds ask for the same 0.2 s of work again and again.
    """
    place = {side: k for k, side in enumerate(sides)}
    costs = np.full((len(sides), len(sides)), np.inf)
    for wide, deep in footprints:
        if wide not in place or deep not in place:
            continue
        if ledge and stock.usable(deep) < 2.0 * LEDGE.depth:
            continue  # a ledge takes no more than half the room (worker.layout.tray.ramp_and_ledge)
        cost = stock.base_cost((wide, deep), walls, ledge=ledge)
        costs[place[wide], place[deep]] = cost
        if not ledge and (deep, wide) not in stock.footprints:
            costs[place[deep], place[wide]] = cost
    return costs


class FamilyPatterns:
    """The patterns of one family, at most ten things.

    A subset is a number whose bits are the ``members`` in it. ``subsets``, ``sizes`` (indices into ``footprints``) and
    ``values`` (in minutes) say which trays there are, ``(p,)`` each. They are trays that the bed takes, or with
    ``joined`` those in pieces for subsets with some of the members that no tray takes which is printed whole.
    """

    def __init__(self, stock: Assortment, members: Sequence[int], joined: Collection[int] = ()) -> None:
        """Find the patterns of these members, by their index; ``joined``: those that trays in pieces are for."""
        self.stock, self.members, self.joined = stock, tuple(members), bool(joined)
        self.footprints: tuple[Footprint, ...] = (
            stock.joined_footprints if joined else tuple(sorted(stock.footprints - frozenset(stock.joined_footprints)))
        )
        sides = sorted({side for pair in self.footprints for side in pair}) if joined else stock.sides
        self._sides = [side for side in sides if stock.usable(side) > 0.0]
        self._rooms = np.array([stock.usable(side) for side in self._sides])
        self._needed = sum(1 << k for k, m in enumerate(self.members) if m in joined)
        self.labels = sum(1 << k for k, m in enumerate(self.members) if stock.items[m].label_text is not None)
        self._labelled = (np.arange(1 << len(self.members)) & self.labels) > 0
        self._splits: dict[tuple[int, int, int, bool], BandSplit] = {}
        self._tables: dict[tuple[int, int], tuple[NDArray[np.intp], BandWidths]] = {}
        self.subsets: NDArray[np.intp]
        self.sizes: NDArray[np.intp]
        self.costs: NDArray[np.float64]
        self._codes: NDArray[np.intp]
        self._find()

    @cached_property
    def homeless(self) -> tuple[int, ...]:
        """The members for which there is no tray."""
        alone = {int(subset) for subset in self.subsets}
        return tuple(m for k, m in enumerate(self.members) if 1 << k not in alone)

    @cached_property
    def worths(self) -> "NDArray[np.float64]":
        """The worth of every subset, in minutes."""
        return subset_sums(np.array([self.stock.worths[m] for m in self.members]))

    @cached_property
    def values(self) -> "NDArray[np.float64]":
        """The value of each pattern, in minutes."""
        return self.worths[self.subsets] - self.costs

    @cached_property
    def areas(self) -> "NDArray[np.intp]":
        """The half cells of each pattern."""
        return np.array([wide * deep for wide, deep in self.footprints], dtype=np.intp)[self.sizes]

    @cached_property
    def _lengths(self) -> "NDArray[np.float64]":
        """Lengths of bands, rising."""
        stock = self.stock
        if not self._sides:
            return np.zeros(0)
        most = float(self._rooms[-1])
        every: set[float] = set()
        for member in self.members:
            natural = natural_lengths(stock.kinds[member], most, stock.ground)
            every.update(natural or (float(room) for room in self._rooms))
        every = {max(length, LEAST_LANE) for length in every}  # a divider along it is no shorter
        rising = sorted(every)
        near = _NEAR
        while True:
            chosen: list[float] = []
            for length, after in pairwise((*rising, ENDLESS)):
                # of lengths that are nearly the same the longest serves all
                if after - length > near or (chosen and after - chosen[-1] > 2.0 * near) or after == ENDLESS:
                    chosen.append(length)
            if len(chosen) <= _MOST_LENGTHS:
                return np.array(chosen)
            near *= 1.4

    @cached_property
    def _lanes(self) -> list[_Entry]:
        """All lanes for all things of a member."""
        stock, every = self.stock, list[_Entry]()
        lengths = self._lengths.tolist()
        for k, member in enumerate(self.members):
            item = stock.items[member]
            ledge = item.label_text is not None
            for numbers, chosen in lanes_by_length(stock.kinds[member], lengths, stock.ground):
                for lane in chosen:
                    levels = stock.level_range(lane, ledge=ledge, joined=self.joined)
                    if lane.count == item.count and levels is not None:
                        # across its lane, a long thing lies left to right in most trays: those with lanes along y
                        reach = stock.weights.lane(item, lane) + stock.side_cost(lane, 0)
                        every += [_Entry(k, number, *levels, lane.width, reach, lane) for number in numbers]
        return every

    def _choice(self, level: int, *, reach: bool) -> "NDArray[np.intp]":
        """Return the index of the best lane for each member and length at a level, ``(n, m)``, -1 for none.

        The narrowest, or with ``reach`` the one that is reached best.
        """
        least, greatest, widths, costs = self._columns
        usable = np.flatnonzero((least <= level) & (level <= greatest))
        first, second = (costs, widths) if reach else (widths, costs)
        order = usable[np.lexsort((usable, second[usable], first[usable]))][::-1]
        chosen = np.full((len(self.members), len(self._lengths)), -1, dtype=np.intp)
        chosen[self._owners[order], self._numbers[order]] = order  # the last one stays: the best
        return chosen

    @cached_property
    def _columns(self) -> "tuple[NDArray[np.float64], ...]":
        return tuple(np.array([lane[k] for lane in self._lanes], dtype=np.float64) for k in (2, 3, 4, 5))

    @cached_property
    def _back_widths(self) -> "NDArray[np.float64]":
        """How wide each lane is in the back band, where the labels are."""
        return np.array(
            [self.stock.lane_width(self.members[lane.member], lane.lane, labels=True) for lane in self._lanes]
        )

    @cached_property
    def _owners(self) -> "NDArray[np.intp]":
        return np.array([lane.member for lane in self._lanes], dtype=np.intp)

    @cached_property
    def _numbers(self) -> "NDArray[np.intp]":
        return np.array([lane.at for lane in self._lanes], dtype=np.intp)

    def _find(self) -> None:
        count = 1 << len(self.members)
        sides = len(self._sides)
        best = np.full((count, sides, sides), np.inf)
        codes = np.full((count, sides, sides), -1, dtype=np.intp)
        for level in sorted({lane.least for lane in self._lanes}):
            narrow = self._choice(level, reach=False)
            near = self._choice(level, reach=True)
            styles = [narrow] if (narrow == near).all() else [narrow, near]
            for style, chosen in enumerate(styles):
                self._add(best, codes, level, style, chosen)
        self._keep(best, codes)
        self._forget_unused()

    def _forget_unused(self) -> None:
        """Free the memory of what no pattern was made from: patterns are kept from one plan to the next."""
        used = set[tuple[int, int, int, bool]]()
        for code, size in set(zip(self._codes.tolist(), self.sizes.tolist(), strict=True)):
            rest, axis = divmod(code, 2)
            used.add(self._split_key(self.footprints[size], axis, *divmod(rest // 4, 2)))
        self._splits = {key: split for key, split in self._splits.items() if key in used}
        for _, widths in self._tables.values():
            widths.forget_sums()

    def _table(self, level: int, chosen: "NDArray[np.intp]") -> BandWidths:
        """Return the widths that subsets take at a level."""
        stock, wall = self.stock, self.stock.ground.wall
        widths: NDArray[np.float64] = np.where(chosen >= 0, self._columns[2][chosen], ENDLESS)
        back = widths
        if self.labels:
            back = np.where(chosen >= 0, self._back_widths[chosen], ENDLESS)
        front = widths + wall
        high = stock.levels[level] >= ledge_walls(ledge=True)
        return BandWidths(
            self._lengths,
            front,
            back + wall if self.labels else front,
            wall,
            self._labelled,
            LEDGE.depth if high else ENDLESS,
        )

    def _split(self, level: int, style: int, side: int, posts: bool) -> BandSplit:  # noqa: FBT001 - a key's parts
        """Return the best bands at a level for trays whose lanes stand side by side over this side, by its index."""
        key = level, style, side, posts
        if key not in self._splits:
            if (level, style) not in self._tables:
                chosen = self._choice(level, reach=style == 1)
                self._tables[level, style] = chosen, self._table(level, chosen)
            widths = self._tables[level, style][1]
            room = float(self._rooms[side]) - (2.0 * self._post if posts else 0.0) + widths.wall + 1e-6
            self._splits[key] = BandSplit(widths, room)
        return self._splits[key]

    def _add(
        self,
        best: "NDArray[np.float64]",
        codes: "NDArray[np.intp]",
        level: int,
        style: int,
        chosen: "NDArray[np.intp]",
    ) -> None:
        """Enter what trays with walls of a level cost where that is less."""
        stock, weights = self.stock, self.stock.weights
        walls = stock.levels[level]
        reaching = np.where(chosen >= 0, self._columns[3][chosen], ENDLESS).min(axis=1)
        extra = subset_sums(reaching) + self._mixing
        sides, ledges = tuple(self._sides), (False, True) if self.labels else (False,)
        base = np.array([_base_costs(self._empty, self.footprints, sides, walls, ledge) for ledge in ledges])
        plastic = walls * stock.ground.wall * weights.plastic
        splits = [self._split(level, style, side, depths_of.posts) for side, depths_of in self._depths]
        widths = np.array([side for side, _ in self._depths], dtype=np.intp)
        for bands in range(1, min(MOST_BANDS, len(self.members)) + 1):
            depth_of = np.array(
                [depths.place(split.depths(bands)) for split, (_, depths) in zip(splits, self._depths, strict=True)]
            ).reshape(-1, len(best))
            rows, subset = np.nonzero((depth_of >= 0) & self._counting)
            side, deep = widths[rows], depth_of[rows, subset]
            dividers = (bands - 1) * self._rooms[side] + (self._counts[subset] / bands - 1.0) * self._rooms[deep]
            cost = base[self._labelled[subset].astype(np.intp), side, deep]
            cost = cost + extra[subset] + np.maximum(dividers, 0.0) * plastic
            less = cost < best[subset, side, deep]
            where = subset[less], side[less], deep[less]
            best[where] = cost[less]
            codes[where] = (level * 2 + style) * 4 + bands

    @cached_property
    def _counting(self) -> "NDArray[np.bool_]":
        """Which subsets trays are found for: all but the empty one, or those with members that need them in pieces."""
        subsets = np.arange(1 << len(self.members))
        return (subsets & self._needed if self.joined else subsets) > 0

    @cached_property
    def _post(self) -> float:
        """How far posts stand into the room, in mm."""
        cutting = self.stock.cutting
        return 0.0 if cutting is None else cutting.sizes.depth(self.stock.ground.start(self.stock.rim))

    @cached_property
    def _depths(self) -> list[tuple[int, _Depths]]:
        """Each width, by the index of its side, with depths that go with it, those with posts at its ends apart."""
        if not self.joined:
            depths = _Depths(posts=False, sides=np.arange(len(self._sides), dtype=np.intp), rooms=self._rooms)
            return [(side, depths) for side in range(len(self._sides))]
        every: list[tuple[int, _Depths]] = []
        for width, wide in enumerate(self._sides):
            for posts in (False, True):
                rooms = sorted(
                    (float(self._rooms[depth]) - 2.0 * self._post * (cut[0] > 1), depth)
                    for depth, deep in enumerate(self._sides)
                    if (cut := self._pieces(wide, deep)) is not None and (cut[1] > 1) == posts
                )
                if rooms:
                    sides = np.array([depth for _, depth in rooms], dtype=np.intp)
                    every.append((width, _Depths(posts, sides, np.array([room for room, _ in rooms]))))
        return every

    def _pieces(self, wide: int, deep: int) -> tuple[int, int] | None:
        """Return into how many pieces a tray is cut over its width and its depth, whichever way it stands."""
        cut, turned = self.stock.cut((wide, deep)), self.stock.cut((deep, wide))
        if cut is not None:
            return cut.along
        return None if turned is None else (turned.along[1], turned.along[0])

    @cached_property
    def _counts(self) -> "NDArray[np.float64]":
        """How many members each subset has."""
        return subset_sums(np.ones(len(self.members)))

    @cached_property
    def _mixing(self) -> "NDArray[np.float64]":
        """What it costs in each subset that things of different use share a tray, in minutes."""
        uses = [self.stock.uses[m] for m in self.members]
        named = np.zeros(1 << len(uses))
        for name in dict.fromkeys(use for use in uses if use is not None):
            named += subset_sums(np.array([float(use == name) for use in uses])) > 0.0
        without = subset_sums(np.array([float(use is None) for use in uses]))
        return self.stock.weights.mixing(named, without)

    @cached_property
    def _empty(self) -> Assortment:
        """The drawer without any things."""
        return replace(self.stock, items=(), families=(), ways=())

    def _keep(self, best: "NDArray[np.float64]", codes: "NDArray[np.intp]") -> None:
        """Keep the patterns that none of a smaller tray beats."""
        stock, place = self.stock, {side: k for k, side in enumerate(self._sides)}
        side_cost = stock.weights.side * subset_sums(
            np.array([float(longest(stock.items[m].plain) > LONG) for m in self.members])
        )
        costs = np.full((len(best), len(self.footprints)), np.inf)
        entered = np.full((len(best), len(self.footprints)), -1, dtype=np.intp)
        for number, (wide, deep) in enumerate(self.footprints):
            if wide not in place or deep not in place:
                continue
            straight, across = (place[wide], place[deep]), (place[deep], place[wide])
            costs[:, number] = best[:, straight[0], straight[1]]
            entered[:, number] = codes[:, straight[0], straight[1]] * 2
            if wide != deep:
                other = np.where(self._labelled, np.inf, best[:, across[0], across[1]] + side_cost)
                turned = other < costs[:, number]
                costs[turned, number] = other[turned]
                entered[turned, number] = codes[turned, across[0], across[1]] * 2 + 1
        kept = np.isfinite(costs) & (costs < self._least_inside(costs) - _LESS)
        self.subsets, self.sizes = np.nonzero(kept)
        self.costs, self._codes = costs[kept], entered[kept]

    def _least_inside(self, costs: "NDArray[np.float64]") -> "NDArray[np.float64]":
        """Return what the cheapest tray on a part of each footprint costs, ``(s, f)`` like the costs."""
        places = np.array(self.footprints, dtype=np.intp).reshape(-1, 2)
        wides, wide = np.unique(places[:, 0], return_inverse=True)
        deeps, deep = np.unique(places[:, 1], return_inverse=True)
        least = np.full((len(costs), len(wides) + 1, len(deeps) + 1), np.inf)
        least[:, wide + 1, deep + 1] = costs
        least = np.minimum.accumulate(np.minimum.accumulate(least, axis=1), axis=2)
        inside: NDArray[np.float64] = np.minimum(least[:, wide, deep + 1], least[:, wide + 1, deep])
        return inside

    def column(self, number: int) -> Column | None:
        """Return a pattern as a tray; None where it would have too many dividers."""
        subset, halves = int(self.subsets[number]), self.footprints[int(self.sizes[number])]
        rest, axis = divmod(int(self._codes[number]), 2)
        rest, bands = divmod(rest, 4)
        level, style = divmod(rest, 2)
        return self._made(subset, halves, axis, bands, level, style)

    def column_at(self, halves: Footprint, level: int) -> Column | None:
        """Return the cheapest tray of a footprint for all members with walls of a level; None where there is none."""
        subset = (1 << len(self.members)) - 1
        every = [
            column
            for axis in ((0,) if halves[0] == halves[1] or subset & self.labels else (0, 1))
            for style in (0, 1)
            for bands in range(1, min(MOST_BANDS, len(self.members)) + 1)
            if self._fits(subset, halves, axis, bands, level, style)
            and (column := self._made(subset, halves, axis, bands, level, style)) is not None
        ]
        return min(every, key=lambda column: column.cost, default=None)

    def _fits(self, subset: int, halves: Footprint, axis: int, bands: int, level: int, style: int) -> bool:  # noqa: PLR0917
        """Return whether the members of a subset have room at a level."""
        if halves[axis] not in self._sides or halves[1 - axis] not in self._sides:
            return False
        depth = float(self._split_of(halves, axis, level, style).depths(bands)[subset])
        if self.labels & subset and self.stock.usable(halves[1 - axis]) < 2.0 * LEDGE.depth:
            return False
        return depth <= self.stock.room(halves, 1 - axis) + 1e-6

    def _split_of(self, halves: Footprint, axis: int, level: int, style: int) -> BandSplit:
        """Return the best bands at a level for trays of a footprint with lanes side by side along an axis."""
        return self._split(*self._split_key(halves, axis, level, style))

    def _split_key(self, halves: Footprint, axis: int, level: int, style: int) -> tuple[int, int, int, bool]:
        return level, style, self._sides.index(halves[axis]), self.stock.beside_posts(halves)[axis] > 0.0

    def _made(self, subset: int, halves: Footprint, axis: int, bands: int, level: int, style: int) -> Column | None:  # noqa: PLR0917
        split = self._split_of(halves, axis, level, style)
        chosen = self._tables[level, style][0]
        parts = split.split(subset, bands)
        spare = self.stock.room(halves, 1 - axis) - float(split.depths(bands)[subset])
        for number, (part, at) in enumerate(parts):
            longer = self._longer(part, at, spare, split, chosen, labels=number == bands - 1)
            spare -= float(self._lengths[longer] - self._lengths[at])
            parts[number] = part, longer
        made = [
            self._band(part, at, level, split, chosen, labels=number == bands - 1)
            for number, (part, at) in enumerate(parts)
        ]
        walls = sum(len(band[1]) - 1 + sum(lane.inner for _, lane in band[1]) for band in made) + bands - 1
        if walls > MOST_DIVIDERS:
            return None
        column = self.stock.column(halves, axis, made, self.stock.levels[level], ledge=bool(subset & self.labels))
        cutting = self.stock.cutting if self.joined else None
        return column if cutting is None or cutting.joins(self.stock, column) else None

    def _longer(
        self, part: int, at: int, spare: float, split: BandSplit, chosen: "NDArray[np.intp]", *, labels: bool
    ) -> int:
        """Return the length, by its index, at which a band's lanes are reached best; it takes no more than is spare."""
        # rounding may leave a hair less than nothing to spare
        most = int(np.searchsorted(self._lengths, self._lengths[at] + max(spare, 0.0), side="right"))
        if most <= at + 1:
            return at
        widths = split.widths.row(part, back=labels)[at:most]
        reaches = np.zeros(most - at)
        for k in range(len(self.members)):
            if part >> k & 1:
                reaches = reaches + self._columns[3][chosen[k, at:most]]
        fits = [n for n, wide in enumerate(widths.tolist()) if n == 0 or wide <= split.room]
        rounded = [round(reach, 6) for reach in reaches.tolist()]
        return at + min(fits, key=lambda n: (rounded[n], n))

    def _band(
        self, part: int, at: int, level: int, split: BandSplit, chosen: "NDArray[np.intp]", *, labels: bool
    ) -> ChosenBand:
        """Return a band; where there is width to spare, its lanes are those that are reached better."""
        stock = self.stock
        picked = {k: self._lanes[int(chosen[k, at])] for k in range(len(self.members)) if part >> k & 1}

        def width(entry: _Entry) -> float:
            return stock.lane_width(self.members[entry.member], entry.lane, labels=labels)

        spare = split.room - sum(width(entry) + split.wall for entry in picked.values())
        for entry in self._better(at, level, picked):
            now = picked[entry.member]
            if entry.reach < now.reach and width(entry) - width(now) <= spare:
                spare -= width(entry) - width(now)
                picked[entry.member] = entry
        return float(self._lengths[at]), [(self.members[k], entry.lane) for k, entry in sorted(picked.items())]

    def _better(self, at: int, level: int, members: Mapping[int, _Entry]) -> Iterator[_Entry]:
        """Yield the lanes of members at a length and a level, those that are reached best first."""
        for entry in self._by_length.get(at, ()):
            if entry.member in members and entry.least <= level <= entry.greatest:
                yield entry

    @cached_property
    def _by_length(self) -> dict[int, list[_Entry]]:
        """All lanes by the index of their length, those that are reached best first."""
        lanes: dict[int, list[_Entry]] = {}
        for entry in sorted(self._lanes, key=lambda entry: (entry.reach, entry.width, entry.member)):
            lanes.setdefault(entry.at, []).append(entry)
        return lanes
