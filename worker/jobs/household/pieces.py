"""The printed pieces of a household."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Any, Final

from sqlalchemy import Connection, Engine, select

from worker.jobs.common.errors import PieceNotFound
from worker.jobs.database.tables import DrawerRow, PieceRow
from worker.jobs.household.drawers import DRAWERS, touch_drawers
from worker.jobs.household.models import StoredPiece, piece_of
from worker.jobs.household.owned_rows import OwnedRows
from worker.spec.manifest import Manifest
from worker.spec.requests.household import PieceRequest, PieceState

__all__ = ["PIECES", "PieceFilters", "PieceRecords", "piece_values", "pieces_where"]

#: Most spare and retired pieces that a change of a drawer considers.
_MOST_UNUSED: Final = 2_000

#: The rows of pieces.
PIECES = OwnedRows(PieceRow, PieceNotFound)


@dataclass(frozen=True, slots=True)
class PieceFilters:
    """Conditions on listed pieces; None or an empty tuple sets none. ``drawer`` and ``job`` are ids."""

    states: tuple[PieceState, ...] = ()
    drawer: str | None = None
    job: str | None = None
    mark: str | None = None
    digest: str | None = None

    def conditions(self) -> list[Any]:
        """Return the conditions on rows of pieces."""
        made: list[Any] = [PieceRow.state.in_(self.states)] if self.states else []
        given = (
            (PieceRow.drawer_id, self.drawer),
            (PieceRow.job_id, self.job),
            (PieceRow.mark, self.mark),
            (PieceRow.digest, self.digest),
        )
        return made + [column == value for column, value in given if value is not None]


class PieceRecords:
    """Reads and writes pieces; an ``owner`` of None stands for all owners."""

    def __init__(self, database: Engine) -> None:
        """Use this database."""
        self._database = database

    def create(self, owner: str, request: PieceRequest) -> StoredPiece:
        """Add a piece that no job recorded; a placed one takes a free place of its shape.

        Raises:
            DrawerNotFound: if the owner has no such drawer.
            QuotaReached: if the owner has the maximum number of pieces.
        """
        with self._database.begin() as connection:
            values = _values(connection, request, owner)
            piece_id = PIECES.add(connection, owner, {**values, "placement": _place(connection, request)})
            touch_drawers(connection, {request.drawer})
            return piece_of(PIECES.row(connection, piece_id, owner))

    def find(self, piece_id: str, owner: str | None) -> StoredPiece:
        """Return a piece.

        Raises:
            PieceNotFound: if it does not exist, or has another owner.
        """
        with self._database.connect() as connection:
            return piece_of(PIECES.row(connection, piece_id, owner))

    def list(
        self, owner: str | None, limit: int, after: str | None = None, filters: PieceFilters | None = None
    ) -> "list[StoredPiece]":
        """Return up to ``limit`` pieces, newest first."""
        conditions = () if filters is None else filters.conditions()
        with self._database.connect() as connection:
            return [piece_of(row) for row in PIECES.rows(connection, owner, *conditions, limit=limit, after=after)]

    def replace(
        self, piece_id: str, owner: str | None, request: PieceRequest, revision: int | None = None
    ) -> StoredPiece:
        """Replace what describes a piece. In another drawer or state it leaves its place, or takes a free one.

        Raises:
            PieceNotFound: if it does not exist, or has another owner.
            DrawerNotFound: if the owner has no such drawer.
            PreconditionFailed: if ``revision`` is given and is not its current one.
        """
        with self._database.begin() as connection:
            row = PIECES.row(connection, piece_id, owner)
            values = _values(connection, request, row.owner)
            if (row.drawer_id, row.state) != (request.drawer, request.state):
                values["placement"] = _place(connection, request)
            PIECES.change(connection, piece_id, owner, values, revision)
            touch_drawers(connection, {row.drawer_id, request.drawer})
            return piece_of(PIECES.row(connection, piece_id, owner))

    def remove(self, piece_id: str, owner: str | None, revision: int | None = None) -> None:
        """Delete a piece, as one that is thrown away; raise as `replace`."""
        with self._database.begin() as connection:
            row = PIECES.row(connection, piece_id, owner)
            PIECES.remove(connection, piece_id, owner, revision)
            touch_drawers(connection, {row.drawer_id})

    def of_drawer(self, drawer_id: str) -> Sequence[StoredPiece]:
        """Return all pieces of a drawer, oldest first."""
        with self._database.connect() as connection:
            return pieces_where(connection, PieceRow.drawer_id == drawer_id)

    def unused(self, owner: str) -> Sequence[StoredPiece]:
        """Return the spare and retired pieces of an owner, spare ones first, then oldest first."""
        conditions = PieceRow.owner == owner, PieceRow.state.in_(("spare", "retired"))
        with self._database.connect() as connection:
            return pieces_where(connection, *conditions, order=(PieceRow.state.desc(),), limit=_MOST_UNUSED)

    def placed_numbers(self, drawer_ids: Collection[str]) -> dict[str, set[int]]:
        """Return the indices of the places of drawers at which a piece lies, by drawer."""
        numbers: dict[str, set[int]] = {drawer_id: set() for drawer_id in drawer_ids}
        query = select(PieceRow.drawer_id, PieceRow.placement).where(
            PieceRow.drawer_id.in_(list(drawer_ids)), PieceRow.state == "placed", PieceRow.placement.is_not(None)
        )
        with self._database.connect() as connection:
            for drawer_id, number in connection.execute(query):
                numbers[str(drawer_id)].add(int(number or 0))
        return numbers


def pieces_where(
    connection: Connection, *conditions: Any, order: Sequence[Any] = (), limit: int | None = None
) -> list[StoredPiece]:
    """Return the pieces that meet all conditions, in this order, and oldest first where that leaves it open."""
    query = select(*PieceRow.__table__.columns).where(*conditions).order_by(*order, PieceRow.id).limit(limit)
    return [piece_of(row) for row in connection.execute(query)]


def _place(connection: Connection, request: PieceRequest) -> int | None:
    """Return the first free place of a placed piece's shape in its drawer's layout, None without one."""
    if request.state != "placed" or request.shape is None:
        return None
    layout = connection.scalar(select(DrawerRow.layout).where(DrawerRow.id == request.drawer))
    if layout is None:
        return None
    manifest = Manifest.model_validate_json(layout)
    shapes = {part.mark: part.shape for part in manifest.parts}
    query = select(PieceRow.placement).where(PieceRow.drawer_id == request.drawer, PieceRow.state == "placed")
    taken = set(connection.scalars(query))
    places = enumerate(manifest.drawers[0].placements)
    return next(
        (number for number, place in places if shapes[place.mark] == request.shape and number not in taken), None
    )


def piece_values(request: PieceRequest) -> dict[str, Any]:
    """Return what a row has of the description of a piece."""
    names = ("mark", "kind", "name", "digest", "shape", "state", "note")
    return {"drawer_id": request.drawer, **{name: getattr(request, name) for name in names}}


def _values(connection: Connection, request: PieceRequest, owner: str) -> dict[str, Any]:
    if request.drawer is not None:
        DRAWERS.row(connection, request.drawer, owner)
    return piece_values(request)
