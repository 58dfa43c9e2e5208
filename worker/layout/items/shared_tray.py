"""Shared trays: several items in one tray, with a divider between every two.

Compartments stand side by side along one axis, in one row or in as many equal ones as are worth a finger. All dividers
go from wall to wall: a column is as wide as its widest compartment needs, with an even share of what is left over.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from math import inf
from typing import Final

from worker.layout.items.compartment_widths import LONGEST, MOST_ROWS, WALLS, longs, rooms_of, row_length
from worker.layout.storage.compartment import DEPTHS, Compartment, CompartmentBox, Kind, heaps
from worker.layout.storage.in_rows import FINGER_BREADTH, ledge_walls
from worker.layout.storage.loose import fill_limit, wedge
from worker.layout.storage.sizing_rules import LEDGE, DrawerLimits
from worker.layout.storage.tray_option import Bulk, DividerWall, Draft, Filling, Lot, Option, sensible
from worker.layout.storage.tray_sizes import carries, rims
from worker.spec.drawer.tray import MOST_DIVIDERS, Rim
from worker.spec.items.item import Item

__all__ = ["share"]


@dataclass(frozen=True, slots=True)
class _Tray:
    """Compartments, in the order of the items; ``columns`` says which stand behind each other along ``axis``."""

    rooms: tuple[Compartment, ...]
    columns: tuple[tuple[int, ...], ...]
    rows: int
    axis: int
    ramp: float | None
    ledge: float
    ground: DrawerLimits

    @property
    def need(self) -> float:
        """The least length along the axis, walls between included."""
        return sum(map(self._width, self.columns)) + (len(self.columns) - 1) * self.ground.wall

    @property
    def inner(self) -> int:
        """How many dividers compartments have of their own."""
        return sum(room.inner for room in self.rooms)

    def _width(self, column: tuple[int, ...]) -> float:
        return max(self.rooms[index].width for index in column)

    def plastic(self, length: float, height: float) -> float:
        """Return what dividers and ramp add to an empty tray whose room is this long across the axis."""
        between = (len(self.columns) - 1 + self.inner) * length + (self.rows - 1) * self.need
        ramp = wedge(self.ramp) * self.need if self.ramp else 0.0
        return between * self.ground.wall * (height - self.ground.floor_top) + ramp

    def fill(self, names: tuple[str, ...], draft: Draft) -> Filling:
        """Return where things lie and dividers stand."""
        ground, rim, axis = self.ground, draft.rim, self.axis
        start, overhang = ground.start(rim), ground.rim_overhang(rim)
        usable = [ground.usable(halves, rim) for halves in draft.halves]
        usable[1] -= self.ledge
        spare = (usable[axis] - self.need) / len(self.columns)
        length = row_length(usable[1 - axis], self.rows, ground)
        along: Final = "x" if axis == 0 else "y"
        across: Final = "y" if axis == 0 else "x"
        most = fill_limit(draft, ground)
        content: dict[int, Lot | Bulk] = {}
        walls: list[float] = []
        at = 0.0
        for column in self.columns:
            if content:
                walls.append(at + ground.wall / 2.0)
                at += ground.wall
            width = self._width(column) + spare
            for row, index in enumerate(column):
                box = CompartmentBox(start + at, width, start + row * (length + ground.wall), length, axis)
                content[index], own = self.rooms[index].fill(names[index], box, ground, self.ramp, most)
                walls += [along - start for along in own]
            at += width
        behind = [row * (length + ground.wall) - ground.wall / 2.0 for row in range(1, self.rows)]
        dividers = [DividerWall(along, place + overhang) for place in sorted(walls)]
        dividers += [DividerWall(across, along + overhang) for along in behind]
        return Filling(tuple(content[index] for index in range(len(self.rooms))), tuple(dividers), ramp=self.ramp)


def share(items: Sequence[Item], ground: DrawerLimits, floor: int | None = None) -> tuple[Option, ...]:
    """Return every sensible tray that holds all of these items, each in its own compartment; none when none fits.

    A label names the group, or the first item that has one.

    Args:
        items: two or more.
        ground: the drawer's grid, span and height.
        floor: the most half cells that a tray may cover.
    """
    label = next((item.group or item.label_text for item in items if item.label_text is not None), None)
    both = tuple(sorted(set.intersection(*(set(rims(item)) for item in items))))
    shared = _share(tuple(Kind.of(item) for item in items), both, label, ground, floor)
    return tuple(option.named(tuple(item.name for item in items)) for option in shared)


@lru_cache(maxsize=2048)
def _share(
    kinds: tuple[Kind, ...], both: tuple[Rim, ...], label: str | None, ground: DrawerLimits, floor: int | None
) -> tuple[Option, ...]:
    names = tuple(str(index) for index in range(len(kinds)))
    ledge = label is not None
    drafts = [
        draft
        for rim in both
        for axis in (0, 1)
        for draft in _drafts(
            kinds, names, _Rows(ground, rim, axis, 0, 0.0, LEDGE.depth if ledge else 0.0), floor, ledge=ledge
        )
        if carries(label, draft, ground)
    ]
    return tuple(draft.option(names, label, ground) for draft in sensible(drafts, low="stacking" in both))


@dataclass(frozen=True, slots=True)
class _Rows:
    """Rows of compartments that are tried: their axis and how many there are, each so long; the rim, and the ledge."""

    ground: DrawerLimits
    rim: Rim
    axis: int
    rows: int
    length: float
    strip: float

    def halves(self, need: float) -> int:
        """Return the tray's half cells along the axis, when compartments need so much."""
        return self.ground.halves(need + (self.strip if self.axis == 1 else 0.0), self.rim)

    def rooms(self, kind: Kind) -> tuple[Compartment, ...]:
        """Return a kind's compartments that the drawer is high enough for, narrowest first."""
        return rooms_of(kind, self.axis, self.length, self.ground, self.rows)

    def least(self, kinds: Sequence[Kind]) -> float:
        """Return what these kinds need along the axis at the least; endless when one has no room."""
        narrow: list[float] = []
        for kind in kinds:
            rooms = self.rooms(kind)
            if not rooms:
                return inf
            narrow.append(rooms[0].width)
        if self.rows > 1:
            narrow.sort(reverse=True)
        columns = narrow[:: self.rows]
        return sum(columns) + (len(columns) - 1) * self.ground.wall


