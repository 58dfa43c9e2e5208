"""The lanes of a drawer: rows of lanes from the back or from the right, and the panels between them."""

import itertools
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from math import floor
from typing import Final, Literal

from worker.layout.lanes.free_rectangle import Rectangle
from worker.layout.lanes.need import LaneNeed, Pile, content_size, piles_of
from worker.layout.lanes.shelves import DIVIDER, LaneItem, LaneRow, Rule, gross_depth, rows_of
from worker.layout.model.plan import LanePlan, Stored
from worker.layout.panels.lines import LEAST_APART
from worker.layout.panels.profile import STUB
from worker.layout.placement.columns.objective import WEIGHTS, worth
from worker.layout.tray.interior import UNDER_RIM, on_grid
from worker.spec.drawer.panel import LEAST_PANEL_HEIGHT, Panel
from worker.spec.items.item import Item, access_rank
from worker.spec.items.layout import Profile

__all__ = ["DrawerLanes", "LaneSite", "lanes_of"]

#: Height of a panel beside things, as a share of what stands beside it (own choice: it keeps a pile upright).
_HELD_SHARE: Final = 0.7
_LEAST_HEIGHT: Final = 40.0
#: A free lane at the end of a row or beside the rows is at least this wide, mm (own choice: for a hand).
_LEAST_FREE: Final = 90.0
#: Distance of a panel from the edges of cells between which its feet stand, mm: half a strip, a cheek and the socket's
#: wall (`worker.layout.panels.foot.foot_reach`), for lines and joints of any size.
_FROM_CELL: Final = 8.0
#: Panels of two rows that are nearer than this are put in line, mm (own choice).
_IN_LINE: Final = 30.0


@dataclass(frozen=True)
class LaneSite:
    """A drawer as far as lanes go.

    ``room`` is the rectangle for lanes in the usable area; ``origin`` where the usable area begins in the drawer, mm.
    ``height`` is the greatest height of things, ``strip`` that of panels, mm. ``pitch`` is the side of a cell of the
    floor beside the lanes; None without a floor. ``carried`` are the heights at which trays are to stand on panels.
    ``base`` is the height that things lie and panels stand at, mm: that of the tiles below the lanes, or 0; ``grid`` is
    the front left corner of their cells, None on a bare bottom. ``half`` is the side of a half cell of trays that
    the panels are to carry in a drawer without a floor; None: panels stand wherever they do.
    """

    room: Rectangle
    origin: tuple[float, float]
    height: float
    strip: float
    profile: Profile = "balanced"
    pitch: float | None = None
    carried: tuple[float, ...] = ()
    base: float = 0.0
    grid: tuple[float, float] | None = None
    half: float | None = None


@dataclass(frozen=True)
class DrawerLanes:
    """Lanes, what lies in them, the panels around them, what has no place, and what the lanes leave free.

    ``rest`` is the rectangle beside the lanes, in the usable area; None where they take the whole room. The lanes begin
    at the back or at the right, as ``direction`` says.
    """

    lanes: tuple[LanePlan, ...] = ()
    contents: tuple[Stored, ...] = ()
    panels: tuple[Panel, ...] = ()
    left: tuple[tuple[str, Item], ...] = ()
    rest: Rectangle | None = None
    direction: Literal["back", "right"] = "back"


_DIRECTIONS: Final[tuple[Literal["back", "right"], ...]] = ("back", "right")
_RULES: Final[tuple[Rule, ...]] = ("shallow", "compact")


def lanes_of(items: Sequence[tuple[str, Item]], site: LaneSite) -> DrawerLanes:
    """Return the best lanes for a drawer's items.

    Both directions, several orders of the items and both rules for the depth of a row are tried; that is best which
    places what is worth most, then leaves the most cells of a floor, then has the shortest panels.

    Args:
        items: after their JSON Pointers.
        site: the drawer.
    """
    if not items:
        return DrawerLanes(rest=site.room)
    tries = [
        _Rows(items, site, direction, order, rule)
        for direction, order, rule in itertools.product(_DIRECTIONS, (_by_use, _by_size, _by_length), _RULES)
    ]
    return max(tries, key=lambda rows: rows.value).laid()


