"""Print runs: all pieces of a job onto the fewest beds."""

from bisect import bisect_left
from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from itertools import islice, product
from random import Random
from typing import Final, TypeAlias

from rectpack import MaxRectsBaf, MaxRectsBl, MaxRectsBlsf, MaxRectsBssf
from rectpack.geometry import Rectangle

from worker.layout.floor.print_bed import Bed
from worker.printing.packing.bed_surface import UNITS, Size, Surface
from worker.printing.packing.lower_bound import HOURS_SLACK, least_runs
from worker.printing.packing.pieces import Group, Piece, Placed, Run, Runs
from worker.spec.errors import LayoutError

__all__ = ["SPACING", "pack_runs"]

#: Air between two pieces on a bed, in mm: room for a brim and for fingers (common practice).
SPACING: Final = 5.0

#: Pieces placed in all tries for one group: what bounds the time without a clock. Large jobs get a few tries anyway.
_EFFORT: Final = 4_000
_LEAST_TRIES: Final = 10


@dataclass(frozen=True, slots=True)
class _Copy:
    """One copy of a piece; ``start`` is what a run with it takes before all laying."""

    piece: Piece
    size: Size
    hours: float
    start: float

    @property
    def like(self) -> tuple[Size, float, float]:
        """Equal for copies that can take each other's place."""
        return self.size, self.hours, self.start


@dataclass(slots=True)
class _Load:
    """A run as it fills: the library's bin, who stands where, and its hours. Places are in units, ``turned`` or not.

    ``start`` is the longest of its pieces' and not in ``hours``. ``room`` is the longest shorter side and the longest
    longer side of all its free rectangles: what is over either has no place.
    """

    bin: MaxRectsBl
    copies: list[tuple[_Copy, int, int, bool]] = field(default_factory=list)
    hours: float = 0.0
    start: float = 0.0
    room: Size | None = None

    def lacks(self, short: int, long: int) -> bool:
        """Return whether a footprint with these sides is sure to have no place."""
        return self.room is not None and (short > self.room[0] or long > self.room[1])

    def take(self, copy: _Copy, limit: float | None) -> bool:
        """Place a copy if there is room and time."""
        start = max(self.start, copy.start)
        if limit is not None and self.copies and start + self.hours + copy.hours > limit + HOURS_SLACK:
            return False
        if self.lacks(min(copy.size), max(copy.size)):
            return False
        rectangle = self.bin.add_rect(*copy.size)
        if rectangle is None:
            return False
        self.copies.append((copy, rectangle.x, rectangle.y, (rectangle.width, rectangle.height) != copy.size))
        self.hours += copy.hours
        self.start = start
        free = [(one.width, one.height) for one in self.bin._max_rects]  # noqa: SLF001 - see `_filled`
        self.room = max(map(min, free), default=0), max(map(max, free), default=0)
        return True


_Order: TypeAlias = Callable[[_Copy], tuple[int, ...]]

#: Sorts, largest first: by area, longer side, shorter side, perimeter, difference of the sides.
_ORDERS: Final[tuple[_Order, ...]] = (
    lambda one: (-one.size[0] * one.size[1], -max(one.size)),
    lambda one: (-max(one.size), -min(one.size)),
    lambda one: (-min(one.size), -max(one.size)),
    lambda one: (-one.size[0] - one.size[1], -max(one.size)),
    lambda one: (-abs(one.size[0] - one.size[1]), -max(one.size)),
)
_RULES: Final = (MaxRectsBssf, MaxRectsBl, MaxRectsBaf, MaxRectsBlsf)


