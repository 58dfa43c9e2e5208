"""Export and import of a whole household, as one document."""

from collections.abc import Callable, Iterator, Mapping
from typing import Any, Final

from sqlalchemy import Connection, Engine, func, insert, select
from sqlalchemy.exc import IntegrityError

from worker.jobs.common.errors import HouseholdConflict, QuotaReached, SilhouetteNotFound
from worker.jobs.common.ids import new_id
from worker.jobs.database.connection import snapshot
from worker.jobs.database.db_clock import utc_now
from worker.jobs.database.tables import DrawerRow, PieceRow, ThingPlaceRow, ThingRow
from worker.jobs.household.drawers import drawer_values
from worker.jobs.household.models import StoredDrawer, drawer_of, piece_of, thing_of
from worker.jobs.household.outline_shapes import FindOutline, outline_finder, polygon_shape
from worker.jobs.household.owned_rows import MOST_ROWS, OwnedTable
from worker.jobs.household.pieces import piece_values
from worker.jobs.household.thing_search import index_new_things
from worker.jobs.household.things import thing_values
from worker.jobs.records.silhouettes import SilhouetteRecords
from worker.spec.errors import SpecError
from worker.spec.items.shape import Prism, SilhouetteShape
from worker.spec.requests.household import PieceRequest, ThingRequest
from worker.spec.requests.household_document import (
    HouseholdDocument,
    HouseholdDrawer,
    HouseholdLayout,
    HouseholdPiece,
    HouseholdThing,
    LayoutSettings,
)

__all__ = ["export_household", "import_household"]

#: Ids per query.
_BATCH: Final = 500

#: Most conflicts that are listed.
_MOST_CONFLICTS: Final = 100

_REMEDY: Final = "Import with new ids (ids=new), or remove what is there."

_NewId = Callable[[str | None], str | None]


def export_household(database: Engine, owner: str | None) -> HouseholdDocument:
    """Return the household of an owner, or of all owners for None, as it is at one moment.

    The same household gives the same document.
    """
    outlines = outline_finder(SilhouetteRecords(database), owner)
    with snapshot(database) as connection:
        places = _places(connection, owner)
        drawers = tuple(_drawer(drawer_of(row), places) for row in _rows(connection, DrawerRow, owner))
        things = tuple(
            HouseholdThing(
                id=thing.id, created=thing.created, updated=thing.updated, thing=_portable(thing.request, outlines)
            )
            for thing in (thing_of(row) for row in _rows(connection, ThingRow, owner))
        )
        pieces = tuple(_piece(row) for row in _rows(connection, PieceRow, owner))
    return HouseholdDocument.model_construct(household="1", drawers=drawers, things=things, pieces=pieces)


def import_household(database: Engine, owner: str, document: HouseholdDocument, *, new_ids: bool) -> None:
    """Add a household to that of an owner: all of it, or nothing.

    Args:
        database: the database.
        owner: who owns it from now on.
        document: the household.
        new_ids: whether drawers, things and pieces get ids of their own; otherwise they keep those of the document.

    Raises:
        HouseholdConflict: if an id of the document is taken, by whomever; with a pointer to each.
        QuotaReached: if the owner would have more rows of a kind than permitted.
    """
    ids: Mapping[str, str] = {}
    if new_ids:
        ids = {row_id: new_id() for own_ids in _ids(document).values() for row_id in own_ids}

    def own(row_id: str | None) -> str | None:
        return None if row_id is None else ids.get(row_id, row_id)

    try:
        with database.begin() as connection:
            _check_room(connection, owner, document)
            if not new_ids:
                _check_free(connection, document)
            _insert(connection, owner, document, own)
    except IntegrityError:  # another import added the same ids meanwhile
        raise HouseholdConflict(remedy=_REMEDY) from None


def _insert(connection: Connection, owner: str, document: HouseholdDocument, own: _NewId) -> None:
    """Insert all rows; ``own`` returns the id that an id of the document becomes."""
    now = utc_now()

    def common(entry: HouseholdDrawer | HouseholdThing | HouseholdPiece) -> dict[str, Any]:
        times = {"created": entry.created or now, "updated": entry.updated or now}
        return {"id": own(entry.id), "owner": owner, **times}

    drawers, pieces, places = [], [], []
    for drawer in document.drawers:
        drawers.append({**common(drawer), **drawer_values(drawer.drawer), **_layout_values(drawer.layout)})
        places += [
            {"drawer_id": own(drawer.id), "number": number, "thing_id": own(thing_id)}
            for number, thing_id in enumerate(() if drawer.layout is None else drawer.layout.things)
            if thing_id is not None
        ]
    things = [
        {**common(thing), **thing_values(thing.thing), "drawer_id": own(thing.thing.drawer)}
        for thing in document.things
    ]
    for piece in document.pieces:
        values = {"placement": piece.placement, "job_id": piece.job, "drawer_id": own(piece.piece.drawer)}
        part = None if piece.part is None else piece.part.model_dump(mode="json", exclude_unset=True)
        pieces.append({**common(piece), **piece_values(piece.piece), **values, "part": part})
    for table, rows in ((DrawerRow, drawers), (ThingRow, things), (PieceRow, pieces), (ThingPlaceRow, places)):
        if rows:
            connection.execute(insert(table), rows)
    index_new_things(connection, owner, {own(thing.id) or "": thing.thing for thing in document.things})


