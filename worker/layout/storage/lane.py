"""The lane: one kind of thing in a compartment that runs the whole length of a tray's room, or of a band of it.

Lanes stand side by side along an axis, a divider between each two. In a lane things lie in rows and layers, stand,
stand filed leaf by leaf, or lie loose.
"""

from dataclasses import dataclass, replace
from math import ceil
from typing import Final, Literal, NamedTuple

from worker.layout.storage.loose import Goods, heap, region
from worker.layout.storage.poses import Pose, turned
from worker.layout.storage.reach import FINGER_GAP
from worker.layout.storage.sizing_rules import AIR, DrawerLimits
from worker.layout.storage.tray_option import Bulk, DividerWall, Lot
from worker.layout.storage.ways import STABLE, Way
from worker.layout.tray.interior import on_grid
from worker.spec.items.item import Storage

__all__ = ["LEAST_LANE", "Lane", "Stop", "last_offset", "row_offsets"]

#: The narrowest lane: dividers need that between their faces, and some to spare (worker.layout.tray.dividers).
LEAST_LANE: Final = 5.0

#: Filed things, and what stands though it tips over easily, get a stop where they could lean by more than this share of
#: their height, 20 degrees (own choice).
_LEAN: Final = 0.35


class Stop(NamedTuple):
    """A divider within a lane, which keeps things from toppling; lengths in mm in the tray's part frame.

    ``axis`` is what it is perpendicular to, 0 for x, and ``at`` its middle. ``span`` is where it begins and ends: at
    the middle of another stop, or None for the lane's own side or end.
    """

    axis: int
    at: float
    span: tuple[float | None, float | None] = (None, None)

    def divider(self, sides: tuple[float, float], face: float, height: float | None) -> DividerWall:
        """Return the divider as a tray's spec has it, measured from the tray's inner faces.

        Args:
            sides: the ends of the lane along the stop, so measured: a face of the tray or the middle of a divider.
            face: where the inner faces are in the part's frame.
            height: of the divider over the floor; None for up to the rim.
        """
        low, high = (side if end is None else end - face for end, side in zip(self.span, sides, strict=True))
        axis: Literal["x", "y"] = "x" if self.axis == 0 else "y"
        return DividerWall(axis, on_grid(self.at - face), height, (on_grid(low), on_grid(high)))