def pack_runs(
    pieces: Sequence[Piece],
    bed: Bed,
    *,
    height: float | None = None,
    spacing: float = SPACING,
    hours: Callable[[str], float] | None = None,
    start: Callable[[str], float] = lambda _: 0.0,
    max_run_hours: float | None = None,
) -> Runs:
    """Pack all pieces of a job onto the fewest runs that several max-rects packings find.

    One group to a run. Of packings with equally many runs the one wins whose drawers are spread over the fewest runs,
    then the one with the fullest runs. The result does not depend on the order of the pieces.

    Args:
        pieces: footprints, quantities, groups and drawers.
        bed: where pieces may stand: `Bed.of` of the printer's bed, margin and forbidden rectangles.
        height: of the printer's room, in mm; without it heights are not looked at.
        spacing: least distance in x or in y between any two pieces, in mm. The margin needs none beside it.
        hours: what one copy of a mark takes. Without it runs are not split by time.
        start: what a run with this mark takes beside: heating, layer changes. Of a run's pieces the longest counts.
        max_run_hours: what a run may take. A piece that takes longer alone has a run of its own and is named in
            `Runs.too_long`.

    Returns:
        The runs, numbered from 1: groups in their order as text, and in a group the earliest drawers first.

    Raises:
        LayoutError: a piece does not fit the empty bed.
    """
    surface = Surface.of(bed, spacing)
    limit = None if hours is None else max_run_hours
    groups: dict[Group, list[_Copy]] = defaultdict(list)
    for piece in sorted(pieces, key=_rank):
        _check(piece, surface, bed, height)
        took = 0.0 if hours is None else hours(piece.mark)
        before = 0.0 if hours is None else start(piece.mark)
        copy = _Copy(piece, surface.grown(piece.width, piece.depth), took, before)
        groups[piece.group] += [copy] * piece.quantity
    runs: list[Run] = []
    bound = 0
    too_long: dict[str, None] = {}
    for group in sorted(groups):
        long = [one for one in groups[group] if limit is not None and one.start + one.hours > limit + HOURS_SLACK]
        rest = [one for one in groups[group] if limit is None or one.start + one.hours <= limit + HOURS_SLACK]
        # every run has at least the shortest start
        least_start = min((one.start for one in rest), default=0.0)
        laying = None if limit is None else limit - least_start
        least = least_runs([(one.size, one.hours) for one in rest], surface, laying)
        bound += least + len(long)
        too_long |= dict.fromkeys(one.piece.mark for one in long)
        loads = [load for one in long for load in _filled([one], surface, MaxRectsBl, limit)]
        loads += _best(rest, surface, limit, least)
        for load in sorted(loads, key=_first):
            runs.append(_run(load, len(runs) + 1, group, timed=hours is not None))
    return Runs(tuple(runs), bound, tuple(too_long))


def _check(piece: Piece, surface: Surface, bed: Bed, height: float | None) -> None:
    """Refuse a piece that has no place on the empty bed."""
    if height is not None and piece.height > height + 1.0 / UNITS:
        raise LayoutError(
            f"{piece.mark} is higher than the printer's room.",
            pointer=piece.pointer,
            value=piece.height,
            limit=f"at most {height:g} mm",
            remedy="Make it lower, or name a printer with more height.",
            part=piece.mark,
        )
    if not surface.holds(surface.grown(piece.width, piece.depth)):
        free = " or ".join(f"{a:g} x {b:g} mm" for a, b in bed.rooms if a >= b) or "no free area at all"
        raise LayoutError(
            f"{piece.mark} does not fit the bed, turned or not.",
            pointer=piece.pointer,
            value=(piece.width, piece.depth),
            limit=f"{free}, either way round, inside the margin and clear of forbidden rectangles",
            remedy="Make it smaller or of several parts, or name a printer with a larger bed.",
            part=piece.mark,
        )


def _best(copies: Sequence[_Copy], surface: Surface, limit: float | None, least: int) -> list[_Load]:
    """Return the best of several packings of one group; stop as soon as none can be better."""
    if not copies:
        return []
    perfect = (least, len({one.piece.drawer for one in copies if one.piece.drawer is not None}))
    best: list[_Load] = []
    best_worth: tuple[int, int, int] | None = None
    for loads in _tries(copies, surface, limit, least):
        for packing in (loads, _gathered(loads)):
            worth = _worth(packing)
            if best_worth is None or worth < best_worth:
                best, best_worth = packing, worth
        if best_worth is not None and best_worth[:2] == perfect:
            break
    return best


