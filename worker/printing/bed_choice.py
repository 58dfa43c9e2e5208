"""The choice of beds: which trays are made for another printer than the rest, so that all is printed sooner.

A tray that is whole for a large bed may be cut for a smaller one while another stays whole, and one that is cut may be
whole. Everything stays where it is laid out; only the parts of these trays differ. When all would be printed is
estimated without runs and dates here, one change at a time, in the order of print times.
"""

import itertools
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Final, NamedTuple, TypeAlias

from worker.layout.model.plan import Plan
from worker.layout.model.shapes import Part
from worker.layout.model.tray_places import MadeFor, TrayPlace, trays_of
from worker.layout.planner import LaidOut
from worker.printing.part_printers import PrinterClass
from worker.printing.printer_estimates import price_on_others
from worker.printing.runs.printer_loads import EstimatesByPrinter, PrinterLoads
from worker.spec import Spec
from worker.spec.errors import LayoutError
from worker.spec.manifest import EstimateEntry, Manifest

__all__ = ["PlanPricing", "PricedPlan", "Proposal", "priced", "propose_beds"]

#: Returns the estimates of parts of a plan: of all that are to be printed, or of those with these marks.
PlanPricing: TypeAlias = Callable[[Spec, Plan, frozenset[str] | None], Mapping[str, EstimateEntry]]

#: Pieces that are shared out among the printers in one search, at most.
_MOST_PIECES: Final = 50_000

#: The numbers of pieces by the fingerprints of their shapes.
_Pieces: TypeAlias = Counter[str]

#: What a tray may consist of, by the printer that it is made for; None is that of the plan.
_Options: TypeAlias = dict[str | None, _Pieces]


class Proposal(NamedTuple):
    """Trays made for other printers, and when all would be printed, s, without runs and dates."""

    finish: float
    made_for: MadeFor


@dataclass(frozen=True, slots=True)
class PricedPlan:
    """A plan with estimates of its parts by mark: on the printers that they are made for, and on others."""

    spec: Spec
    plan: Plan
    estimates: Mapping[str, EstimateEntry]
    others: EstimatesByPrinter


def priced(spec: Spec, plan: Plan, price: PlanPricing, marks: frozenset[str] | None = None) -> PricedPlan:
    """Return a plan with the estimates of all its parts to print, or of those with these marks."""
    own = price(spec, plan, marks)
    others = price_on_others(spec, plan.parts, own, lambda other, differing: price(other, plan, differing))
    return PricedPlan(spec, plan, own, others)


def propose_beds(
    made: PricedPlan, laid: LaidOut, names: Iterable[str], classes: Sequence[PrinterClass], price: PlanPricing
) -> list[Proposal]:
    """Return trays that may be made for other printers so that all is printed sooner; the last is the plan as it is.

    Args:
        made: the plan.
        laid: the layout that it was made of.
        names: printers that trays may be made for.
        classes: those of the job, their materials aside.
        price: prices the trays that are made for others.
    """
    unlike = {
        place: parts
        for place, parts in trays_of(made.plan).items()
        if len(parts) > 1 or any(any(own.refusals(made.spec, part)) for own in classes for part in parts)
    }
    plans = {name: laid.plan(dict.fromkeys(unlike, name)) for name in names} if unlike else {}
    parts = _PricedParts()
    parts.add(made)
    for plan in plans.values():
        parts.add(priced(made.spec, plan, price, parts.unpriced(plan)))
    loads = PrinterLoads(made.spec, parts.parts, parts.estimates, parts.others)
    options: dict[TrayPlace, _Options] = {place: {None: _pieces(own)} for place, own in unlike.items()}
    for name, plan in plans.items():
        for place, own in trays_of(plan).items():
            if place in unlike and _printable(own, loads) and _pieces(own) not in options[place].values():
                options[place][name] = _pieces(own)
    return _Search(made, loads, {place: own for place, own in options.items() if len(own) > 1}).proposals()


@dataclass(slots=True)
class _PricedParts:
    """Parts of several plans and their estimates, by the fingerprints of their shapes."""

    parts: dict[str, Part] = field(default_factory=dict)
    estimates: dict[str, EstimateEntry] = field(default_factory=dict)
    others: dict[str, dict[str, EstimateEntry]] = field(default_factory=dict)

    def add(self, made: PricedPlan) -> None:
        """Add the parts of a plan; estimates that are there are kept."""
        for part in made.plan.parts:
            shape = _shape(part)
            self.parts.setdefault(shape, replace(part, mark=shape))
            if part.mark in made.estimates:
                self.estimates.setdefault(shape, made.estimates[part.mark])
            for name, own in made.others.items():
                if part.mark in own:
                    self.others.setdefault(name, {}).setdefault(shape, own[part.mark])

    def unpriced(self, plan: Plan) -> frozenset[str]:
        """Return the marks of parts without an estimate."""
        return frozenset(part.mark for part in plan.parts if _shape(part) not in self.estimates)


