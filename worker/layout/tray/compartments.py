"""Compartments: the rooms between the walls of a tray."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import TypeAlias

from worker.layout.model.shapes import Ledge, Point, Post, Ramp, Wall
from worker.layout.tray.dividers import Span, spans, tray_walls
from worker.layout.tray.interior import Room, on_grid
from worker.spec.drawer.tray import Tray
from worker.spec.tolerances import LENGTH_EPSILON

__all__ = ["Compartment", "compartments", "compartments_of_part"]

#: Column from the left and row from the front.
_Place: TypeAlias = tuple[int, int]


@dataclass(frozen=True, slots=True)
class Compartment:
    """Room between four walls: ``place`` is its first column from the left and row from the front.

    Columns and rows are counted as if every divider were of full length; ``reach`` is how many of them it takes. ``at``
    is its front left corner and ``size`` its width and depth, in mm in the part's frame. ``low`` and ``high`` are the
    heights over the floor of the lowest and the highest of its walls, ``ramp`` the radius of the finger ramp along its
    front.
    """

    place: _Place
    reach: tuple[int, int]
    at: Point
    size: Point
    low: float
    high: float
    ramp: float | None = None

    def covers(self, place: _Place) -> bool:
        """Return whether it takes this column and row."""
        return all(first <= k < first + many for first, many, k in zip(self.place, self.reach, place, strict=True))


def compartments(
    room: Room,
    walls: tuple[Wall, ...],
    *,
    ramp: Ramp | None,
    ledge: Ledge | None,
    overhang: float,
    settling: float,
    posts: tuple[Post, ...] = (),
) -> tuple[Compartment, ...]:
    """Return a tray's compartments, the front row first, each row from the left.

    What the label ledge covers belongs to none, nor does a strip as deep as the posts along a wall that has some.

    Args:
        room: the tray's interior.
        walls: its dividers.
        ramp: its finger ramp.
        ledge: its label ledge.
        overhang: how far its rim hangs over the interior, in mm; what lies under it cannot be lifted out.
        settling: by how much dividers may be lower than the walls without counting as lower.
        posts: those of a jointed tray.
    """
    grid = _Grid(room, walls, on_grid(room.height - overhang), settling)
    rooms = (_compartment(grid, place, reach, ramp, ledge, overhang) for place, reach in grid.rooms())
    return tuple(_beside_posts(compartment, posts) for compartment in rooms)


def _beside_posts(compartment: Compartment, posts: tuple[Post, ...]) -> Compartment:
    """Return a compartment without the strips along its walls in which posts stand."""
    spans = [(at, at + size) for at, size in zip(compartment.at, compartment.size, strict=True)]
    for post in posts:
        sides = [(min(along), max(along)) for along in zip(*post.outline, strict=True)]
        if all(side[0] < span[1] and side[1] > span[0] for side, span in zip(sides, spans, strict=True)):
            cuts = [
                (cut, axis, span)
                for axis, (side, (low, high)) in enumerate(zip(sides, spans, strict=True))
                for cut, span in ((side[1] - low, (side[1], high)), (high - side[0], (low, side[0])))
            ]
            _, axis, span = min(cuts)
            spans[axis] = span
    (left, right), (front, back) = spans
    return replace(compartment, at=(left, front), size=(on_grid(right - left), on_grid(back - front)))


def compartments_of_part(tray: Tray, size: tuple[float, float, float]) -> tuple[Compartment, ...]:
    """Return the compartments of a tray that was made, with what its rim, ramp and ledge take.

    Args:
        tray: the tray, as its part's entry in a manifest has it.
        size: the size of the part, in mm.
    """
    across, back, height = size
    room = Room(
        tray=tray,
        pointer="",
        outer=(across, back),
        inner=(on_grid(across - 2.0 * tray.wall), on_grid(back - 2.0 * tray.wall)),
        wall=tray.wall,
        floor_top=0.0,
        wall_top=height,
        ceiling=height,
        foot_height=0.0,
        corner=0.0,
        lines=tray.wall,
    )
    return compartments(room, tray_walls(room), ramp=None, ledge=None, overhang=0.0, settling=0.0)


@dataclass(frozen=True)
class _Grid:
    """The columns and rows of a tray; ``outer`` is the height of its walls over the floor, in mm."""

    room: Room
    walls: tuple[Wall, ...]
    outer: float
    settling: float

    @property
    def columns(self) -> Sequence[Span]:
        """Where each column begins and ends."""
        return spans(self.room, self.walls, "x")

    @property
    def rows(self) -> Sequence[Span]:
        """Where each row begins and ends."""
        return spans(self.room, self.walls, "y")

    def rooms(self) -> Iterator[tuple[_Place, tuple[int, int]]]:
        """Yield each compartment: its first column and row, and how many it takes."""
        across, back = len(self.columns), len(self.rows)
        taken: set[_Place] = set()
        for y in range(back):
            for x in range(across):
                if (x, y) in taken:
                    continue
                # dividers end at walls and at each other, so every compartment is a rectangle
                wide = next(
                    (k for k in range(1, across - x) if self.between((x + k - 1, y), 0) is not None), across - x
                )
                deep = next((k for k in range(1, back - y) if self.between((x, y + k - 1), 1) is not None), back - y)
                taken |= {(x + i, y + j) for i in range(wide) for j in range(deep)}
                yield (x, y), (wide, deep)

    def between(self, place: _Place, axis: int) -> float | None:
        """Return the height of the wall behind a place along an axis, 0 for x; None where there is none."""
        along, across = (self.columns, self.rows) if axis == 0 else (self.rows, self.columns)
        number, beside = place[axis], across[place[1 - axis]]
        if not 0 <= number < len(along) - 1:
            return self.outer
        middle = (beside[0] + beside[1]) / 2.0
        tops = [
            wall.top
            for wall in self.walls
            if wall.axis == ("x", "y")[axis]
            and along[number][1] < wall.at < along[number + 1][0]
            and (wall.span is None or wall.span[0] < middle < wall.span[1])
        ]
        return min(on_grid(max(tops) - self.room.floor_top + self.settling), self.outer) if tops else None

    def around(self, place: _Place, reach: tuple[int, int]) -> Iterator[float]:
        """Yield the heights of the walls around a compartment."""
        for axis in (0, 1):
            for k in range(reach[1 - axis]):
                for end in (place[axis] - 1, place[axis] + reach[axis] - 1):
                    at = (end, place[1] + k) if axis == 0 else (place[0] + k, end)
                    height = self.between(at, axis)
                    if height is not None:
                        yield height


def _compartment(  # noqa: PLR0917 - of one tray
    grid: _Grid, place: _Place, reach: tuple[int, int], ramp: Ramp | None, ledge: Ledge | None, overhang: float
) -> Compartment:
    ends: list[Span] = []
    for axis, lines in enumerate((grid.columns, grid.rows)):
        first, last = place[axis], place[axis] + reach[axis] - 1
        low = lines[first][0] + (overhang if first == 0 else 0.0)
        high = lines[last][1] - (overhang if last == len(lines) - 1 else 0.0)
        if axis == 1 and ledge is not None and last == len(lines) - 1:
            high -= ledge.depth
        ends.append((on_grid(low), on_grid(high)))
    around = tuple(grid.around(place, reach))
    return Compartment(
        place=place,
        reach=reach,
        at=(ends[0][0], ends[1][0]),
        size=(on_grid(ends[0][1] - ends[0][0]), on_grid(ends[1][1] - ends[1][0])),
        low=min(around),
        high=max(around),
        ramp=ramp.radius if ramp is not None and _ramped(ramp, place[1] == 0, ends) else None,
    )


def _ramped(ramp: Ramp, at_front: bool, ends: list[Span]) -> bool:  # noqa: FBT001 - where the compartment is
    """Return whether a ramp runs along a compartment's front."""
    (left, right), (front, _) = ends
    return at_front or any(
        abs(inner.at - front) < LENGTH_EPSILON and inner.start < (left + right) / 2.0 < inner.end
        for inner in ramp.inner
    )
