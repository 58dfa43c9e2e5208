"""The plan as the document that a caller gets, and that a manifest begins with."""

from collections.abc import Iterable

from worker.layout.parts import Placement, Ring
from worker.layout.plan import DrawerPlan, Plan
from worker.spec.manifest import (
    CautionEntry,
    Cells,
    DrawerEntry,
    PlacementEntry,
    PlanDocument,
    PlannedPart,
    WarningEntry,
)

#: Decimals of a length in a document: the micrometre of the coordinate grid.
_DECIMALS = 3


def plan_document(plan: Plan) -> PlanDocument:
    """Return the plan as its document, lengths rounded to 1 um."""
    return PlanDocument(
        name=plan.name,
        drawers=tuple(_drawer(drawer) for drawer in plan.drawers),
        parts=tuple(
            PlannedPart(mark=part.mark, kind=part.kind, name=part.name, quantity=part.quantity, size=_three(part.size))
            for part in plan.parts
        ),
        warnings=tuple(WarningEntry(pointer=one.pointer, message=one.message) for one in plan.warnings),
        cautions=tuple(CautionEntry(topic=one.topic, text=one.text) for one in plan.cautions),
    )


def _drawer(drawer: DrawerPlan) -> DrawerEntry:
    return DrawerEntry(
        name=drawer.name,
        copies=drawer.copies,
        size=_three(drawer.size),
        outline=tuple(_ring(ring) for ring in drawer.outline),
        origin=_two(drawer.lattice.origin),
        pitch=_one(drawer.lattice.pitch),
        cells=Cells(whole=drawer.whole, half=drawer.half, across=drawer.across),
        leftover=_two(drawer.leftover),
        free=drawer.free,
        placements=tuple(_placement(one) for one in drawer.placements),
    )


def _placement(one: Placement) -> PlacementEntry:
    return PlacementEntry(
        mark=one.mark,
        at=_three(one.at),
        turn=one.turn,
        cell=None if one.cell is None else _two(one.cell),
        name=one.name,
    )


def _ring(ring: Ring) -> tuple[tuple[float, float], ...]:
    return tuple(_two(point) for point in ring)


def _one(length: float) -> float:
    return round(float(length), _DECIMALS) + 0.0  # no negative zero


def _two(lengths: Iterable[float]) -> tuple[float, float]:
    x, y = lengths
    return _one(x), _one(y)


def _three(lengths: Iterable[float]) -> tuple[float, float, float]:
    x, y, z = lengths
    return _one(x), _one(y), _one(z)