class _Search:
    """The search for the printers that the trays of one layout are made for."""

    def __init__(self, made: PricedPlan, loads: PrinterLoads, options: Mapping[TrayPlace, _Options]) -> None:
        """Begin with the trays as they are printed already."""
        plan, previous = made.plan, made.spec.previous
        self._loads, self._options = loads, options
        self._copies = [drawer.copies for drawer in plan.drawers]
        self._all = Counter({_shape(part): part.quantity for part in plan.parts})
        printed = previous if isinstance(previous, Manifest) else None
        parts = () if printed is None else printed.parts
        self._printed = Counter({part.shape: part.quantity for part in parts if part.shape is not None})
        self._before = {} if printed is None else _as_printed(plan, printed)
        self._left = _MOST_PIECES

    def proposals(self) -> list[Proposal]:
        """Return what is sooner than the plan as it is, the soonest first, then the plan as it is."""
        as_it_is = best = Proposal(self._finish({}), {})
        proposals = [as_it_is]
        before = self._as_before()
        if before and (finish := self._finish(before)) < best.finish:
            best = Proposal(finish, before)
            proposals.append(best)
        order = sorted(self._options, key=lambda place: (-self._seconds(self._options[place][None]), place))
        changes = [(place, name) for place in order for name in self._options[place]]
        futile, behind = set[tuple[object, ...]](), 0  # equal trays are changed in vain once only
        for place, name in itertools.cycle(changes):
            if behind == len(changes) or self._left <= 0:
                break
            behind += 1
            change = self._change(best.made_for, place, name)
            if change in futile:
                continue
            futile.add(change)
            made_for = {**best.made_for, place: name}
            finish = self._finish(made_for)
            if finish < best.finish:
                best = Proposal(finish, made_for)
                proposals.append(best)
                futile.clear()
                behind = 0
        return proposals[::-1]

    def _as_before(self) -> MadeFor:
        """Return the printers for which trays are as they are printed in their places."""
        return {
            place: name
            for place, options in self._options.items()
            for name, pieces in options.items()
            if name is not None and pieces == self._before.get(place)
        }

    def _change(self, made_for: MadeFor, place: TrayPlace, name: str | None) -> tuple[object, ...]:
        """Return what changes if a tray is made for a printer; the same for equal trays."""
        options = self._options[place]
        before, after = options[made_for.get(place)], options[name]
        return frozenset(before.items()), frozenset(after.items()), self._copies[place.drawer]

    def _seconds(self, pieces: _Pieces) -> float:
        return sum(count * self._loads.longest(shape) for shape, count in pieces.items())

    def _finish(self, made_for: MadeFor) -> float:
        """Return when all that is not printed yet would be printed, s."""
        needed = Counter(self._all)
        for place, name in made_for.items():
            options, copies = self._options[place], self._copies[place.drawer]
            for shape, count in options[name].items():
                needed[shape] += copies * count
            for shape, count in options[None].items():
                needed[shape] -= copies * count
        needed -= self._printed
        self._left -= needed.total()
        return self._loads.finish(needed)


def _as_printed(plan: Plan, printed: Manifest) -> dict[TrayPlace, _Pieces]:
    """Return the pieces of the trays that are printed, by their places in a plan."""
    shapes = {part.mark: part.shape for part in printed.parts}
    before: dict[TrayPlace, _Pieces] = {}
    for drawer in printed.drawers:
        for index in (index for index, own in enumerate(plan.drawers) if own.name == drawer.name):
            for placement in drawer.placements:
                shape = shapes.get(placement.mark)
                if placement.cell is not None and shape is not None:
                    place = TrayPlace(index, placement.cell, placement.at[2])
                    before.setdefault(place, Counter())[shape] += 1
    return before


def _shape(part: Part) -> str:
    """Return the fingerprint of a part's shape."""
    return part.bare or part.mark


def _pieces(parts: Iterable[Part]) -> _Pieces:
    return Counter(map(_shape, parts))


def _printable(parts: Iterable[Part], loads: PrinterLoads) -> bool:
    """Return whether each of these parts can be printed by a printer."""
    try:
        return all(loads.able(_shape(part)) for part in parts)
    except LayoutError:
        return False
