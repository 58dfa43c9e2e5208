"""Conversion of a plan to the plan document, with which a manifest begins."""

from collections.abc import Iterable
from dataclasses import asdict

from worker.layout.model.plan import (
    DrawerPlan,
    FloorPlan,
    JointedTray,
    LayoutChanges,
    PanelPlan,
    Pieces,
    Plan,
    Space,
    Stand,
    Stored,
    Unplaced,
    UpperPlan,
)
from worker.layout.model.shapes import Part, PieceShape, Placement, Ring
from worker.spec.manifest import (
    CautionEntry,
    Cells,
    ContentEntry,
    DrawerEntry,
    FloorEntry,
    JointedTrayEntry,
    LaneEntry,
    LeftOutEntry,
    MoveEntry,
    PanelEntry,
    PiecesEntry,
    PlacementEntry,
    PlanDocument,
    PlannedPart,
    SeamHoldEntry,
    SpaceEntry,
    StandEntry,
    TrayPieceEntry,
    TraySeamEntry,
    UnplacedEntry,
    UpperTrayEntry,
    WarningEntry,
)
from worker.spec.manifest import Changes as ChangesEntry

#: Decimals of a length in mm in a document: the coordinate grid is a micrometre.
_DECIMALS = 3


def plan_document(plan: Plan) -> PlanDocument:
    """Return the document of a plan, with lengths in mm rounded to 0.001."""
    numbers = {
        drawer.placements[index].mark: (number, len(tray.pieces))
        for drawer in plan.drawers
        for tray in drawer.jointed
        for number, index in enumerate(tray.pieces, start=1)
    }
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
                piece=_piece(part, numbers.get(part.mark)),
                made_for=part.made_for or plan.made_for_kinds.get(part.kind, plan.made_for),
            )
            for part in plan.parts
        ),
        warnings=tuple(WarningEntry(pointer=warning.pointer, message=warning.message) for warning in plan.warnings),
        cautions=tuple(CautionEntry(topic=caution.topic, text=caution.text) for caution in plan.cautions),
        unplaced=tuple(_unplaced(unplaced) for unplaced in plan.unplaced),
        changes=None if plan.changes is None else _changes(plan.changes),
        numbering=dict(plan.numbering),
        made_for=plan.made_for,
        made_for_kinds=dict(plan.made_for_kinds),
    )


def _piece(part: Part, number: tuple[int, int] | None) -> TrayPieceEntry | None:
    """Return which piece of a jointed tray a part is, given its number and that of all pieces."""
    if number is None or not isinstance(part.shape, PieceShape):
        return None
    tray = part.shape.tray
    width, depth = (halves * tray.pitch / 2.0 - 2.0 * tray.inset for halves in tray.halves)
    return TrayPieceEntry(
        number=number[0], of=number[1], at=_two(part.shape.corner), tray_size=_three((width, depth, tray.height))
    )


def _drawer(drawer: DrawerPlan) -> DrawerEntry:
    return DrawerEntry(
        name=drawer.name,
        copies=drawer.copies,
        size=_three(drawer.size),
        outline=tuple(_ring(ring) for ring in drawer.outline),
        origin=_two(drawer.lattice.origin),
        pitch=_rounded(drawer.lattice.pitch),
        cells=Cells(whole=drawer.whole, half=drawer.half, across=drawer.across),
        leftover=_two(drawer.leftover),
        free=drawer.free,
        placements=tuple(_placement(placement) for placement in drawer.placements),
        contents=tuple(_stored(content) for content in drawer.contents),
        spaces=tuple(_space(space) for space in drawer.spaces),
        floor=_floor(drawer.floor),
        jointed=tuple(_jointed(tray) for tray in drawer.jointed),
        upper=tuple(_upper(tray) for tray in drawer.upper),
        panels=tuple(_panel(panel) for panel in drawer.panels),
        lanes=tuple(LaneEntry(name=lane.name, at=_two(lane.at), size=_two(lane.size)) for lane in drawer.lanes),
    )


def _panel(panel: PanelPlan) -> PanelEntry:
    return PanelEntry(
        name=panel.name,
        along=panel.along,
        at=_rounded(panel.at),
        start=_rounded(panel.start),
        end=_rounded(panel.end),
        z=_rounded(panel.z),
        height=_rounded(panel.height),
        thickness=_rounded(panel.thickness),
        strips=panel.pieces,
        shoes=panel.shoes,
        clips=panel.clips,
        feet=panel.feet,
        splices=tuple(map(_rounded, panel.splices)),
        crossings=tuple(map(_rounded, panel.crossings)),
        crossed=panel.crossed,
        air=_rounded(panel.air),
        span=_rounded(panel.span),
        press=round(panel.press, 1),
        buckling=round(panel.buckling, 1),
        push=round(panel.push, 2),
        tipping=None if panel.tipping is None else round(panel.tipping, 2),
        pull=None if panel.pull is None else round(panel.pull),
    )