def _drafts(
    kinds: tuple[Kind, ...], names: tuple[str, ...], tried: _Rows, floor: int | None, *, ledge: bool
) -> Iterator[Draft]:
    """Yield the drafts of one direction of columns, longer compartments each time; `tried` has no rows yet."""
    ground, rim, axis, strip = tried.ground, tried.rim, tried.axis, tried.strip
    widest = min(ground.span[axis], LONGEST)
    for long in longs(ground, ground.span[1 - axis]):
        room = ground.usable(long, rim) - (strip if axis == 0 else 0.0)
        most = widest if floor is None else min(widest, floor // long)
        for rows in range(1, min(MOST_ROWS, len(kinds)) + 1):
            made = replace(tried, rows=rows, length=row_length(room, rows, ground))
            if made.length < FINGER_BREADTH:
                break
            least = made.least(kinds)
            if least == inf or made.halves(least) > most:
                continue
            for tray in _trays(kinds, made):
                wide = made.halves(tray.need)
                walls = max(room.walls for room in tray.rooms)
                stand = ground.stand(max(walls, ledge_walls(ledge=ledge)), max(room.stack for room in tray.rooms), rim)
                dividers = tray.inner + len(tray.columns) + rows - 2
                if stand is None or wide > most or dividers > MOST_DIVIDERS:
                    continue
                height, top = stand
                halves = (wide, long) if axis == 0 else (long, wide)
                plastic = ground.plastic(halves, height, rim, ledge=ledge) + tray.plastic(room, height)
                stored = tuple(room.storage for room in tray.rooms)
                yield Draft(stored, halves, height, top, rim, plastic, _Filled(tray, names).fill)


@dataclass(frozen=True, slots=True)
class _Filled:
    """A tray with the names of what is in it."""

    tray: _Tray
    names: tuple[str, ...]

    def fill(self, draft: Draft) -> Filling:
        """Return where things lie and dividers stand."""
        return self.tray.fill(self.names, draft)


def _trays(kinds: tuple[Kind, ...], tried: _Rows) -> Iterator[_Tray]:
    """Yield trays with such rows: loose things alone have a ramp, others walls of several heights."""
    if tried.rows == 1 and tried.axis == 0 and all(kind.ways == ("loose",) for kind in kinds):
        for depth in DEPTHS:
            ramped = [heaps(kind, tried.length, tried.ground, depth) for kind in kinds]
            lying = [room for _, room in ramped if room is not None]
            if len(lying) == len(kinds):
                yield _tray(lying, tried, ramped[0][0])
        return
    every = [tried.rooms(kind) for kind in kinds]
    seen: set[tuple[int, ...]] = set()
    for walls in WALLS:
        chosen = [_narrowest(rooms, walls, tried.rim) for rooms in every]
        taken = [room for room in chosen if room is not None]
        key = tuple(map(id, taken))
        if len(taken) == len(kinds) and key not in seen:
            seen.add(key)
            yield _tray(taken, tried, None)


def _narrowest(rooms: Sequence[Compartment], walls: float, rim: Rim) -> Compartment | None:
    """Return the narrowest compartment within walls of this height; under a rim nothing can stand out of it."""
    fits = (room for room in rooms if room.walls <= walls <= room.most and (rim == "straight" or room.most == inf))
    return next(fits, None)


def _tray(rooms: Sequence[Compartment], tried: _Rows, ramp: float | None) -> _Tray:
    """Return a tray of these compartments, those of like widths in one column."""
    order = list(range(len(rooms)))
    if tried.rows > 1:
        order.sort(key=lambda index: (-rooms[index].width, index))
    columns = tuple(tuple(order[start : start + tried.rows]) for start in range(0, len(order), tried.rows))
    return _Tray(tuple(rooms), columns, tried.rows, tried.axis, ramp, tried.strip, tried.ground)
