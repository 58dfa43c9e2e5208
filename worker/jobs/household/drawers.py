"""The drawers of a household."""

from collections import Counter
from collections.abc import Collection
from typing import Any

from sqlalchemy import Connection, Engine, func, select, update

from worker.jobs.common.errors import DrawerNotFound
from worker.jobs.database.db_clock import utc_now
from worker.jobs.database.tables import DrawerRow, PieceRow, ThingRow
from worker.jobs.household.models import StoredDrawer, drawer_of
from worker.jobs.household.owned_rows import OwnedRows
from worker.jobs.records.job_filters import contains, has_tag
from worker.jobs.records.row_mapping import tags_text
from worker.spec.requests.household import DrawerRequest

__all__ = ["DRAWERS", "DrawerRecords", "drawer_values", "touch_drawers"]

#: The rows of drawers.
DRAWERS = OwnedRows(DrawerRow, DrawerNotFound)


class DrawerRecords:
    """Reads and writes drawers; an ``owner`` of None stands for all owners."""

    def __init__(self, database: Engine) -> None:
        """Use this database."""
        self._database = database

    def create(self, owner: str, request: DrawerRequest) -> StoredDrawer:
        """Add a drawer.

        Raises:
            QuotaReached: if the owner has the maximum number of drawers.
        """
        with self._database.begin() as connection:
            drawer_id = DRAWERS.add(connection, owner, drawer_values(request))
            return drawer_of(DRAWERS.row(connection, drawer_id, owner))

    def find(self, drawer_id: str, owner: str | None) -> StoredDrawer:
        """Return a drawer.

        Raises:
            DrawerNotFound: if it does not exist, or has another owner.
        """
        with self._database.connect() as connection:
            return drawer_of(DRAWERS.row(connection, drawer_id, owner))

    def by_id(self, drawer_ids: Collection[str]) -> dict[str, StoredDrawer]:
        """Return those of these drawers that exist, by id, whoever owns them."""
        query = select(*DrawerRow.__table__.columns).where(DrawerRow.id.in_(list(drawer_ids)))
        with self._database.connect() as connection:
            return {row.id: drawer_of(row) for row in connection.execute(query)}

    def list(
        self,
        owner: str | None,
        limit: int,
        after: str | None = None,
        *,
        name: str | None = None,
        tag: str | None = None,
    ) -> "list[StoredDrawer]":
        """Return up to ``limit`` drawers, newest first; ``name`` is a part of the name."""
        conditions = () if name is None else (contains(DrawerRow.name, name),)
        conditions += () if tag is None else (has_tag(DrawerRow.tags, tag),)
        with self._database.connect() as connection:
            rows = DRAWERS.rows(connection, owner, *conditions, limit=limit, after=after)
            return [drawer_of(row) for row in rows]

    def replace(
        self, drawer_id: str, owner: str | None, request: DrawerRequest, revision: int | None = None
    ) -> StoredDrawer:
        """Replace what describes a drawer; its layout and pieces stay.

        Raises:
            DrawerNotFound: if it does not exist, or has another owner.
            PreconditionFailed: if ``revision`` is given and is not its current one.
        """
        with self._database.begin() as connection:
            DRAWERS.change(connection, drawer_id, owner, drawer_values(request), revision)
            return drawer_of(DRAWERS.row(connection, drawer_id, owner))

    def remove(self, drawer_id: str, owner: str | None, revision: int | None = None) -> None:
        """Delete a drawer: its pieces become spare, and its things lie in no drawer; raise as `replace`."""
        with self._database.begin() as connection:
            DRAWERS.row(connection, drawer_id, owner)
            _let_go(connection, drawer_id)
            DRAWERS.remove(connection, drawer_id, owner, revision)

    def piece_counts(self, drawer_ids: Collection[str]) -> dict[str, Counter[str]]:
        """Return the number of pieces in each state by drawer."""
        counts: dict[str, Counter[str]] = {drawer_id: Counter() for drawer_id in drawer_ids}
        query = (
            select(PieceRow.drawer_id, PieceRow.state, func.count())
            .where(PieceRow.drawer_id.in_(list(drawer_ids)))
            .group_by(PieceRow.drawer_id, PieceRow.state)
        )
        with self._database.connect() as connection:
            for drawer_id, state, count in connection.execute(query):
                counts[str(drawer_id)][state] = count
        return counts


def touch_drawers(connection: Connection, drawer_ids: Collection[str | None]) -> None:
    """Increase the revisions of drawers whose pieces changed."""
    changed = update(DrawerRow).where(DrawerRow.id.in_([name for name in drawer_ids if name is not None]))
    connection.execute(changed.values(updated=utc_now(), revision=DrawerRow.revision + 1))


def _let_go(connection: Connection, drawer_id: str) -> None:
    """Free the pieces and things of a drawer that is to be deleted."""
    freed = update(PieceRow).where(PieceRow.drawer_id == drawer_id)
    changed: dict[str, Any] = {"updated": utc_now(), "drawer_id": None}
    spare = {"state": "spare", "placement": None, "revision": PieceRow.revision + 1}
    connection.execute(freed.where(PieceRow.state.in_(("printed", "placed"))).values(**changed, **spare))
    connection.execute(freed.values(**changed, revision=PieceRow.revision + 1))
    things = update(ThingRow).where(ThingRow.drawer_id == drawer_id)
    connection.execute(things.values(**changed, revision=ThingRow.revision + 1))


def drawer_values(request: DrawerRequest) -> dict[str, Any]:
    """Return what a row has of the description of a drawer."""
    document = request.model_dump_json(exclude_unset=True)
    return {"name": request.name, "document": document, "tags": tags_text(request.tags)}