def _jointed(tray: JointedTray) -> JointedTrayEntry:
    return JointedTrayEntry(
        name=tray.name,
        cell=_two(tray.cell),
        z=_rounded(tray.z),
        pieces=tray.pieces,
        seams=tuple(
            TraySeamEntry(
                axis=seam.axis,
                at=_rounded(seam.at),
                tabs=seam.tabs,
                floor_pull=round(seam.floor_pull),
                wall_pull=round(seam.wall_pull),
            )
            for seam in tray.seams
        ),
        floor_play=_rounded(tray.floor_play),
        wall_play=_rounded(tray.wall_play),
        load=tray.load,
        sag=round(tray.sag, 2),
        yields=round(tray.yields, 1),
    )


def _upper(tray: UpperPlan) -> UpperTrayEntry:
    return UpperTrayEntry(
        name=tray.name,
        placement=tray.placement,
        on=tray.on,
        panels=tray.panels,
        z=_rounded(tray.z),
        balance=None if tray.balance is None else round(tray.balance, 2),
    )


def _floor(floor: FloorPlan) -> FloorEntry:
    hold = floor.hold
    return FloorEntry(
        groups=floor.groups,
        loose=floor.loose,
        seams=None if hold is None else SeamHoldEntry(**asdict(hold)),
        left_out=tuple(
            LeftOutEntry(outline=tuple(_ring(ring) for ring in part.rings), area=part.area, reason=part.reason)
            for part in floor.left_out
        ),
    )


def _placement(placement: Placement) -> PlacementEntry:
    return PlacementEntry(
        mark=placement.mark,
        at=_three(placement.at),
        turn=placement.turn,
        cell=None if placement.cell is None else _two(placement.cell),
        name=placement.name,
        upright=placement.upright,
    )


def _stored(content: Stored) -> ContentEntry:
    return ContentEntry(
        item=content.item,
        pointer=content.pointer,
        count=content.count,
        capacity=content.capacity,
        storage=content.storage,
        shape=content.shape,
        placement=content.placement,
        at=_three(content.at),
        size=_three(content.size),
        label=content.label,
        lane=content.lane,
    )


def _space(space: Space) -> SpaceEntry:
    (x, y), (width, depth) = space.at, space.halves
    return SpaceEntry(at=(x / 2.0, y / 2.0), cells=(width / 2.0, depth / 2.0))


def _unplaced(unplaced: Unplaced) -> UnplacedEntry:
    return UnplacedEntry(
        item=unplaced.item,
        pointer=unplaced.pointer,
        drawer=unplaced.drawer,
        count=unplaced.count,
        cause=unplaced.cause,
        reason=unplaced.reason,
        remedy=unplaced.remedy,
    )


def _changes(changes: LayoutChanges) -> ChangesEntry:
    return ChangesEntry(
        new=tuple(_pieces(pieces) for pieces in changes.new),
        kept=tuple(_pieces(pieces) for pieces in changes.kept),
        moved=tuple(
            MoveEntry(
                mark=move.mark,
                kind=move.kind,
                name=move.name,
                count=move.count,
                before=_stand(move.before),
                now=_stand(move.now),
            )
            for move in changes.moved
        ),
        retired=tuple(_pieces(pieces) for pieces in changes.retired),
    )


def _pieces(pieces: Pieces) -> PiecesEntry:
    return PiecesEntry(mark=pieces.mark, kind=pieces.kind, name=pieces.name, count=pieces.count)


def _stand(stand: Stand) -> StandEntry:
    return StandEntry(
        drawer=stand.drawer, at=_three(stand.at), turn=stand.turn, cell=None if stand.cell is None else _two(stand.cell)
    )


def _ring(ring: Ring) -> tuple[tuple[float, float], ...]:
    return tuple(_two(point) for point in ring)


def _rounded(length: float) -> float:
    return round(float(length), _DECIMALS) + 0.0  # no negative zero


def _two(lengths: Iterable[float]) -> tuple[float, float]:
    x, y = lengths
    return _rounded(x), _rounded(y)


def _three(lengths: Iterable[float]) -> tuple[float, float, float]:
    x, y, z = lengths
    return _rounded(x), _rounded(y), _rounded(z)