def row_offsets(rows: int, pitch: float, back_pitch: float) -> tuple[float, ...]:
    """Return where each row begins after the first, in mm; from an even row to the next is ``pitch``.

    Args:
        rows: how many.
        pitch: from an even row to the next.
        back_pitch: from an odd row to the next; 0 where all are alike.
    """
    pair = pitch + (back_pitch or pitch)
    return tuple(k // 2 * pair + k % 2 * pitch for k in range(rows))


def last_offset(rows: int, pitch: float, back_pitch: float) -> float:
    """Return where the last of some rows begins: see `row_offsets`."""
    last = rows - 1
    return last // 2 * (pitch + (back_pitch or pitch)) + last % 2 * pitch


@dataclass(frozen=True, slots=True)
class Lane:
    """One kind of thing in a lane: ``count`` of them in ``across`` rows of ``along``, ``layers`` high.

    ``width`` is the least width of the lane in mm, from wall to wall. ``walls`` are the least walls over the tray's
    floor and ``most`` the highest from which things can still be taken; ``stack`` is how high the things reach.
    ``margin`` is kept to the lane's sides and ``side_gap`` free beside the rows; ``pitch`` is from one row to the next
    (0: their width and `AIR`), ``inner`` counts the stops that divide a file. With an ``end_gap`` a finger reaches down
    before the first thing. Loose things have ``goods``. A lane may be wider and longer than it needs.

    Every other row of things that lie head to tail is turned round; ``back_pitch`` is from such a row to the next. Of
    things that nest, ``rise`` is from one layer to the next and ``step`` from one to the next along the lane (0: their
    own height, their length and `AIR`).
    """

    way: Way
    pose: Pose
    count: int
    along: int
    across: int
    layers: int
    width: float
    walls: float
    most: float
    stack: float
    margin: float
    side_gap: float = 0.0
    pitch: float = 0.0
    inner: int = 0
    end_gap: bool = False
    goods: Goods | None = None
    back_pitch: float = 0.0
    rise: float = 0.0
    step: float = 0.0

    @property
    def storage(self) -> Storage:
        """The way as the spec of an item calls it."""
        return {"row": "rows", "file": "upright", "stand": "upright", "heap": "loose"}[self.way]  # type: ignore[return-value]

    @property
    def capacity(self) -> int:
        """How many have room; of loose things those that were counted."""
        return self.count if self.way == "heap" else self.along * self.across * self.layers

    def turned(self) -> "Lane":
        """Return the same lane in a tray whose lanes stand side by side along the other axis."""
        return replace(self, pose=turned(self.pose))

    def fill(  # noqa: PLR0917 - numbers of one room
        self,
        name: str,
        at: float,
        width: float,
        span: tuple[float, float],
        axis: int,
        ground: DrawerLimits,
        walls: float,
        ramp: float | None = None,
        *,
        stop: bool = False,
    ) -> tuple[Lot | Bulk, tuple[Stop, ...]]:
        """Return where the things are, and the lane's own stops, those that divide a file first.

        Args:
            name: of the item.
            at: where the lane begins along ``axis``, in the tray's part frame.
            width: of the lane, from wall to wall; no less than it needs.
            span: where it begins across the axis, and its length there.
            axis: along which lanes stand side by side, 0 for x.
            ground: the drawer's.
            walls: height of the tray's walls over its floor.
            ramp: radius of the tray's finger ramp.
            stop: whether what does not fill its lane has stops behind and beside it, so that it does not topple.
        """
        start, length = span
        if self.way == "heap":
            return self._heaped(name, at, width, span, axis, ground, walls, ramp), ()
        sizes = self.pose.size[1 - axis], self.pose.size[axis]
        pitch = self.pitch or sizes[1] + AIR
        rows, sides = self._rows(at, width, sizes[1], pitch, self.margin, ground.wall)
        if stop and (self.way == "file" or self._tips(axis)):
            rows, sides = self._stopped(at, width, sizes[1], pitch, ground.wall) or (rows, sides)
        stops = tuple(Stop(axis, side) for side in sides)
        apart = self.step or sizes[0] + AIR
        slack = length - sizes[0] - (self.along - 1) * apart
        by_columns = False
        if self.way == "row":
            behind = min(slack - FINGER_GAP, ground.corner) if self.end_gap else slack / 2.0
            places = tuple(start + slack - behind + k * apart for k in range(self.along))  # the gap is in front
        else:
            end = sides[0] - ground.wall / 2.0 if self.way == "stand" and sides else at + width
            short = self._short_row(rows, (at, end), span, axis, ground) if stop else None
            behind_all = self._end_stop(span, axis, ground, parted=short is not None) if stop else None
            packed = short is not None or behind_all is not None
            spread = 0.0 if packed else (slack - 2.0 * self.margin) / (self.along + 1.0)
            first = start + self.margin + spread
            places = tuple(first + k * (apart + spread) for k in range(self.along))
            beside = None if self.way == "file" or not sides else sides[0]
            if behind_all is not None:
                stops += (Stop(1 - axis, behind_all, (None, beside)),)
            if short is not None:
                by_columns = axis == 1
                parting = places[-1] + ground.wall / 2.0
                places = (*places[:-1], places[-1] + ground.wall + AIR)
                stops += (Stop(1 - axis, parting, (None, beside)),)
                stops += tuple(Stop(axis, middle, (parting, behind_all)) for middle in short)
        pair = (rows, places) if axis == 0 else (places, rows)
        ups = tuple(ground.floor_top + layer * (self.rise or self.pose.size[2]) for layer in range(self.layers))
        alternate = axis if self.back_pitch else None
        return Lot(name, self.pose, self.count, pair[0], pair[1], ups, alternate, by_columns=by_columns), stops

    def parts_short_row(self, length: float, axis: int, wall: float) -> bool:
        """Return whether no row is short, or lanes of this length have room for a divider before the short row."""
        return self.along * self.across == self.count or self._taken(axis, wall, parted=True) <= length

    def least_taken(self, axis: int) -> float:
        """Return the width in mm that its things take along an axis where a row across it is the shortest."""
        size = self.pose.size[axis]
        rows = max(self.across - max(self.along * self.across * self.layers - self.count, 0), 1)
        return row_offsets(rows, self.pitch or size + AIR, self.back_pitch)[-1] + size

    def leans(self, axis: int, free: float) -> bool:
        """Return whether its things would lean too far along an axis with so much free, in mm."""
        return self._tips(axis) and free > _LEAN * self.pose.size[2]

    def _taken(self, axis: int, wall: float, *, parted: bool) -> float:
        """Return the length that standing things take, with a divider before the last across the lane or without."""
        size = self.pose.size[1 - axis]
        if not parted:
            return max(size + (self.along - 1) * (self.step or size + AIR) + 2.0 * self.margin, LEAST_LANE)
        before = self.margin + (self.along - 1) * (self.step or size + AIR)
        return before + wall + max(AIR + size + self.margin, LEAST_LANE + wall)

    def _short_row(
        self,
        rows: tuple[float, ...],
        sides: tuple[float, float],
        span: tuple[float, float],
        axis: int,
        ground: DrawerLimits,
    ) -> tuple[float, ...] | None:
        """Return the middle of a stop beside the last thing of a short row, if it is needed; None for no parting.

        Where the last row is short, things of the row before it could topple into the gap behind them, and the last
        thing into the gap beside it: a divider parts the two rows, and a stop stands beside the last thing.

        Args:
            rows: where each thing of a row begins.
            sides: where the lane's width begins and ends, there at a stop or a wall.
            span: where the lane begins across the axis, and its length there.
            axis: along which lanes stand side by side.
            ground: the drawer's.
        """
        missing = self.along * self.across - self.count
        if self.way != "stand" or not missing or not self.parts_short_row(span[1], axis, ground.wall):
            return None
        lean = _LEAN * self.pose.size[2]
        number = self.across - missing
        last = rows[number - 1] + self.pose.size[axis]
        free = sides[1] - sides[0] - number * (self.pose.size[axis] + AIR) - self.margin
        room = sides[1] - last - AIR - ground.wall
        beside = self._tips(axis) and free > lean and room >= LEAST_LANE
        whole = self._end_stop(span, axis, ground, parted=False)
        back = span[0] + span[1] if whole is None else whole - ground.wall / 2.0
        before = span[0] + self.margin + (self.along - 1) * (self.pose.size[1 - axis] + AIR) - AIR
        behind = self._tips(1 - axis) and back - before > lean
        if not beside and not behind:
            return None
        return (last + AIR + ground.wall / 2.0,) if beside else ()

    def _end_stop(self, span: tuple[float, float], axis: int, ground: DrawerLimits, *, parted: bool) -> float | None:
        """Return the middle of a stop across the lane, behind standing things that would topple without it.

        None where they cannot lean far, or nothing is left behind a stop.
        """
        if not self._tips(1 - axis):
            return None
        begin, length = span
        taken = self._taken(axis, ground.wall, parted=parted)
        rest = length - taken
        if rest <= _LEAN * self.pose.size[2] or rest - ground.wall < LEAST_LANE:
            return None
        return begin + taken + ground.wall / 2.0

    def _tips(self, axis: int) -> bool:
        """Return whether its things stand and would tip over along an axis by themselves."""
        return self.way == "stand" and self.pose.size[2] > STABLE * self.pose.size[axis]

    def _rows(  # noqa: PLR0917 - numbers of one room
        self, at: float, width: float, size: float, pitch: float, margin: float, wall: float
    ) -> tuple[tuple[float, ...], tuple[float, ...]]:
        """Return where each row begins along the axis, and the middles of stops."""
        if self.inner:
            groups = self.inner + 1
            room = (width - self.inner * wall) / groups
            per = ceil(self.across / groups)
            rows: list[float] = []
            stops: list[float] = []
            for group in range(groups):
                begin = at + group * (room + wall)
                number = min(per, self.across - group * per)
                spare = (room - (number - 1) * pitch - size) / 2.0
                rows.extend(begin + spare + k * pitch for k in range(number))
                if group:
                    stops.append(begin - wall / 2.0)
            return tuple(rows), tuple(stops)
        offsets = row_offsets(self.across, pitch, self.back_pitch)
        slack = width - 2.0 * margin - offsets[-1] - size
        # the gap between two rows serves both; between slanted sides of two that lie head to tail it would be narrower
        if self.side_gap and self.across == 2 and not self.back_pitch:  # noqa: PLR2004
            return (at + margin, at + margin + pitch + slack), ()
        if self.side_gap:
            return tuple(at + margin + offset for offset in offsets), ()
        if self.way == "stand":
            step = slack / (self.across + 1.0)
            return tuple(at + margin + step + k * (pitch + step) for k in range(self.across)), ()
        return tuple(at + margin + slack / 2.0 + offset for offset in offsets), ()

    def _stopped(
        self, at: float, width: float, size: float, pitch: float, wall: float
    ) -> tuple[tuple[float, ...], tuple[float, ...]] | None:
        """Return a file's rows from the lane's beginning on, each group up to its stop, the last one too.

        None where the leaves cannot lean far, or nothing is left behind the last stop.
        """
        groups = self.inner + 1
        per = ceil(self.across / groups)
        rows: list[float] = []
        stops: list[float] = []
        begin = at
        for group in range(groups):
            number = min(per, self.across - group * per)
            rows.extend(begin + self.margin + k * pitch for k in range(number))
            begin += max((number - 1) * pitch + size + 2.0 * self.margin, LEAST_LANE)
            stops.append(begin + wall / 2.0)
            begin += wall
        free = (width - self.inner * wall) / groups - (number - 1) * pitch - size - 2.0 * self.margin
        if free <= _LEAN * self.pose.size[2] or at + width - begin < LEAST_LANE:
            return None
        return tuple(rows), tuple(stops)

    def _heaped(  # noqa: PLR0917 - numbers of one room
        self,
        name: str,
        at: float,
        width: float,
        span: tuple[float, float],
        axis: int,
        ground: DrawerLimits,
        walls: float,
        ramp: float | None,
    ) -> Bulk:
        goods, margin = self.goods, ground.margin(0.0)
        assert goods is not None  # noqa: S101 - a heap has goods
        sides = (width - 2.0 * margin, span[1] - 2.0 * margin)
        corner = (at + margin, span[0] + margin)
        if axis == 1:
            sides, corner = sides[::-1], corner[::-1]
        lying = heap(goods, *sides, ramp)
        assert lying is not None  # noqa: S101 - the width was chosen so that it is not too deep
        most = min(goods.deepest, goods.share * walls)
        return region(replace(goods, name=name), lying, (*corner, ground.floor_top), sides, most)