def _by_use(item: Item) -> tuple[float, ...]:
    return -access_rank(item.access), -max(_sizes(item))


def _by_size(item: Item) -> tuple[float, ...]:
    width, depth, height = _sizes(item)
    return (-width * depth * height * item.count,)


def _by_length(item: Item) -> tuple[float, ...]:
    return (-max(_sizes(item)),)


def _sizes(item: Item) -> tuple[float, float, float]:
    from_piles = piles_of(item, float("inf"))[0]
    return from_piles.width, from_piles.depth, from_piles.top / from_piles.layers


@dataclass
class _RowLanes:
    """The lanes of one row, what lies in them, and dividers: where along u, and the height of things beside; mm."""

    lanes: list[LanePlan] = field(default_factory=list)
    contents: list[Stored] = field(default_factory=list)
    dividers: list[tuple[float, float]] = field(default_factory=list)


class _Rows:
    """Rows of lanes in one direction, for one order of the items."""

    def __init__(
        self,
        items: Sequence[tuple[str, Item]],
        site: LaneSite,
        direction: Literal["back", "right"],
        order: Callable[[Item], tuple[float, ...]],
        rule: Rule,
    ) -> None:
        self.site, self.direction = site, direction
        left, front, right, back = site.room
        sides = right - left, back - front
        self.length, self.depth = sides if direction == "back" else sides[::-1]
        things = [self._thing(pointer, item) for pointer, item in items]
        fitting = sorted((thing for thing in things if thing.piles), key=lambda thing: order(thing.item))
        self.rows, missing = rows_of(fitting, self.length, self.depth, rule)
        gone = {thing.pointer for thing in (*missing, *(thing for thing in things if not thing.piles))}
        self.left = tuple((pointer, item) for pointer, item in items if pointer in gone)
        # what is used rarely lies farthest back; lanes to the right go by their size alone
        self.rows.sort(key=_rarely_first)
        if direction == "right":
            # along a row from the front: what is used often comes first
            for row in self.rows:
                row.lanes.sort(key=lambda lane: access_rank(lane[0].item.access))

    def _thing(self, pointer: str, item: Item) -> LaneItem:
        piles = piles_of(item, self.site.height)
        if self.direction == "right":
            piles = [Pile(pile.depth, pile.width, pile.layers, pile.top) for pile in piles]
        return LaneItem(pointer, item, tuple(piles))

    @property
    def _depths(self) -> list[float]:
        """The depth of each row with the stubs at its edges: none at the drawer's side."""
        last = len(self.rows) - 1
        return [
            row.depth
            if index == last == 0 and not self._open
            else gross_depth(row.depth, inner=index > 0 and (index < last or self._open))
            for index, row in enumerate(self.rows)
        ]

    @property
    def _used(self) -> float:
        rows = len(self.rows)
        return sum(gross_depth(row.depth, inner=index > 0) for index, row in enumerate(self.rows)) + DIVIDER * rows

    @property
    def _open(self) -> bool:
        """Whether something is left beside the rows: a floor of a cell or more, or a free lane."""
        return self.depth - self._used >= self._least_rest

    @property
    def _least_rest(self) -> float:
        """Depth that is left beside the rows at least, mm, or else they take all of it."""
        return _LEAST_FREE if self.site.pitch is None else self.site.pitch + STUB

    @property
    def value(self) -> tuple[float, ...]:
        """The key by which rows are compared: what is placed, cells of a floor that are left, and length of panels."""
        weights = WEIGHTS[self.site.profile]
        placed = sum(worth(thing.item, weights) for row in self.rows for thing, _ in row.lanes)
        pitch = self.site.pitch
        cells = 0
        if pitch is not None and self._open:
            cells = floor((self.depth - self._used) / pitch) * floor(self.length / pitch)
        panels = len(self.rows) * self.length + sum(
            (len(row.lanes) - 1) * depth for row, depth in zip(self.rows, self._depths, strict=True)
        )
        return round(placed, 6), cells, -round(panels, 3), float(self.direction == "back")

    def laid(self) -> DrawerLanes:
        """Return the rows in the drawer's frame."""
        lanes: list[LanePlan] = []
        contents: list[Stored] = []
        panels: list[Panel] = []
        v = 0.0
        bounds: list[float] = []
        above: dict[float, int] = {}
        tops: list[float] = []
        for index, (row, end) in enumerate(zip(self.rows, self._row_ends(), strict=True)):
            inner = index < len(self.rows) - 1 or self._open
            if inner:
                bounds.append(end + DIVIDER / 2.0)
            tops.append(max(need.pile.top for _, need in row.lanes))
            near = v + (STUB if index else 0.0)
            far = end - (STUB if inner else 0.0)
            own = self._row(row, (v, near, far, end), len(lanes), list(above))
            lanes += own.lanes
            contents += own.contents
            low = bounds[index - 1] if index else None
            high = bounds[index] if len(bounds) > index else None
            here: dict[float, int] = {}
            for at, top in own.dividers:
                divider = self._divider(f"divider {len(panels) + 1}", at, (low, high), top)
                if at in above:
                    # one panel through both rows
                    here[at], before = above[at], panels[above[at]]
                    panels[here[at]] = self._through(before, divider)
                else:
                    here[at] = len(panels)
                    panels.append(divider)
            above = here
            v = end + DIVIDER
        for number, at in enumerate(bounds):
            high = max(tops[number : number + 2])
            panels.append(self._panel(f"row {number + 1}", at, high))
        rest = None
        if self._open:
            rest = self._rectangle(0.0, v, self.length, self.depth)
            if self.site.pitch is None:
                lanes.append(self._lane(len(lanes), rest))
        return DrawerLanes(tuple(lanes), tuple(contents), tuple(panels), self.left, rest, self.direction)

    def _row(
        self, row: LaneRow, edges: tuple[float, float, float, float], first: int, above: Sequence[float]
    ) -> "_RowLanes":
        """Return the lanes of a row, what lies in them, and where panels divide them.

        Args:
            row: the row.
            edges: where along v it begins and ends, and between these where things may lie, mm: outer, inner, inner,
                outer.
            first: index of its first lane.
            above: where panels divide the row before it.
        """
        begin, near, far, end = edges
        ends, free = self._lane_ends(row, above)
        own = _RowLanes()
        u, tops = 0.0, [need.pile.top for _, need in row.lanes]
        for number, ((thing, need), stop) in enumerate(zip(row.lanes, ends, strict=True)):
            index = first + number
            own.lanes.append(self._lane(index, self._rectangle(u, begin, stop, end)))
            own.contents.append(self._stored(thing, need, self._rectangle(u, near, stop, far), index))
            u = stop + DIVIDER
            if free or number < len(row.lanes) - 1:
                own.dividers.append((on_grid(stop + DIVIDER / 2.0), max(tops[number : number + 2])))
        if free:
            own.lanes.append(self._lane(first + len(own.lanes), self._rectangle(u, begin, self.length, end)))
        return own

    def _lane_ends(self, row: LaneRow, above: Sequence[float]) -> tuple[list[float], bool]:
        """Return where the lanes of a row end along u, and whether a free lane follows.

        Panels stand in line with those of the row before where they can, and otherwise clear of their stubs.
        """
        extra = self.length - row.length
        free = extra >= _LEAST_FREE + DIVIDER
        slack = extra - _LEAST_FREE - DIVIDER if free else extra
        share = 0.0 if free else slack / len(row.lanes)
        ends: list[float] = []
        least = 0.0
        for number, (_, need) in enumerate(row.lanes):
            least += need.width + (DIVIDER if number else 0.0)
            low = need.width + (ends[-1] + DIVIDER if ends else 0.0)
            high = least + slack
            usual = min(max(low, least + share * (number + 1)), high)
            usual = self._best_end(usual, low, high)
            ends.append(_in_line(usual, low, high, [at - DIVIDER / 2.0 for at in above]))
        if not free:
            ends[-1] = self.length
        return ends, free

    def _best_end(self, usual: float, low: float, high: float) -> float:
        """Return where a lane ends along u, near the usual end: its panel stands where one across rows would."""
        axis = 0 if self.direction == "back" else 1
        if self.site.half is not None:
            first, step = 0.0, self.site.half
        elif self.site.grid is not None and self.site.pitch is not None:
            first, step = self.site.grid[axis] + self.site.pitch / 2.0, self.site.pitch
        else:
            return usual
        off = self.site.room[axis] + DIVIDER / 2.0 - first
        below = floor((usual + off) / step) * step - off
        near = [at for at in (below, below + step) if low <= at <= high]
        return min(near, key=lambda at: abs(at - usual), default=usual)

    @staticmethod
    def _through(before: Panel, divider: Panel) -> Panel:
        """Return one panel for two in line: the one of the row before, lengthened by the other."""
        height = max(before.height or 0.0, divider.height or 0.0)
        return before.model_copy(update={"start": divider.start, "height": height})

    @staticmethod
    def _lane(index: int, rectangle: Rectangle) -> LanePlan:
        left, front, right, back = rectangle
        at, size = (on_grid(left), on_grid(front)), (on_grid(right - left), on_grid(back - front))
        return LanePlan(f"lane {index + 1}", at, size)

    def _stored(self, thing: LaneItem, need: LaneNeed, room: Rectangle, lane: int) -> Stored:
        if self.direction == "right":
            pile = need.pile
            need = replace(
                need, columns=need.rows, rows=need.columns, pile=Pile(pile.depth, pile.width, pile.layers, pile.top)
            )
        size = content_size(need)
        left, front, right, back = room
        at = (left + right - size[0]) / 2.0, (front + back - size[1]) / 2.0
        item = thing.item
        return Stored(
            item=item.name, pointer=thing.pointer, count=item.count, capacity=need.capacity, storage="lane",
            shape=item.plain, placement=None, at=(on_grid(at[0]), on_grid(at[1]), self.site.base), size=size,
            label=item.label_text, lane=lane,
        )  # fmt: skip

    def _row_ends(self) -> list[float]:
        """Return where the rows end, mm: as deep as they must be, or where they take the whole room, by an equal share.

        On tiles and below trays, panels are moved to better places, as far as there is room.
        """
        moved = self._moved_ends()
        if moved is not None:
            return moved
        depths, dividers = self._depths, DIVIDER * (len(self.rows) - 1)
        spare = 0.0 if self._open or not self.rows else (self.depth - sum(depths) - dividers) / len(self.rows)
        return [sum(depths[: index + 1]) + spare * (index + 1) + DIVIDER * index for index in range(len(depths))]

    def _moved_ends(self) -> list[float] | None:
        """Return where the rows end if panels are moved; None where nothing asks for that, or not all can be."""
        if self.site.half is None and self.site.grid is None:
            return None
        depths = self._depths
        room = self.depth - (
            self._used + self._least_rest if self._open else sum(depths) + DIVIDER * (len(self.rows) - 1)
        )
        ends: list[float] = []
        v = 0.0
        for index, gross in enumerate(depths):
            end = v + gross
            if index < len(depths) - 1 or self._open:
                moved = self._moved(end + DIVIDER / 2.0, room)
                if moved is None:
                    return None
                room -= moved - DIVIDER / 2.0 - end
                end = moved - DIVIDER / 2.0
            else:
                end = self.depth
            ends.append(end)
            v = end + DIVIDER
        return ends

    def _moved(self, v: float, room: float) -> float | None:
        """Return where a panel across rows stands, from v on and no further than ``room`` mm.

        Over the middle of cells, so that its feet have room in them and it is below a line between feet of trays; or
        else at the next place with room for its feet. In a drawer without a floor, on a line between half cells; None
        without room for that.
        """
        axis = 1 if self.direction == "back" else 0
        # cells are counted from the front or the left, rows from the back or the right
        at = self.site.room[axis + 2] - v
        if self.site.half is not None:
            moved = v + at % self.site.half
            return moved if moved - v <= room else None
        if self.site.grid is None or self.site.pitch is None:
            return v
        pitch = self.site.pitch
        from_cell = (at - self.site.grid[axis]) % pitch
        moved = v + (from_cell - pitch / 2.0) % pitch
        if moved - v > room:
            inner = from_cell + _FROM_CELL if from_cell < _FROM_CELL else max(from_cell - pitch + _FROM_CELL, 0.0)
            moved = v + inner
        return moved if moved - v <= room else v

    # from u and v to the drawer

    def _rectangle(self, u0: float, v0: float, u1: float, v1: float) -> Rectangle:
        left, front, right, back = self.site.room
        if self.direction == "back":
            return left + u0, back - v1, left + u1, back - v0
        return right - v1, front + u0, right - v0, front + u1

    def _across(self, v: float) -> float:
        """Return a position across rows in the drawer as measured."""
        _, _, right, back = self.site.room
        axis = 1 if self.direction == "back" else 0
        return on_grid((back if axis else right) - v + self.site.origin[axis])

    def _panel(self, name: str, at: float, top: float) -> Panel:
        along: Literal["x", "y"] = "x" if self.direction == "back" else "y"
        return Panel(name=name, along=along, at=self._across(at), height=self._height(top))

    def _divider(self, name: str, at: float, ends: tuple[float | None, float | None], top: float) -> Panel:
        """Return a panel between two lanes of a row, from one edge of the row to the other."""
        axis = 0 if self.direction == "back" else 1
        along: Literal["x", "y"] = "y" if self.direction == "back" else "x"
        begin = self.site.room[axis]
        # v counts from the back or from the right, a panel from the front or from the left
        start, end = (None if edge is None else self._across(edge) for edge in ends[::-1])
        return Panel(
            name=name, along=along, at=on_grid(begin + at + self.site.origin[axis]), start=start, end=end,
            height=self._height(top),
        )  # fmt: skip

    def _height(self, top: float) -> float:
        """Return the height of a panel's edge beside things: up to the feet of a tray that is to stand over these."""
        base = self.site.base
        least = LEAST_PANEL_HEIGHT + base
        for z in self.site.carried:
            if max(base + top + UNDER_RIM, least) <= z <= self.site.strip + base:
                return on_grid(z)
        wished = max(_HELD_SHARE * top, _LEAST_HEIGHT, LEAST_PANEL_HEIGHT)
        return on_grid(base + min(float(round(wished)), self.site.strip))


def _in_line(usual: float, low: float, high: float, others: Sequence[float]) -> float:
    """Return a position between two limits: in line with another one that is near, or else clear of it."""
    near = sorted((other for other in others if abs(other - usual) < _IN_LINE), key=lambda other: abs(other - usual))
    for other in near:
        if low <= other <= high:
            return other
    for other in near:
        if abs(other - usual) < LEAST_APART:
            aside = [at for at in (other - LEAST_APART, other + LEAST_APART) if low <= at <= high]
            if aside:
                return min(aside, key=lambda at: abs(at - usual))
    return usual


def _rarely_first(row: LaneRow) -> float:
    ranks = [access_rank(thing.item.access) for thing, _ in row.lanes]
    return -sum(ranks) / len(ranks)
