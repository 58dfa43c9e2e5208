"""Rows that belong to an owner and carry a revision: what drawers, things and pieces have in common."""

from collections.abc import Iterable, Mapping
from typing import Any, Final, TypeAlias, cast

from sqlalchemy import Connection, CursorResult, Select, delete, func, insert, select, update

from worker.jobs.common.errors import PreconditionFailed, QuotaReached
from worker.jobs.common.ids import new_id
from worker.jobs.database.db_clock import utc_now
from worker.jobs.database.tables import DrawerRow, PieceRow, ThingRow
from worker.spec.errors import DrawerwrightError

__all__ = ["MOST_ROWS", "OwnedRows", "OwnedTable"]

OwnedTable: TypeAlias = type[DrawerRow] | type[ThingRow] | type[PieceRow]

#: Most rows that one owner may have of each kind.
MOST_ROWS: Final[Mapping[str, int]] = {"drawers": 2_000, "things": 50_000, "pieces": 200_000}


class OwnedRows:
    """Reads and changes the rows of one table; an ``owner`` of None stands for all owners."""

    def __init__(self, table: OwnedTable, not_found: type[DrawerwrightError]) -> None:
        """Use this table; ``not_found`` is the error about a row that is missing or has another owner."""
        self._table = table
        self._not_found = not_found

    def row(self, connection: Connection, row_id: str, owner: str | None) -> Any:
        """Return the row, or raise the error about a missing one."""
        row = connection.execute(self._rows(owner).where(self._table.id == row_id)).one_or_none()
        if row is None:
            raise self._not_found(value=row_id)
        return row

    def rows(
        self, connection: Connection, owner: str | None, *conditions: Any, limit: int, after: str | None
    ) -> Iterable[Any]:
        """Return up to ``limit`` rows, newest first, starting after the one with the id ``after``."""
        query = self._rows(owner).where(*conditions).order_by(self._table.id.desc()).limit(limit)
        return connection.execute(query if after is None else query.where(self._table.id < after))

    def add(self, connection: Connection, owner: str, values: Mapping[str, Any]) -> str:
        """Insert a row; return its id.

        Raises:
            QuotaReached: if the owner has as many as permitted.
        """
        kind = self._table.__tablename__
        count = connection.scalar(select(func.count()).where(self._table.owner == owner)) or 0
        if count >= MOST_ROWS[kind]:
            limit = f"{MOST_ROWS[kind]} {kind}"
            raise QuotaReached(f"The maximum number of {kind} is reached.", value=count, limit=limit,
                remedy=f"Delete some: DELETE /v1/{kind}/{{id}}.")  # fmt: skip
        row_id, now = new_id(), utc_now()
        connection.execute(insert(self._table).values(id=row_id, owner=owner, created=now, updated=now, **values))
        return row_id

    def change(
        self, connection: Connection, row_id: str, owner: str | None, values: Mapping[str, Any], revision: int | None
    ) -> None:
        """Change a row, if ``revision`` is None or its current one.

        Raises:
            PreconditionFailed: if it has another revision; also the error about a missing row.
        """
        self.row(connection, row_id, owner)
        changed = {**values, "updated": utc_now(), "revision": self._table.revision + 1}
        statement = update(self._table).where(*self._this(row_id, revision)).values(**changed)
        self._check(connection.execute(statement), revision)

    def remove(self, connection: Connection, row_id: str, owner: str | None, revision: int | None) -> None:
        """Delete a row, if ``revision`` is None or its current one; raise as `change`."""
        self.row(connection, row_id, owner)
        self._check(connection.execute(delete(self._table).where(*self._this(row_id, revision))), revision)

    def _rows(self, owner: str | None) -> Select[Any]:
        query = select(*self._table.__table__.columns)
        return query if owner is None else query.where(self._table.owner == owner)

    def _this(self, row_id: str, revision: int | None) -> tuple[Any, ...]:
        same = self._table.id == row_id
        return (same,) if revision is None else (same, self._table.revision == revision)

    def _check(self, result: Any, revision: int | None) -> None:
        if cast("CursorResult[Any]", result).rowcount != 1:
            raise PreconditionFailed(limit=f"revision {revision}", remedy="Get it again, and repeat the change.")