def _layout_values(layout: HouseholdLayout | None) -> dict[str, Any]:
    if layout is None:
        return {"layout": None, "layout_job": None, "layout_settings": None, "laid_out": None}
    return {
        "layout": layout.manifest.model_dump_json(),
        "layout_job": layout.job,
        "layout_settings": layout.settings.model_dump(mode="json", exclude_unset=True),
        "laid_out": layout.laid_out,
    }


def _rows(connection: Connection, table: OwnedTable, owner: str | None) -> Iterator[Any]:
    """Yield the rows of an owner, oldest first."""
    query = select(*table.__table__.columns).order_by(table.id)
    yield from connection.execute(query if owner is None else query.where(table.owner == owner))


def _places(connection: Connection, owner: str | None) -> Mapping[str, Mapping[int, str]]:
    """Return the ids of things by drawer and index in the contents of its layout."""
    query = select(ThingPlaceRow.drawer_id, ThingPlaceRow.number, ThingPlaceRow.thing_id)
    if owner is not None:
        query = query.join(DrawerRow, DrawerRow.id == ThingPlaceRow.drawer_id).where(DrawerRow.owner == owner)
    places: dict[str, dict[int, str]] = {}
    for row in connection.execute(query):
        places.setdefault(row.drawer_id, {})[row.number] = row.thing_id
    return places


def _drawer(drawer: StoredDrawer, places: Mapping[str, Mapping[int, str]]) -> HouseholdDrawer:
    layout = None
    if drawer.layout is not None:
        manifest = drawer.layout.manifest
        numbers = places.get(drawer.id, {})
        things = tuple(numbers.get(number) for number in range(len(manifest.drawers[0].contents)))
        layout = HouseholdLayout(
            job=drawer.layout.job,
            laid_out=drawer.layout.laid_out,
            manifest=manifest,
            settings=LayoutSettings.model_validate(drawer.layout.settings),
            things=things if any(things) else (),
        )
    return HouseholdDrawer(
        id=drawer.id, created=drawer.created, updated=drawer.updated, drawer=drawer.request, layout=layout
    )


def _portable(thing: ThingRequest, outlines: FindOutline) -> ThingRequest:
    """Return a thing with a polygon instead of its silhouette, which is no part of the document."""
    if not isinstance(thing.shape, SilhouetteShape):
        return thing
    try:
        polygon = polygon_shape(thing.shape, outlines(thing.shape.id, ""), "")
    except (SilhouetteNotFound, SpecError):  # it has no outline or height, or was removed
        return thing.model_copy(update={"shape": None})
    return thing.model_copy(update={"shape": Prism.model_validate(polygon)})


def _piece(row: Any) -> HouseholdPiece:
    piece = piece_of(row)
    fields = {name: getattr(piece, name) for name in PieceRequest.model_fields}
    request = PieceRequest.model_construct(**{name: value for name, value in fields.items() if value is not None})
    return HouseholdPiece(
        id=piece.id,
        created=piece.created,
        updated=piece.updated,
        piece=request,
        placement=piece.placement,
        job=piece.job,
        part=piece.part,
    )


def _check_room(connection: Connection, owner: str, document: HouseholdDocument) -> None:
    for table, ids in _ids(document).items():
        kind = table.__tablename__
        count = connection.scalar(select(func.count()).where(table.owner == owner)) or 0
        if ids and count + len(ids) > MOST_ROWS[kind]:
            raise QuotaReached(
                f"The maximum number of {kind} would be exceeded.", pointer=f"/{kind}", value=count + len(ids),
                limit=f"{MOST_ROWS[kind]} {kind}", remedy="Remove some, or import fewer.",
            )  # fmt: skip


def _check_free(connection: Connection, document: HouseholdDocument) -> None:
    conflicts: list[HouseholdConflict] = []
    for table, ids in _ids(document).items():
        taken: set[str] = set()
        for start in range(0, len(ids), _BATCH):
            taken |= set(connection.scalars(select(table.id).where(table.id.in_(ids[start : start + _BATCH]))))
        conflicts += [
            HouseholdConflict(
                "The id is taken.",
                pointer=f"/{table.__tablename__}/{index}/id",
                value=row_id,
                limit="an id that is free",
                remedy=_REMEDY,
            )
            for index, row_id in enumerate(ids)
            if row_id in taken
        ]
    if conflicts:
        first = conflicts[0]
        raise HouseholdConflict(
            f"{len(conflicts)} ids of the document are taken." if len(conflicts) > 1 else first.message,
            pointer=first.pointer, value=first.value, limit=first.limit, remedy=_REMEDY,
            errors=conflicts[:_MOST_CONFLICTS],
        )  # fmt: skip


def _ids(document: HouseholdDocument) -> dict[OwnedTable, list[str]]:
    """Return the ids of a document by table, in its order."""
    return {
        DrawerRow: [entry.id for entry in document.drawers],
        ThingRow: [entry.id for entry in document.things],
        PieceRow: [entry.id for entry in document.pieces],
    }