def _tries(copies: Sequence[_Copy], surface: Surface, limit: float | None, least: int) -> Iterator[list[_Load]]:
    """Yield packings: every rule with every sort, drawer by drawer and not; then changes of the best order so far."""
    left = max(_LEAST_TRIES, _EFFORT // len(copies))
    best: tuple[tuple[int, int], list[_Copy]] | None = None
    ways = list(product(_RULES, (False, True), _ORDERS))[:left]
    for rule, by_drawer, by in ways:
        order = sorted(copies, key=by)
        if by_drawer:
            order.sort(key=lambda one: _drawer(one.piece))
        loads = _filled(order, surface, rule, limit)
        yield loads
        if best is None or _looseness(loads) < best[0]:
            best = _looseness(loads), order
    chance = Random(1)  # the same changes every time
    for _ in range(left - len(ways)):
        if best is None or best[0][0] <= least:
            return
        order = list(best[1])
        for _ in range(chance.randint(1, 4)):
            order.insert(chance.randrange(len(order)), order.pop(chance.randrange(len(order))))
        loads = _filled(order, surface, chance.choice(_RULES), limit)
        yield loads
        if _looseness(loads) <= best[0]:
            best = _looseness(loads), order


def _filled(order: Sequence[_Copy], surface: Surface, rule: type[MaxRectsBl], limit: float | None) -> list[_Load]:
    """Place copies in this order, each in the first run that has room and time."""
    loads: list[_Load] = []
    width, depth = max(box[2] for box in surface.boxes), max(box[3] for box in surface.boxes)
    clear = [Rectangle(left, front, right - left, back - front) for left, front, right, back in surface.boxes]
    full: dict[tuple[Size, float, float], int] = {}
    least = min(min(one.size) for one in order), min(max(one.size) for one in order)
    opened: list[int] = []
    for copy in order:
        # a run that had no room for an equal piece before has none now
        first = bisect_left(opened, full.get(copy.like, 0))
        index = next((one for one in islice(opened, first, None) if loads[one].take(copy, limit)), len(loads))
        if index == len(loads):
            empty = rule(width, depth)
            empty._max_rects = clear  # noqa: SLF001 - the library has no other way to say that a bed is no rectangle
            loads.append(_Load(empty))
            loads[index].take(copy, limit)
            opened.append(index)
        full[copy.like] = index
        if loads[index].lacks(*least):
            opened.remove(index)
    return loads


def _gathered(loads: Sequence[_Load]) -> list[_Load]:
    """Return the same places with equal footprints exchanged, so that the copies of one drawer come into few runs."""
    places: dict[tuple[Size, float, float], list[_Copy]] = defaultdict(list)
    for load in loads:
        for copy, _, _, _ in load.copies:
            places[copy.like].append(copy)
    # the earliest drawer is taken from the end
    ranked = {kind: sorted(copies, key=lambda one: _rank(one.piece), reverse=True) for kind, copies in places.items()}
    return [
        replace(load, copies=[(ranked[one.like].pop(), x, y, turned) for one, x, y, turned in load.copies])
        for load in loads
    ]


def _worth(loads: Sequence[_Load]) -> tuple[int, int, int]:
    """Return what makes a packing worse: its runs, over how many of them the drawers spread, half-empty runs."""
    runs, loose = _looseness(loads)
    return runs, sum(len(_drawers(load)) for load in loads), loose


def _looseness(loads: Sequence[_Load]) -> tuple[int, int]:
    """Return the number of runs, then less for fuller ones: where one run is nearly empty it can soon be none."""
    return len(loads), -sum(_area(load) ** 2 for load in loads)


def _run(load: _Load, index: int, group: Group, *, timed: bool) -> Run:
    """Return a filled bed in millimetres, its pieces by drawer and mark."""
    copies = sorted(load.copies, key=lambda one: (_rank(one[0].piece), one[2], one[1]))
    placed = tuple(
        Placed(one.piece.mark, x / UNITS, y / UNITS, 90 if turned else 0, one.piece.drawer)
        for one, x, y, turned in copies
    )
    return Run(index, group, placed, load.start + load.hours if timed else None)


def _area(load: _Load) -> int:
    return sum(copy.size[0] * copy.size[1] for copy, _, _, _ in load.copies)


def _drawers(load: _Load) -> list[int]:
    return sorted({copy.piece.drawer for copy, _, _, _ in load.copies if copy.piece.drawer is not None})


def _drawer(piece: Piece) -> tuple[bool, int]:
    """Return a sort key: what belongs to no drawer comes last."""
    return piece.drawer is None, piece.drawer or 0


def _rank(piece: Piece) -> tuple[Group, tuple[bool, int], int, str, float, float]:
    """Return a sort key by group, drawer and mark; T2 before T10."""
    return piece.group, _drawer(piece), len(piece.mark), piece.mark, piece.width, piece.depth


def _first(load: _Load) -> tuple[bool, list[int], int]:
    """Return a sort key of runs: the earliest drawers first, then the fullest; without a drawer last."""
    drawers = _drawers(load)
    return not drawers, drawers, -_area(load)
