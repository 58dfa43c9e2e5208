"""The printers that a job's parts are made for, where its printers are not alike.

Floors, trays and panels are each cut for one bed, lines and layers. The job is laid out with all of them for the
largest bed; where a part of it is refused by other printers, also for the smallest and for the next largest. From the
plan of which all is printed soonest, one of the three at a time is made for another of these printers, while that
brings the finish forward; then single trays are, see `worker.printing.bed_choice`.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from math import inf
from typing import Final, TypeAlias

from worker.layout.items.filling.drawer_task import Spread, one_by_one
from worker.layout.model.part_registry import MADE_TOGETHER
from worker.layout.model.plan import Plan
from worker.layout.model.shapes import Part
from worker.layout.planner import LaidOut, lay_out
from worker.printing.bed_choice import PlanPricing, PricedPlan, Proposal, priced, propose_beds
from worker.printing.part_printers import PrinterClass, made_as, printer_classes
from worker.printing.print_order import is_test_print
from worker.printing.runs.printer_shares import nominal_finish
from worker.printing.runs.work_plan import runs_of
from worker.spec import Spec
from worker.spec.errors import LayoutError
from worker.spec.items.layout import Effort
from worker.spec.manifest import EstimateEntry

__all__ = ["lay_out_for_printers"]

#: Printers for which a whole job is laid out, and further plans in which they share the kinds of parts, at most: a
#: layout takes much longer than all the rest of a plan.
_MOST_DESIGNS: Final = 3
_MOST_MIXED: Final = 4

#: Plans with single trays made for other printers that are packed and dated, at most.
_MOST_BEDS: Final = 3

#: The indices of floors and trays in `MADE_TOGETHER`.
_FLOORS, _TRAYS = 0, 1

#: Part of the time by which another cut has to be sooner: less is within what estimates can tell.
_GAIN: Final = 0.02

#: Things without a place, runs without a date, the finish in seconds, and the number of pieces.
_Value: TypeAlias = tuple[int, int, int, int]

#: The printer of each of `MADE_TOGETHER`.
_Design: TypeAlias = tuple[str, ...]


def lay_out_for_printers(
    spec: Spec, effort: Effort = "quick", spread: Spread = one_by_one, price: PlanPricing | None = None
) -> Plan:
    """Return the plan of a job, made for those of its printers with which all is printed soonest.

    Things without a place count before the time; where it is about the same, the plan with fewer pieces is kept. There
    is a coupon for each kind of printer: what fits with one says nothing about another.

    Args:
        spec: the job.
        effort: see `worker.layout.planner.lay_out`.
        spread: see `worker.layout.planner.lay_out`.
        price: see `PlanPricing`; left out, parts are built and estimated.

    Raises:
        LayoutError: if the job can be made for none of them: the error for the largest bed.
    """
    names = spec.designs
    if not names:
        return lay_out(spec, effort, spread)
    if len(names) == 1:
        plan = lay_out(spec.for_printer(names[0]), effort, spread)
    else:
        plan = _Choice(spec, names, lambda own: LaidOut(own, effort, spread), price or _built).soonest()
    return _with_coupons(made_as(spec, plan), plan)


@dataclass(slots=True)
class _Choice:
    """The search for the printers that the parts of a job are made for.

    ``names`` are those of the printers in question, the largest bed first.
    """

    spec: Spec
    names: Sequence[str]
    lay_out: Callable[[Spec], LaidOut]
    price: PlanPricing
    _tried: list[_Design] = field(default_factory=list)
    _laid: dict[_Design, LaidOut] = field(default_factory=dict)
    _plans: dict[_Design, PricedPlan] = field(default_factory=dict)
    _values: dict[_Design, _Value] = field(default_factory=dict)
    _refused: LayoutError | None = None
    _classes: tuple[PrinterClass, ...] = field(init=False)

    def __post_init__(self) -> None:
        """Find the classes of printers, their materials aside."""
        free = [own.model_copy(update={"materials": None}) for own in self.spec.printers]
        self._classes = printer_classes(self.spec.model_copy(update={"printers": tuple(free)}))

    def soonest(self) -> Plan:
        """Return the plan of which all is printed soonest.

        Raises:
            LayoutError: if the job can be made for none of the printers: the error for the largest bed.
        """
        best: _Design | None = None
        for name in self._single:
            design = _for_all(name)
            value = self._value(design)
            if value is not None and (best is None or _is_better(value, self._values[best])):
                best = design
            if value is not None and self._suits_all(name):
                break
        if self._plans:
            best = self._mixed(best)
        if best is None:
            raise self._refused or LayoutError("No printer can print the job.", pointer="/printers")
        return self._with_beds(best)

    @property
    def _single(self) -> list[str]:
        """The printers for which a whole job is laid out: the largest bed, the smallest, and the next largest."""
        return list(dict.fromkeys((self.names[0], self.names[-1], *self.names)))[:_MOST_DESIGNS]

    def _with_beds(self, best: _Design) -> Plan:
        """Return the plan with single trays made for other printers, where all is printed sooner by that.

        Those of the best design, and of the best that has trays for another printer, are in question.
        """
        plan, value = self._plans[best].plan, self._values[best]
        starts: dict[str, _Design] = {}
        for design in sorted(self._values, key=lambda design: (design != best, self._values[design])):
            if self._values[design][:2] <= value[:2]:
                starts.setdefault(design[_TRAYS], design)
        proposals: list[tuple[_Design, Proposal]] = []
        limit = inf
        for design in starts.values():
            names = [name for name in self._single if name != design[_TRAYS]]
            *sooner, as_it_is = propose_beds(self._plans[design], self._laid[design], names, self._classes, self.price)
            limit = min(limit, as_it_is.finish) if design == best else limit
            proposals += [(design, proposal) for proposal in sooner if proposal.finish < limit]
        for design, proposal in sorted(proposals, key=lambda own: own[1].finish)[:_MOST_BEDS]:
            own = priced(self._made(design), self._laid[design].plan(proposal.made_for), self.price)
            with suppress(LayoutError):
                if self._is_sooner(_value(own), value):
                    return own.plan
        return plan

    def _mixed(self, best: _Design | None) -> _Design | None:
        """Return the best design within changes of one of `MADE_TOGETHER` at a time, from this one."""
        left, start = _MOST_MIXED, best or self._tried[0]
        while designs := list(self._neighbours(start))[:left]:
            left -= len(designs)
            for design in designs:
                value = self._value(design)
                if value is not None and (best is None or self._is_sooner(value, self._values[best])):
                    best = design
            if best is None or best == start:
                break
            start = best
        return best

    @staticmethod
    def _is_sooner(value: _Value, best: _Value) -> bool:
        """Return whether a value is better, and no later for the sake of fewer pieces."""
        return _is_better(value, best) and value[:3] <= best[:3]

    def _neighbours(self, design: _Design) -> Iterator[_Design]:
        """Yield the designs that differ from one in the printer of some parts, and are not tried."""
        present = self._present()
        for index in present:
            for name in dict.fromkeys(name for tried in self._tried for name in tried):
                changed = {own: name if own == index else design[own] for own in present}
                if self._cut_apart(index, name, design[index]) and not any(
                    all(tried[own] == printer for own, printer in changed.items()) for tried in self._tried
                ):
                    yield tuple(changed.get(own, changed[present[0]]) for own in range(len(design)))

    def _value(self, design: _Design) -> _Value | None:
        """Return the value of the plan for a design; None if the job cannot be made for it."""
        self._tried.append(design)
        own = self._made(design)
        try:
            laid = self._laid[design] = self._laid_out(design, own)
            made = self._plans[design] = priced(own, laid.plan(), self.price)
            value = self._values[design] = _value(made)
        except LayoutError as error:
            self._refused = self._refused or error
            return None
        return value

    def _laid_out(self, design: _Design, own: Spec) -> LaidOut:
        """Return the job laid out for a design: as for another one that differs in the printer of the floors only."""
        others = set(self._present()) - {_FLOORS}
        for other, laid in self._laid.items() if design != _for_all(design[0]) else ():
            if all(other[index] == design[index] for index in others) and laid.spec.joint() == own.joint():
                return laid.with_floors_of(own)
        return self.lay_out(own)

    def _present(self) -> list[int]:
        """Return the indices in `MADE_TOGETHER` of what the plans so far have parts of."""
        kinds = {part.kind for made in self._plans.values() for part in made.plan.parts}
        return [index for index, together in enumerate(MADE_TOGETHER) if together[0] in kinds]

    def _made(self, design: _Design) -> Spec:
        """Return the job as it is made for a design."""
        kinds = {kind: name for together, name in zip(MADE_TOGETHER, design, strict=True) for kind in together}
        return self.spec.for_printer(design[0], kinds)

    def _suits_all(self, name: str) -> bool:
        """Return whether every printer can print all that is made for one: another cut would gain nothing."""
        return not any(self._refusing(name, own) for own in self._classes)

    def _cut_apart(self, index: int, name: str, other: str) -> bool:
        """Return whether parts of a kind that are made for one of two printers may not suit the other one."""
        kinds, classes = MADE_TOGETHER[index], self._classes
        return any(
            _for_all(made_for) not in self._plans or any(part.kind in kinds for part in self._refusing(made_for, own))
            for made_for, printed_on in ((name, other), (other, name))
            for own in classes
            if printed_on in own.names
        )

    def _refusing(self, name: str, other: PrinterClass) -> list[Part]:
        """Return the parts that are made for a printer and that others cannot print."""
        design = _for_all(name)
        own = self._made(design)
        return [part for part in self._plans[design].plan.parts if any(other.refusals(own, part))]


def _for_all(name: str) -> _Design:
    """Return the design in which all is made for one printer."""
    return (name,) * len(MADE_TOGETHER)


def _with_coupons(spec: Spec, plan: Plan) -> Plan:
    """Return a plan with a coupon and a plug for each class of printers that can print these and another part."""
    tests = [part for part in plan.parts if is_test_print(part.kind)]
    others = [part for part in plan.parts if not is_test_print(part.kind)]
    count = sum(
        not any(any(own.refusals(spec, part)) for part in tests)
        and any(not any(own.refusals(spec, part)) for part in others)
        for own in printer_classes(spec)
    )
    if not tests or count < 2:  # noqa: PLR2004 - one coupon as planned
        return plan
    parts = tuple(replace(part, quantity=count) if part in tests else part for part in plan.parts)
    changes = plan.changes
    if changes is not None:
        new = tuple(replace(own, count=count) if is_test_print(own.kind) else own for own in changes.new)
        changes = replace(changes, new=new)
    return replace(plan, parts=parts, changes=changes)


def _is_better(value: _Value, best: _Value) -> bool:
    if value[:2] != best[:2]:
        return value[:2] < best[:2]
    sooner = best[2] - value[2]
    return sooner > 0 if abs(sooner) > _GAIN * best[2] else value[3] < best[3]


def _value(made: PricedPlan) -> _Value:
    """Return the value of a plan.

    Raises:
        LayoutError: when no printer can print one of its parts.
    """
    runs, work = runs_of(made.spec, made.plan, made.estimates, others=made.others)
    undated, finish = nominal_finish(made.spec, runs)
    return sum(lack.count for lack in made.plan.unplaced), undated, finish, work.pieces


def _built(spec: Spec, plan: Plan, marks: frozenset[str] | None) -> Mapping[str, EstimateEntry]:
    """Return estimates of parts whose meshes are built for them."""
    from worker.printing.estimating.part_estimates import price_new_parts  # noqa: PLC0415 - the geometry kernel

    without = {part.mark for part in plan.parts if marks is not None and part.mark not in marks}
    return price_new_parts(spec, plan, without)
