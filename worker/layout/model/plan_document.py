"""The plan as the document that a caller gets, and that a manifest begins with."""

from collections.abc import Iterable

from worker.layout.model.plan import Changes, DrawerPlan, Pieces, Plan, Space, Stand, Stored, Unplaced
from worker.layout.model.shapes import Placement, Ring
from worker.spec.manifest.manifest import (
    CautionEntry,
    Cells,
    ContentEntry,
    DrawerEntry,
    MoveEntry,
    PiecesEntry,
    PlacementEntry,
    PlanDocument,
    PlannedPart,
    SpaceEntry,
    StandEntry,
    UnplacedEntry,
    WarningEntry,
)
from worker.spec.manifest.manifest import Changes as ChangesEntry

#: Decimals of a length in a document: the micrometre of the coordinate grid.
_DECIMALS = 3


def plan_document(plan: Plan) -> PlanDocument:
    """Return the plan as its document, lengths rounded to 1 um."""
    return PlanDocument(
        name=plan.name,
        drawers=tuple(_drawer(drawer) for drawer in plan.drawers),
        parts=tuple(
            PlannedPart(
                mark=part.mark,
                kind=part.kind,
                name=part.name,
                quantity=part.quantity,
                size=_three(part.size),
                shape=part.bare,
                tray=part.tray,
            )
            for part in plan.parts
        ),
        warnings=tuple(WarningEntry(pointer=one.pointer, message=one.message) for one in plan.warnings),
        cautions=tuple(CautionEntry(topic=one.topic, text=one.text) for one in plan.cautions),
        unplaced=tuple(_unplaced(one) for one in plan.unplaced),
        changes=None if plan.changes is None else _changes(plan.changes),
        numbering=dict(plan.numbering),
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
        contents=tuple(_stored(one) for one in drawer.contents),
        spaces=tuple(_space(one) for one in drawer.spaces),
    )


def _placement(one: Placement) -> PlacementEntry:
    return PlacementEntry(
        mark=one.mark,
        at=_three(one.at),
        turn=one.turn,
        cell=None if one.cell is None else _two(one.cell),
        name=one.name,
    )


def _stored(one: Stored) -> ContentEntry:
    return ContentEntry(
        item=one.item,
        pointer=one.pointer,
        count=one.count,
        capacity=one.capacity,
        storage=one.storage,
        shape=one.shape,
        placement=one.placement,
        at=_three(one.at),
        size=_three(one.size),
        label=one.label,
    )


def _space(one: Space) -> SpaceEntry:
    (x, y), (width, depth) = one.at, one.halves
    return SpaceEntry(at=(x / 2.0, y / 2.0), cells=(width / 2.0, depth / 2.0))


def _unplaced(one: Unplaced) -> UnplacedEntry:
    return UnplacedEntry(
        item=one.item,
        pointer=one.pointer,
        drawer=one.drawer,
        count=one.count,
        reason=one.reason,
        remedy=one.remedy,
    )


def _changes(changes: Changes) -> ChangesEntry:
    return ChangesEntry(
        new=tuple(_pieces(one) for one in changes.new),
        kept=tuple(_pieces(one) for one in changes.kept),
        moved=tuple(
            MoveEntry(
                mark=one.mark,
                kind=one.kind,
                name=one.name,
                count=one.count,
                before=_stand(one.before),
                now=_stand(one.now),
            )
            for one in changes.moved
        ),
        retired=tuple(_pieces(one) for one in changes.retired),
    )


def _pieces(one: Pieces) -> PiecesEntry:
    return PiecesEntry(mark=one.mark, kind=one.kind, name=one.name, count=one.count)


def _stand(one: Stand) -> StandEntry:
    return StandEntry(
        drawer=one.drawer, at=_three(one.at), turn=one.turn, cell=None if one.cell is None else _two(one.cell)
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
