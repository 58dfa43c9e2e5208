"""The region solver: the best choice of columns for a free region, each in its place, by constraint programming.

A literal says for each footprint and place whether a tray stands there, another for each column whether it is made;
there are as many trays of a footprint as columns of it. No half cell lies under two trays. The solver runs on one
thread under its own deterministic clock, so that the same region gives the same answer.
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from importlib import import_module
from typing import TYPE_CHECKING, Final, TypeAlias

from worker.layout.placement.bay import Bay, Spot
from worker.layout.placement.columns.tray_columns import Column, Footprint

if TYPE_CHECKING:
    from ortools.sat.python import cp_model

__all__ = ["Region", "Spare", "Standing", "load_solver", "shapes_of", "solve_region", "total_value"]

#: Values are whole hundredths of a minute.
_SCALE: Final = 100.0

#: A layout that is not better by this, in minutes, is not worth a change.
_GAIN: Final = 0.3

#: A column in its place: its front left half cell.
Standing: TypeAlias = tuple[Column, Spot]


@dataclass(frozen=True, slots=True)
class Spare:
    """The worth of a half cell that stays free, in minutes, and of how many there is any."""

    worth: float
    most: int


@dataclass(frozen=True)
class Region:
    """A part of a drawer to be filled.

    ``free`` are its half cells as bits of the bay, ``left`` says how many of each kind are to be placed, ``spare`` what
    half cells that stay free are worth. Each footprint, whichever way round, costs ``variety`` minutes, but for those
    that ``outside`` has already.
    """

    bay: Bay
    free: int
    left: Mapping[int, int]
    spare: Spare
    variety: float = 0.0
    outside: frozenset[Footprint] = frozenset()

    def value(self, standing: Sequence[Standing]) -> float:
        """Return the value of trays in the region, in minutes."""
        return total_value(standing, self.free.bit_count(), self.spare) - self.variety * len(
            shapes_of(standing) - self.outside
        )


def load_solver() -> None:
    """Load the solvers, which takes a third of a second when they are first needed."""
    import_module("ortools.sat.python.cp_model")
    import_module("ortools.linear_solver.pywraplp")


def shapes_of(standing: Sequence[Standing]) -> frozenset[Footprint]:
    """Return the footprints of trays, the shorter side first."""
    return frozenset((min(column.halves), max(column.halves)) for column, _ in standing)


def total_value(standing: Sequence[Standing], free: int, spare: Spare) -> float:
    """Return the value of trays in a region, in minutes.

    Args:
        standing: the trays.
        free: half cells of the region without any tray.
        spare: what free ones among them are worth.
    """
    taken = sum(column.area for column, _ in standing)
    return sum(column.value for column, _ in standing) + spare.worth * min(max(free - taken, 0), spare.most)


def solve_region(region: Region, pool: Sequence[Column], current: Sequence[Standing], limit: float) -> list[Standing]:
    """Return trays for a region of no less value than those that stand there.

    Args:
        region: where they may stand, and what may be in them.
        pool: the columns to choose from, the current ones among them.
        current: what stands there: the solver begins with it.
        limit: deterministic time.
    """
    standing = _Model(region, pool, current).solved(limit)
    return list(current) if region.value(standing) < region.value(current) else standing


class _Model:
    """The choice of columns and places as a constraint model."""

    def __init__(self, region: Region, pool: Sequence[Column], current: Sequence[Standing]) -> None:
        from ortools.sat.python import cp_model  # noqa: PLC0415 - a third of a second, for those who need it only

        self.region, self.pool, self.current = region, pool, current
        self.model, self.solver = cp_model.CpModel(), cp_model.CpSolver()
        self.made = [self.model.new_bool_var("") for _ in pool]
        self.places: dict[tuple[Footprint, Spot], cp_model.IntVar] = {}
        self._add_places()
        self._add_counts()
        self._add_value()

    def _add_places(self) -> None:
        """Add a literal for each place of each footprint; no half cell lies under two trays."""
        model, bay, free = self.model, self.region.bay, self.region.free
        hinted = {(column.halves, at) for column, at in self.current}
        by_size: dict[Footprint, list[int]] = defaultdict(list)
        for number, column in enumerate(self.pool):
            by_size[column.halves].append(number)
        over: dict[int, list[cp_model.IntVar]] = defaultdict(list)
        for halves, numbers in by_size.items():
            row = []
            for at in bay.spots(bay.corners(free, *halves)):
                literal = model.new_bool_var("")
                self.places[halves, at] = literal
                row.append(literal)
                model.add_hint(literal, (halves, at) in hinted)
                for y in range(at[1], at[1] + halves[1], bay.step):
                    for x in range(at[0], at[0] + halves[0], bay.step):
                        over[y * bay.stride + x].append(literal)
            model.add(sum(row) == sum(self.made[number] for number in numbers))
        for literals in over.values():
            if len(literals) > 1:
                model.add_at_most_one(literals)

    def _add_counts(self) -> None:
        """No kind is placed more often than there are things left."""
        left = self.region.left
        chosen = {id(column) for column, _ in self.current}
        kinds: dict[int, list[tuple[int, int]]] = defaultdict(list)
        for number, column in enumerate(self.pool):
            self.model.add_hint(self.made[number], id(column) in chosen)
            for index, count in column.counts:
                kinds[index].append((number, count))
        for index, uses in kinds.items():
            if all(2 * count > left[index] for _, count in uses):
                self.model.add_at_most_one(self.made[number] for number, _ in uses)
            else:
                self.model.add(sum(count * self.made[number] for number, count in uses) <= left[index])

    def _add_value(self) -> None:
        region, spare, area = self.region, self.region.spare, self.region.free.bit_count()
        terms = [round(_SCALE * column.value) * made for column, made in zip(self.pool, self.made, strict=True)]
        if spare.most > 0 and spare.worth > 0.0:
            kept = self.model.new_int_var(0, min(spare.most, area), "")
            taken = sum(halves[0] * halves[1] * literal for (halves, _), literal in self.places.items())
            self.model.add(kept + taken <= area)
            terms.append(round(_SCALE * spare.worth) * kept)
        if region.variety > 0.0:
            used: dict[Footprint, cp_model.IntVar] = {}
            for (halves, _), literal in self.places.items():
                shape = min(halves), max(halves)
                if shape not in region.outside:
                    if shape not in used:
                        used[shape] = self.model.new_bool_var("")
                    self.model.add_implication(literal, used[shape])
            terms += [-round(_SCALE * region.variety) * variable for variable in used.values()]
        # only what is better is looked for: no solution is soon proved where there is none
        value = sum(terms)
        self.model.add(value >= round(_SCALE * (region.value(self.current) + _GAIN)))
        self.model.maximize(value)

    def solved(self, limit: float) -> list[Standing]:
        """Return the best trays that the solver finds within this deterministic time."""
        parameters = self.solver.parameters
        parameters.num_workers = 1
        parameters.random_seed = 1
        parameters.cp_model_probing_level = 0  # both cost more time than they save
        parameters.symmetry_level = 0
        parameters.max_deterministic_time = limit
        self.solver.solve(self.model)
        if not self.solver.response_proto.solution:
            return list(self.current)
        stands: dict[Footprint, list[Spot]] = defaultdict(list)
        for (halves, at), literal in self.places.items():
            if self.solver.boolean_value(literal):
                stands[halves].append(at)
        made = [
            column for column, literal in zip(self.pool, self.made, strict=True) if self.solver.boolean_value(literal)
        ]
        return [(column, stands[column.halves].pop(0)) for column in made]
