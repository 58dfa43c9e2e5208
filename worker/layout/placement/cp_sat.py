"""The CP-SAT solver: improves a fit, and never returns a worse one.

Each request has two coordinates and, for each of its sizes, a literal and a rectangle that is there only with it. No
two rectangles overlap. The solver begins with the best fit known and is stopped by its own deterministic clock, on one
thread, so that the same requests give the same answer.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from math import prod
from typing import TYPE_CHECKING, Final

from worker.layout.placement.greedy import allowance, best_greedy, plain_fits, reworked
from worker.layout.placement.placement_problem import (
    Bay,
    Bill,
    Fit,
    GridPlace,
    Request,
    Score,
    SizeChoice,
    bill,
    score,
    ties,
)
from worker.layout.placement.search_budget import THOROUGH, eased

if TYPE_CHECKING:
    from ortools.sat.python import cp_model

__all__ = ["LIMIT", "fitted", "solved"]

#: Deterministic time for all drawers of a job together: a fifth of a second on an idle two-core machine.
LIMIT: Final = 0.045

#: How much longer the solver may take where something has no place: that all have one comes before all else.
_LONGER: Final = 2.0

#: Rounds of reworking for all drawers of a job together: an eighth of a second for thirty trays.
_ROUNDS: Final = 500

#: Requests, at most, that the solver is asked about: it takes seconds for more, whatever its limit, before it begins.
_MOST_SOLVED: Final = 2 * THOROUGH

#: Sizes of one request that the solver chooses from, at most: more are seldom of use and cost it time.
_MOST_CHOICES: Final = 6

#: The solver's sums must stay within 63 bits, with some to spare.
_MOST: Final = 2**58


def fitted(
    requests: Sequence[Request], bay: Bay, *, share: float = 1.0, tight: bool = False, apart: Bill | None = None
) -> Fit:
    """Return the best fit: the best greedy one, reworked, then improved by the solver; never worse than either.

    It takes no more plastic and no more floor than the best plain greedy fit, where that places everything.


    Args:
        requests: what is wanted.
        bay: where there is room.
        share: of the job's time that this drawer may take; with none the fit is a greedy one.
        tight: whether it takes no more floor than any greedy fit that places everything within that.
        apart: what a tray for each kind would take: as much plastic may be taken, too, where kinds share trays.
    """
    most = allowance(requests, plain_fits(requests, bay))
    if most is not None and apart is not None:
        most = Bill(max(most.plastic, apart.plastic), most.floor)
    fit = best_greedy(requests, bay, most, tight=tight)
    if most is not None and tight:
        most = Bill(most.plastic, min(most.floor, bill(requests, fit).floor))
    fit = reworked(requests, bay, fit, rounds=eased(round(_ROUNDS * share), len(requests)), most=most)
    limit = LIMIT * share if len(requests) <= _MOST_SOLVED else 0.0
    if None in fit.places:
        limit *= _LONGER
    return solved(requests, bay, fit, limit=limit, most=most)


def solved(requests: Sequence[Request], bay: Bay, fit: Fit, *, limit: float, most: Bill | None = None) -> Fit:
    """Return the solver's fit, or the given one when that is as good.

    Args:
        requests: what is wanted.
        bay: where there is room.
        fit: the best one known.
        limit: of the solver's deterministic time; about seconds on a fast machine.
        most: what it may take, as `worker.layout.placement.greedy.allowance` gives it.
    """
    if limit <= 0.0 or not requests or not bay.bits or _ideal(requests, fit):
        return fit
    model = _Model(requests, bay, fit, most)
    solution = model.solve(limit)
    return solution if solution is not None and score(requests, solution) < score(requests, fit) else fit


@dataclass
class _Model:
    """The solver's model of a fit; lengths are in steps of the bay."""

    requests: Sequence[Request]
    bay: Bay
    fit: Fit
    most: Bill | None = None
    lefts: list["cp_model.IntVar"] = field(default_factory=list)
    fronts: list["cp_model.IntVar"] = field(default_factory=list)
    taken: list[dict[int, "cp_model.IntVar"]] = field(default_factory=list)
    placed: list["cp_model.IntVar"] = field(default_factory=list)
    goal: list[tuple["cp_model.IntVar", int]] = field(default_factory=list)
    across_rects: list["cp_model.IntervalVar"] = field(default_factory=list)
    back_rects: list["cp_model.IntervalVar"] = field(default_factory=list)

    def __post_init__(self) -> None:
        """Write the model down."""
        from ortools.sat.python import cp_model  # noqa: PLC0415 - a third of a second, for those who need it only

        self.cp = cp_model
        self.model = cp_model.CpModel()
        self.step = self.bay.step
        self.across, self.back = self.bay.across // self.step, self.bay.back // self.step
        #: Whether the known fit places everything: then so must the solver's.
        self.complete = None not in self.fit.places
        for x, y, width, depth in _holes(self.bay):
            self.across_rects.append(self.model.new_fixed_size_interval_var(x, width, ""))
            self.back_rects.append(self.model.new_fixed_size_interval_var(y, depth, ""))
        for request, place in zip(self.requests, self.fit.places, strict=True):
            self._request(request, place)
        self.model.add_no_overlap_2d(self.across_rects, self.back_rects)
        self._objective()

    def _request(self, request: Request, place: GridPlace | None) -> None:
        """Write down one request: where it may stand, in which sizes, and where the known fit has it."""
        model, step = self.model, self.step
        sizes = _offered(request, None if place is None else place.choice)
        if request.pin is not None:
            # a pinned request keeps what the greedy fit gave it: nothing else has a claim to that place
            sizes = {} if place is None else {place.choice: request.choices[place.choice]}
        sizes = {
            number: size
            for number, size in sizes.items()
            if size.width // step <= self.across and size.depth // step <= self.back
        }
        left = model.new_int_var(0, self.across, "")
        front = model.new_int_var(0, self.back, "")
        taken: dict[int, cp_model.IntVar] = {}
        for number, size in sizes.items():
            width, depth = size.width // step, size.depth // step
            here = model.new_bool_var("")
            self.across_rects.append(model.new_optional_fixed_size_interval_var(left, width, here, ""))
            self.back_rects.append(model.new_optional_fixed_size_interval_var(front, depth, here, ""))
            model.add(left <= self.across - width).only_enforce_if(here)
            model.add(front <= self.back - depth).only_enforce_if(here)
            model.add_hint(here, int(place is not None and place.choice == number))
            taken[number] = here
        placed = model.new_bool_var("")
        model.add(self.cp.LinearExpr.sum(list(taken.values())) == placed)
        model.add_hint(placed, int(place is not None))
        if self.complete:
            model.add(placed == 1)
        if place is not None:
            model.add_hint(left, place.x // step)
            model.add_hint(front, place.y // step)
            if request.pin is not None:
                model.add(left == place.x // step)
                model.add(front == place.y // step)
                model.add(placed == 1)
        self.lefts.append(left)
        self.fronts.append(front)
        self.taken.append(taken)
        self.placed.append(placed)

    def _objective(self) -> None:
        """Weigh the objectives, so that none outweighs the one before it."""
        ends, most_spread = self._spread()
        often = [index for index, request in enumerate(self.requests) if request.often]
        most_front = len(often) * self.back
        kinds = [sum(request.holds[access] for request in self.requests) for access in range(3)]
        most_plastic = sum(max((choice.cost for choice in request.choices), default=0) for request in self.requests)
        unit = 1
        while (most_plastic // unit + 1) * (most_spread + 1) * (most_front + 1) * prod(n + 1 for n in kinds) > _MOST:
            unit *= 10
        for request, taken in zip(self.requests, self.taken, strict=True):
            self.goal += [(here, request.choices[number].cost // unit) for number, here in taken.items()]
        if self.most is not None:
            self._allow(self.most)
        weight = most_plastic // unit + 1
        self.goal += [(end, sign * weight) for end, sign in ends]
        weight *= most_spread + 1
        self.goal += [(self._stands_at(index), weight) for index in often]
        weight *= most_front + 1
        if not self.complete:
            for access in (2, 1, 0):
                pairs = zip(self.requests, self.placed, strict=True)
                self.goal += [(placed, -weight * request.holds[access]) for request, placed in pairs]
                weight *= kinds[access] + 1
        variables, weights = [term for term, _ in self.goal], [weight for _, weight in self.goal]
        self.model.minimize(self.cp.LinearExpr.weighted_sum(variables, weights))

    def _allow(self, most: Bill) -> None:
        """Take no more than this."""
        pairs = [
            (here, request.choices[number])
            for request, taken in zip(self.requests, self.taken, strict=True)
            for number, here in taken.items()
        ]
        literals = [here for here, _ in pairs]
        plastic = self.cp.LinearExpr.weighted_sum(literals, [choice.cost for _, choice in pairs])
        floor = self.cp.LinearExpr.weighted_sum(literals, [choice.area for _, choice in pairs])
        self.model.add(plastic <= most.plastic)
        self.model.add(floor <= most.floor)

    def _stands_at(self, index: int) -> "cp_model.IntVar":
        """Return how far from the front a request stands: nothing when it has no place."""
        if self.complete:
            return self.fronts[index]
        stands = self.model.new_int_var(0, self.back, "")
        self.model.add(stands >= self.fronts[index]).only_enforce_if(self.placed[index])
        return stands

    def _spread(self) -> tuple[list[tuple["cp_model.IntVar", int]], int]:
        """Return the ends of the boxes around all ties, each with its sign, and the most they may add up to."""
        ends: list[tuple[cp_model.IntVar, int]] = []
        most = 0
        for tie in ties(self.requests):
            for axis, (starts, length) in enumerate(((self.lefts, self.across), (self.fronts, self.back))):
                low, high = self.model.new_int_var(0, length, ""), self.model.new_int_var(0, length, "")
                self.model.add(low <= high)
                spreads: list[tuple[int, int]] = []
                for index in tie:
                    sides = [(choice.width, choice.depth)[axis] for choice in self.requests[index].choices]
                    taken, place, placed = self.taken[index], self.fit.places[index], self.placed[index]
                    lengths = [sides[number] // self.step for number in taken]
                    size = self.cp.LinearExpr.weighted_sum(list(taken.values()), lengths)
                    self.model.add(low <= starts[index]).only_enforce_if(placed)
                    self.model.add(high >= starts[index] + size).only_enforce_if(placed)
                    if place is not None:
                        spreads.append((place[axis] // self.step, (place[axis] + sides[place.choice]) // self.step))
                if spreads:
                    self.model.add_hint(low, min(start for start, _ in spreads))
                    self.model.add_hint(high, max(end for _, end in spreads))
                ends += [(high, 1), (low, -1)]
                most += length
        return ends, most

    def solve(self, limit: float) -> Fit | None:
        """Return what the solver finds within its limit."""
        solver = self.cp.CpSolver()
        solver.parameters.max_deterministic_time = limit
        solver.parameters.num_workers = 1
        solver.parameters.random_seed = 1
        solver.parameters.linearization_level = 0  # relaxations of rectangles are weak, and their time is missed
        status = solver.solve(self.model)
        if status not in {self.cp.OPTIMAL, self.cp.FEASIBLE}:
            return None
        places: list[GridPlace | None] = []
        for left, front, taken in zip(self.lefts, self.fronts, self.taken, strict=True):
            number = next((number for number, here in taken.items() if solver.boolean_value(here)), None)
            spot = solver.value(left) * self.step, solver.value(front) * self.step
            places.append(None if number is None else GridPlace(*spot, number))
        return Fit(tuple(places))


def _ideal(requests: Sequence[Request], fit: Fit) -> bool:
    """Return whether a fit is plainly the best: nothing to be nearer to, all at the front, the lightest of all."""
    lightest = sum(min((choice.cost for choice in request.choices), default=0) for request in requests)
    return not ties(requests) and score(requests, fit) == Score((0, 0, 0), 0, 0, lightest)


def _offered(request: Request, chosen: int | None) -> dict[int, SizeChoice]:
    """Return the sizes that the solver may choose: the lightest and the smallest, and the one that is taken."""
    lightest: dict[tuple[int, int], int] = {}
    for number, choice in enumerate(request.choices):
        best = lightest.setdefault((choice.width, choice.depth), number)
        if choice.cost < request.choices[best].cost:
            lightest[choice.width, choice.depth] = number
    numbers = sorted(lightest.values(), key=lambda number: (request.choices[number].area, number))
    if len(numbers) > _MOST_CHOICES:
        half = _MOST_CHOICES // 2
        light = sorted(numbers[half:], key=lambda number: (request.choices[number].cost, number))
        numbers = sorted({*numbers[:half], *light[: _MOST_CHOICES - half]})
    if chosen is not None and chosen not in numbers:
        numbers.append(chosen)
    return {number: request.choices[number] for number in numbers}


def _holes(bay: Bay) -> list[tuple[int, int, int, int]]:
    """Return rectangles that cover what is not free, in steps of the bay: x, y, width, depth."""
    step = bay.step
    across, back = bay.across // step, bay.back // step
    rows = [
        [
            all(bay.free[y * step + j][x * step + i] for i in range(step) for j in range(step))
            for x in range(across)
        ]
        for y in range(back)
    ]  # fmt: skip
    holes: list[tuple[int, int, int, int]] = []
    done = [[False] * across for _ in range(back)]
    for y in range(back):
        for x in range(across):
            if rows[y][x] or done[y][x]:
                continue
            width = 1
            while x + width < across and not rows[y][x + width] and not done[y][x + width]:
                width += 1
            depth = 1
            while y + depth < back and not any(rows[y + depth][x + i] or done[y + depth][x + i] for i in range(width)):
                depth += 1
            for j in range(depth):
                done[y + j][x : x + width] = [True] * width
            holes.append((x, y, width, depth))
    return holes
