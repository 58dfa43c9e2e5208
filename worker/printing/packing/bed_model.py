"""One bed as a constraint model: whether so many pieces fit it, and where.

The solver runs on one thread under its own deterministic clock, so the same pieces give the same answer.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial, reduce
from itertools import pairwise
from math import gcd
from typing import TYPE_CHECKING, Final, NamedTuple

from worker.printing.packing.bed_surface import Size, Surface
from worker.printing.packing.side_sums import MOST_STEPS, longest, with_side

if TYPE_CHECKING:
    from ortools.sat.python import cp_model

__all__ = ["BedAnswer", "BedGrid", "BedPlace", "place_on_bed"]

#: The coarsest grid, in units: where sizes share no multiple of it, they are rounded up to it.
_GRID: Final = 1_000

#: More corners than this along an axis are not listed.
_MOST_CORNERS: Final = 400

#: Deterministic time of the question with sums of sides as corners, and with any. Of 74 beds of trays the first answers
#: 72 and the second 65; it alone finds the places of the 16 rectangles of Hopper and Turton's first problem.
_CORNERS_LIMIT: Final = 0.05
_LIMIT: Final = 0.1


class BedPlace(NamedTuple):
    """Where a piece is: its front left corner in units, and whether it is turned."""

    x: int
    y: int
    turned: bool


@dataclass(frozen=True, slots=True)
class BedAnswer:
    """A place for each piece, or none; whether it is proven that the bed does not hold them; the work that it took."""

    places: tuple[BedPlace, ...]
    impossible: bool
    work: float


@dataclass(frozen=True, slots=True)
class BedGrid:
    """The clear boxes of a bed ``(left, front, right, back)`` in steps from its ``origin`` in units.

    Attributes:
        step: units in a step.
        is_exact: whether all lengths are whole steps; otherwise sizes are rounded up and boxes down.
        origin: the bed's front left corner, units.
        boxes: the clear boxes; a single one without what no row of the pieces can reach.
        area: of the union of the boxes, in square steps; no pieces cover more.
    """

    step: int
    is_exact: bool
    origin: Size
    boxes: tuple[tuple[int, int, int, int], ...]
    area: int

    @staticmethod
    def of(sizes: Sequence[Size], surface: Surface) -> "BedGrid":
        """Return the grid for pieces of these grown footprints in units, one for each copy."""
        left, front = min(box[0] for box in surface.boxes), min(box[1] for box in surface.boxes)
        edges = [edge - (left, front)[axis % 2] for box in surface.boxes for axis, edge in enumerate(box)]
        shared = gcd(*edges, *(side for size in sizes for side in size))
        step = max(shared, _GRID)
        boxes = tuple(
            (-(-(a - left) // step), -(-(b - front) // step), (c - left) // step, (d - front) // step)
            for a, b, c, d in surface.boxes
        )
        grid = BedGrid(step, shared >= _GRID, (left, front), boxes, surface.area // step**2)
        if len(boxes) > 1 or max(grid.reach) > MOST_STEPS:
            return grid
        # no row of pieces is longer: what is left of the bed is waste in any packing
        sides = [grid.sides(size) for size in sizes]
        width, depth = (longest(reduce(partial(with_side, most=most), sides, 1)) for most in grid.reach)
        return BedGrid(step, grid.is_exact, grid.origin, ((0, 0, width, depth),), width * depth)

    @property
    def reach(self) -> Size:
        """Width and depth of the bounding box of all boxes from the origin, in steps."""
        return max(box[2] for box in self.boxes), max(box[3] for box in self.boxes)

    def sides(self, size: Size) -> Size:
        """Return the sides of a footprint in units as steps, rounded up."""
        return -(-size[0] // self.step), -(-size[1] // self.step)


def place_on_bed(sizes: Sequence[Size], grid: BedGrid) -> BedAnswer:
    """Return places for pieces on one bed, or that there are none, or neither within the limit of work.

    Args:
        sizes: grown footprints in units.
        grid: the bed, see `BedGrid.of`.
    """
    answer = _Model(sizes, grid, any_corner=False).solved(_CORNERS_LIMIT)
    if answer.places or answer.impossible:
        return answer
    other = _Model(sizes, grid, any_corner=True).solved(_LIMIT)
    return BedAnswer(other.places, other.impossible, answer.work + other.work)


class _Model:
    """The corners of the pieces as variables; no two of the rectangles overlap."""

    def __init__(self, sizes: Sequence[Size], grid: BedGrid, *, any_corner: bool) -> None:
        from ortools.sat.python import cp_model  # noqa: PLC0415 - a third of a second, for those who need it only

        self.cp, self.grid = cp_model, grid
        self.model = cp_model.CpModel()
        self.sides = [grid.sides(size) for size in sizes]
        width, depth = grid.reach
        self.corners_x = [] if any_corner else self._corners({box[0] for box in grid.boxes}, width)
        self.corners_y = [] if any_corner else self._corners({box[1] for box in grid.boxes}, depth)
        self.x: list[cp_model.IntVar] = []
        self.y: list[cp_model.IntVar] = []
        self.turned: list[cp_model.IntVar] = []
        self.across: list[cp_model.IntervalVar] = []
        self.along: list[cp_model.IntervalVar] = []
        self.depths: list[int] = []
        for sides in self.sides:
            self._add(sides)
        self.model.add_no_overlap_2d(self.across, self.along)
        self.model.add_cumulative(self.across, self.depths, depth)
        for index, other in pairwise(range(len(self.sides))):
            if self.sides[index] == self.sides[other]:  # equal pieces in order
                self.model.add(self.x[index] <= self.x[other])

    def solved(self, work: float) -> BedAnswer:
        solver = self.cp.CpSolver()
        parameters = solver.parameters
        parameters.num_workers = 1
        parameters.random_seed = 1
        parameters.max_deterministic_time = work
        status = solver.solve(self.model)
        spent = solver.response_proto.deterministic_time
        if status not in (self.cp.OPTIMAL, self.cp.FEASIBLE):
            return BedAnswer((), status == self.cp.INFEASIBLE and self.grid.is_exact, spent)
        (left, front), step = self.grid.origin, self.grid.step
        places = (
            BedPlace(left + solver.value(x) * step, front + solver.value(y) * step, solver.boolean_value(turned))
            for x, y, turned in zip(self.x, self.y, self.turned, strict=True)
        )
        return BedAnswer(tuple(places), impossible=False, work=spent)

    def _corners(self, edges: set[int], most: int) -> list[int]:
        """Return the corners along one axis to try: edges of clear boxes plus sums of sides; none when too many.

        Every piece can be pushed to the left and to the front until another piece or the bed stops it.
        """
        sums = sum(1 << edge for edge in edges) if most <= MOST_STEPS else 0
        for sides in self.sides if sums else ():
            sums = with_side(sums, sides, most)
        if not 0 < sums.bit_count() <= _MOST_CORNERS:
            return []
        return [corner for corner, bit in enumerate(reversed(f"{sums:b}")) if bit == "1"]

    def _domain(self, corners: Sequence[int], least: int, most: int) -> "cp_model.Domain":
        """Return the corners from ``least`` to ``most``; all numbers between without corners."""
        if not corners:
            return self.cp.Domain(least, most)
        return self.cp.Domain.from_values([corner for corner in corners if least <= corner <= most])

    def _add(self, sides: Size) -> None:
        """Add a piece: its clear box and its corner, unturned or turned."""
        model = self.model
        x, y = (model.new_int_var(0, most, "") for most in self.grid.reach)
        ways: dict[bool, list[cp_model.IntVar]] = {False: [], True: []}
        for way in (False, True) if sides[0] != sides[1] else (False,):
            width, depth = sides[::-1] if way else sides
            for left, front, right, back in self.grid.boxes:
                if width > right - left or depth > back - front:
                    continue
                chosen = model.new_bool_var("")
                ways[way].append(chosen)
                for corner, corners, least, most in (
                    (x, self.corners_x, left, right - width),
                    (y, self.corners_y, front, back - depth),
                ):
                    domain = self._domain(corners, least, most)
                    model.add_linear_expression_in_domain(corner, domain).only_enforce_if(chosen)
        model.add_exactly_one(ways[False] + ways[True])
        turned = model.new_bool_var("")
        model.add(turned == sum(ways[True]))
        for way in (way for way, boxes in ways.items() if boxes):
            width, depth = sides[::-1] if way else sides
            present = turned if way else ~turned
            self.across.append(model.new_optional_fixed_size_interval_var(x, width, present, ""))
            self.along.append(model.new_optional_fixed_size_interval_var(y, depth, present, ""))
            self.depths.append(depth)
        self.x.append(x)
        self.y.append(y)
        self.turned.append(turned)
