"""The exact packer: whether the pieces of one group fit so many runs, by constraint programming.

Every piece is a rectangle in one plane in which the beds lie side by side, and no two rectangles overlap. The solver
runs on one thread under its own deterministic clock, so the same pieces give the same answer.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial, reduce
from itertools import pairwise
from math import floor, gcd
from typing import TYPE_CHECKING, Final, NamedTuple

from worker.printing.packing.bed_surface import Size, Surface
from worker.printing.packing.lower_bound import HOURS_SLACK
from worker.printing.packing.side_sums import longest, with_side

if TYPE_CHECKING:
    from ortools.sat.python import cp_model

__all__ = ["MOST_PIECES", "ExactPacking", "PackedPiece", "Place", "pack_into"]

#: Groups of more pieces are left to the heuristics: no group of more than 31 was answered within the limits.
MOST_PIECES: Final = 48

#: Deterministic time of the question with any corners, and with sums of sides alone. Either answers some that the
#: other does not: of 13 groups of trays over their bound the first answers 8 and the second 6, both together 9.
_LIMIT: Final = 0.1
_PATTERNS_LIMIT: Final = 0.3

#: The coarsest grid, in units: where sizes share no multiple of it, they are rounded up to it.
_GRID: Final = 1_000

#: More corners than this along an axis are not listed.
_MOST_CORNERS: Final = 400

#: Parts of an hour that the model counts in.
_HOUR: Final = 100_000


class PackedPiece(NamedTuple):
    """A piece: its grown footprint in units, its hours, and the hours of setup that a run with it needs."""

    size: Size
    hours: float
    setup: float


class Place(NamedTuple):
    """Where a piece is: the index of its run, its front left corner in units, and whether it is turned."""

    run: int
    x: int
    y: int
    turned: bool


@dataclass(frozen=True, slots=True)
class ExactPacking:
    """The answer: a place for each piece, or none; and whether it is proven that so few runs do not hold the pieces."""

    places: tuple[Place, ...]
    impossible: bool


def pack_into(pieces: Sequence[PackedPiece], surface: Surface, limit: float | None, runs: int) -> ExactPacking:
    """Return places for all pieces in so many runs, or that there are none, or neither within the limit of work.

    Args:
        pieces: each fits the bed, and alone takes no more hours than the limit.
        surface: the bed.
        limit: the hours that a run may take with its setup, or ``None``.
        runs: the number of runs, at least 1.
    """
    answer = ExactPacking((), impossible=False)
    for patterns in (False, True):
        model = _Model(pieces, surface, limit, runs, patterns=patterns)
        if model.is_new:
            answer = model.solved(_PATTERNS_LIMIT if patterns else _LIMIT)
        if answer.places or answer.impossible:
            break
    return answer


class _Model:
    """The places of the pieces as a constraint model, in steps of ``grid`` units."""

    def __init__(
        self, pieces: Sequence[PackedPiece], surface: Surface, limit: float | None, runs: int, *, patterns: bool
    ) -> None:
        from ortools.sat.python import cp_model  # noqa: PLC0415 - a third of a second, for those who need it only

        self.cp, self.pieces, self.limit, self.runs = cp_model, pieces, limit, runs
        self.model = cp_model.CpModel()
        left, front = min(box[0] for box in surface.boxes), min(box[1] for box in surface.boxes)
        self.origin = left, front
        edges = [edge - self.origin[axis % 2] for box in surface.boxes for axis, edge in enumerate(box)]
        step = gcd(*edges, *(side for piece in pieces for side in piece.size))
        self.is_exact = step >= _GRID
        self.grid = step if self.is_exact else _GRID
        self.boxes = [
            (
                -(-(box[0] - left) // self.grid), -(-(box[1] - front) // self.grid),
                (box[2] - left) // self.grid, (box[3] - front) // self.grid,
            )
            for box in surface.boxes
        ]  # fmt: skip
        area = surface.area // self.grid**2
        # the largest pieces first: their places are what the others depend on
        self.order = sorted(range(len(pieces)), key=lambda index: self._key(pieces[index]))
        if len(self.boxes) == 1:
            # no row of pieces is longer: what is left of the bed is waste in any packing
            (_, _, width, depth), sides = self.boxes[0], [self._sides(index) for index in self.order]
            width, depth = (longest(reduce(partial(with_side, most=most), sides, 1)) for most in (width, depth))
            self.boxes, area = [(0, 0, width, depth)], width * depth
        self.width, self.depth = max(box[2] for box in self.boxes), max(box[3] for box in self.boxes)
        self.corners_x: list[int] = []
        self.corners_y: list[int] = []
        if patterns:
            self.corners_x = self._corners({box[0] for box in self.boxes}, self.width)
            self.corners_y = self._corners({box[1] for box in self.boxes}, self.depth)
        self.is_new = not patterns or bool(self.corners_x or self.corners_y)
        if not self.is_new:
            return
        self.run_of: dict[int, list[cp_model.IntVar]] = {}
        self.x: dict[int, cp_model.IntVar] = {}
        self.y: dict[int, cp_model.IntVar] = {}
        self.turned: dict[int, cp_model.IntVar] = {}
        self.across: list[cp_model.IntervalVar] = []
        self.along: list[cp_model.IntervalVar] = []
        self.depths: list[int] = []
        for index in self.order:
            self._add(index)
        self.model.add_no_overlap_2d(self.across, self.along)
        self.model.add_cumulative(self.across, self.depths, self.depth)
        self._limit_runs(area)
        self._break_symmetry(surface)

    def solved(self, work: float) -> ExactPacking:
        """Return the answer of the solver within this deterministic time."""
        solver = self.cp.CpSolver()
        parameters = solver.parameters
        parameters.num_workers = 1
        parameters.random_seed = 1
        parameters.max_deterministic_time = work
        status = solver.solve(self.model)
        if status == self.cp.INFEASIBLE:
            return ExactPacking((), impossible=self.is_exact)
        if status not in (self.cp.OPTIMAL, self.cp.FEASIBLE):
            return ExactPacking((), impossible=False)
        places = []
        for index in range(len(self.pieces)):
            run = next(run for run, literal in enumerate(self.run_of[index]) if solver.boolean_value(literal))
            x = solver.value(self.x[index]) - run * self.width
            place = x * self.grid + self.origin[0], solver.value(self.y[index]) * self.grid + self.origin[1]
            places.append(Place(run, *place, solver.boolean_value(self.turned[index])))
        kept = all(self._within_limit([self.pieces[i] for i, place in enumerate(places) if place.run == run])
                   for run in range(self.runs))  # fmt: skip
        return ExactPacking(tuple(places) if kept else (), impossible=False)

    def _within_limit(self, pieces: Sequence[PackedPiece]) -> bool:
        """Return whether a run of these pieces keeps the limit: the model rounds hours down."""
        if self.limit is None or len(pieces) < 2:  # noqa: PLR2004 - a piece alone has been checked
            return True
        longest = max(piece.setup for piece in pieces)
        return longest + sum(piece.hours for piece in pieces) <= self.limit + HOURS_SLACK

    def _key(self, piece: PackedPiece) -> tuple[int, int, float, float]:
        return -piece.size[0] * piece.size[1], -max(piece.size), -piece.hours, -piece.setup

    def _sides(self, index: int) -> Size:
        width, depth = self.pieces[index].size
        return -(-width // self.grid), -(-depth // self.grid)

    def _corners(self, edges: set[int], most: int) -> list[int]:
        """Return the corners along one axis to try: edges of clear boxes plus sums of sides; none when too many.

        Every piece can be pushed to the left and to the front until another piece or the bed stops it.
        """
        sums = sum(1 << edge for edge in edges)
        for sides in map(self._sides, self.order):
            sums = with_side(sums, sides, most)
        if sums.bit_count() > _MOST_CORNERS:
            return []
        return [corner for corner, bit in enumerate(reversed(f"{sums:b}")) if bit == "1"]

    def _domain(self, corners: Sequence[int], offset: int, least: int, most: int) -> "cp_model.Domain":
        """Return the corners from ``least`` to ``most``, shifted; all numbers between without corners."""
        if not corners:
            return self.cp.Domain(offset + least, offset + most)
        return self.cp.Domain.from_values([offset + corner for corner in corners if least <= corner <= most])

    def _add(self, index: int) -> None:
        """Add a piece: its run, its clear box and its corner in the plane of all beds, unturned or turned."""
        model, sides = self.model, self._sides(index)
        in_run = [model.new_bool_var("") for _ in range(self.runs)]
        x = model.new_int_var(0, self.runs * self.width, "")
        y = model.new_int_var(0, self.depth, "")
        ways: dict[bool, list[cp_model.IntVar]] = {False: [], True: []}
        for way in (False, True) if sides[0] != sides[1] else (False,):
            width, depth = sides[::-1] if way else sides
            for left, front, right, back in self.boxes:
                if width > right - left or depth > back - front:
                    continue
                chosen = model.new_bool_var("")
                ways[way].append(chosen)
                for run, literal in enumerate(in_run):
                    domain = self._domain(self.corners_x, run * self.width, left, right - width)
                    model.add_linear_expression_in_domain(x, domain).only_enforce_if([chosen, literal])
                domain = self._domain(self.corners_y, 0, front, back - depth)
                model.add_linear_expression_in_domain(y, domain).only_enforce_if(chosen)
        model.add_exactly_one(in_run)
        model.add_exactly_one(ways[False] + ways[True])
        turned = model.new_bool_var("")
        model.add(turned == sum(ways[True]))
        for way in (way for way, boxes in ways.items() if boxes):
            width, depth = sides[::-1] if way else sides
            present = turned if way else ~turned
            self.across.append(model.new_optional_fixed_size_interval_var(x, width, present, ""))
            self.along.append(model.new_optional_fixed_size_interval_var(y, depth, present, ""))
            self.depths.append(depth)
        self.run_of[index], self.x[index], self.y[index], self.turned[index] = in_run, x, y, turned

    def _limit_runs(self, area: int) -> None:
        """Keep the pieces of a run within the bed's area and the limit of hours, each rounded for the pieces."""
        longest = max(piece.setup for piece in self.pieces)
        for run in range(self.runs):
            in_run = {index: literals[run] for index, literals in self.run_of.items()}
            sizes = {index: self._sides(index) for index in in_run}
            self.model.add(sum(sizes[i][0] * sizes[i][1] * literal for i, literal in in_run.items()) <= area)
            if self.limit is None:
                continue
            hours = {i: floor(self.pieces[i].hours * _HOUR) for i in in_run}
            setup = self.model.new_int_var(0, floor(longest * _HOUR), "")
            for i, literal in in_run.items():
                self.model.add(setup >= floor(self.pieces[i].setup * _HOUR)).only_enforce_if(literal)
            most = floor((self.limit + HOURS_SLACK) * _HOUR)
            self.model.add(setup + sum(hours[i] * literal for i, literal in in_run.items()) <= most)

    def _break_symmetry(self, surface: Surface) -> None:
        """Give pieces of which no two share a run the first runs, and put equal other pieces in order."""
        apart: list[int] = []
        for index in self.order:
            if len(apart) < self.runs and all(self._conflict(index, other, surface) for other in apart):
                apart.append(index)
        for run, index in enumerate(apart):
            self.model.add(self.run_of[index][run] == 1)
        for index, other in pairwise(index for index in self.order if index not in apart):
            if self.pieces[index] == self.pieces[other]:
                self.model.add(self.x[index] <= self.x[other])

    def _conflict(self, index: int, other: int, surface: Surface) -> bool:
        pieces = self.pieces[index], self.pieces[other]
        return not (self._within_limit(pieces) and surface.holds_both(pieces[0].size, pieces[1].size))
