"""The printer that a job's parts are made for, where its printers are not alike.

Floors, trays and panels are cut for one bed, lines and layers. The job is laid out for the largest bed; where a part of
it is refused by other printers, also for the smallest and for the next largest, and the plan of which all is printed
soonest is kept.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Final, TypeAlias

from worker.layout.items.filling.drawer_task import Spread, one_by_one
from worker.layout.model.plan import Plan
from worker.layout.planner import lay_out
from worker.printing.part_printers import printer_classes
from worker.printing.print_order import is_test_print
from worker.printing.printer_estimates import price_on_others
from worker.printing.runs.printer_shares import nominal_finish
from worker.printing.runs.work_plan import runs_of
from worker.spec import Spec
from worker.spec.errors import LayoutError
from worker.spec.items.layout import Effort
from worker.spec.manifest import EstimateEntry

__all__ = ["PlanPricing", "lay_out_for_printers"]

#: Printers for which a job is laid out, at most: a layout takes much longer than all the rest of a plan.
_MOST_DESIGNS: Final = 3

#: Returns the estimates of parts of a plan: of all that are to be printed, or of those with these marks.
PlanPricing: TypeAlias = Callable[[Spec, Plan, frozenset[str] | None], Mapping[str, EstimateEntry]]

#: Part of the time by which another cut has to be sooner: less is within what estimates can tell.
_GAIN: Final = 0.02

#: Things without a place, runs without a date, the finish in seconds, and the number of pieces.
_Value: TypeAlias = tuple[int, int, int, int]


def lay_out_for_printers(
    spec: Spec, effort: Effort = "quick", spread: Spread = one_by_one, price: PlanPricing | None = None
) -> Plan:
    """Return the plan of a job, made for the one of its printers with which all is printed soonest.

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
    plan = _soonest(spec, names, effort, spread, price or _built)
    return _with_coupons(spec.for_printer(plan.made_for), plan)


def _soonest(spec: Spec, names: Sequence[str], effort: Effort, spread: Spread, price: PlanPricing) -> Plan:
    """Return the plan for the printer with which all is printed soonest.

    Raises:
        LayoutError: if the job can be made for none of them: the error for the largest bed.
    """
    refused: LayoutError | None = None
    best: tuple[_Value, Plan] | None = None
    for name in list(dict.fromkeys((names[0], names[-1], *names)))[:_MOST_DESIGNS]:
        own = spec.for_printer(name)
        try:
            plan = lay_out(own, effort, spread)
            if len(names) == 1:
                return plan
            value = _value(own, plan, price)
        except LayoutError as error:
            refused = refused or error
            continue
        if best is None or _is_better(value, best[0]):
            best = value, plan
        if _suits_all(own, plan):
            break
    if best is None:
        raise refused or LayoutError("No printer can print the job.", pointer="/printers")
    return best[1]


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


def _suits_all(spec: Spec, plan: Plan) -> bool:
    """Return whether every printer can print every part, its material aside: another cut would gain nothing."""
    free = [own.model_copy(update={"materials": None}) for own in spec.printers]
    classes = printer_classes(spec.model_copy(update={"printers": tuple(free)}))
    return not any(any(own.refusals(spec, part)) for own in classes for part in plan.parts)


def _is_better(value: _Value, best: _Value) -> bool:
    if value[:2] != best[:2]:
        return value[:2] < best[:2]
    sooner = best[2] - value[2]
    return sooner > 0 if abs(sooner) > _GAIN * best[2] else value[3] < best[3]


def _value(spec: Spec, plan: Plan, price: PlanPricing) -> _Value:
    """Return the value of a plan.

    Raises:
        LayoutError: when no printer can print one of its parts.
    """
    estimates = price(spec, plan, None)
    others = price_on_others(spec, plan.parts, estimates, lambda other, marks: price(other, plan, marks))
    runs, work = runs_of(spec, plan, estimates, others=others)
    undated, finish = nominal_finish(spec, runs)
    return sum(lack.count for lack in plan.unplaced), undated, finish, work.pieces


def _built(spec: Spec, plan: Plan, marks: frozenset[str] | None) -> Mapping[str, EstimateEntry]:
    """Return estimates of parts whose meshes are built for them."""
    from worker.printing.estimating.part_estimates import price_new_parts  # noqa: PLC0415 - the geometry kernel

    without = {part.mark for part in plan.parts if marks is not None and part.mark not in marks}
    return price_new_parts(spec, plan, without)
