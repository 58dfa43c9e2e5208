"""Opens the database: SQLite in a file, or PostgreSQL."""

import sqlite3
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Final

from sqlalchemy import URL, Connection, Engine, create_engine, event
from sqlalchemy.dialects import sqlite
from sqlalchemy.engine import make_url
from sqlalchemy.exc import ArgumentError, DBAPIError, NoSuchModuleError, OperationalError

from worker.jobs.common.errors import SettingsError
from worker.jobs.common.private_files import create_private
from worker.jobs.database.migrate import migrate
from worker.jobs.database.tables import Base

#: The way back from a damaged database.
RESTORE: Final = (
    "Stop the service, move the data folder away, and restore the latest backup: drawerwright restore FILE.zip."
)

#: Attempts at a migration while other processes migrate too, and the seconds between two.
_ATTEMPTS: Final = 20
_PAUSE: Final = 0.05

#: Seconds that SQLite waits for the write lock.
_BUSY: Final = 15


def open_database(url: str, *, durable: bool = False) -> Engine:
    """Open the database and bring its tables up to date.

    Args:
        url: SQLAlchemy URL.
        durable: whether commits to SQLite survive a power failure, as they do in PostgreSQL; otherwise the last
            commits may be lost, without corruption.

    Raises:
        SettingsError: if the URL is invalid or the database cannot be opened.
    """
    try:
        parsed = make_url(url)
        backend = parsed.get_backend_name()
    except (ArgumentError, NoSuchModuleError) as error:
        raise SettingsError(
            "The database URL is invalid.", limit="sqlite:///... or postgresql+psycopg://..."
        ) from error
    shown = parsed.render_as_string(hide_password=True)
    if backend == "sqlite":
        try:
            _create_file(parsed)
        except OSError as error:
            raise SettingsError("The database cannot be created.", value=shown) from error
        engine = _sqlite(parsed, durable=durable)
    elif backend == "postgresql":
        engine = create_engine(
            parsed.set(drivername="postgresql+psycopg"), pool_pre_ping=True, connect_args={"connect_timeout": 5}
        )
    else:
        raise SettingsError("This database is not supported.", value=backend, limit="sqlite or postgresql")
    try:
        _prepare(engine, shown)
    except BaseException:
        engine.dispose()
        raise
    return engine


def _sqlite(url: URL, *, durable: bool) -> Engine:
    engine = create_engine(url, connect_args={"timeout": _BUSY})
    event.listen(engine, "connect", _set_up_sqlite)
    if durable:
        event.listen(engine, "connect", _set_up_durable_sqlite)
    return engine


@contextmanager
def snapshot(engine: Engine) -> Iterator[Connection]:
    """Give a connection whose queries all see the same state of the database."""
    with engine.connect() as connection:
        if connection.dialect.name == "postgresql":
            yield connection.execution_options(isolation_level="REPEATABLE READ")
        else:
            connection.exec_driver_sql("BEGIN")  # the driver begins a transaction before changes only
            yield connection


def upsert(bind: Engine | Connection, table: type[Base]) -> Any:
    """Return an INSERT of this database's dialect, which has ``on_conflict_do_...``."""
    if bind.dialect.name == "postgresql":
        from sqlalchemy.dialects import postgresql  # noqa: PLC0415 - 1.8 MB in each process

        return postgresql.insert(table)
    return sqlite.insert(table)


def _prepare(engine: Engine, shown: str) -> None:
    """Migrate the tables, retrying while other processes do the same."""
    for left in reversed(range(_ATTEMPTS)):
        try:
            migrate(engine)
        except sqlite3.DatabaseError as error:  # in the listener that sets up a connection
            raise _unusable(error, shown) from error
        except DBAPIError as error:  # another process creates the same tables; the next attempt finds them
            if (
                left == 0
                or is_damage(error)
                or (isinstance(error, OperationalError) and engine.dialect.name == "postgresql")
            ):
                raise _unusable(error.orig, shown) from error
            time.sleep(_PAUSE)
        else:
            return


def is_damage(error: BaseException | None) -> bool:
    """Return whether the file of the database is damaged, or is no database."""
    cause = error.orig if isinstance(error, DBAPIError) else error
    return getattr(cause, "sqlite_errorcode", 0) & 0xFF in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB)


def _unusable(error: BaseException | None, shown: str) -> SettingsError:
    if is_damage(error):
        return SettingsError("The database file is damaged.", value=shown, remedy=RESTORE)
    return SettingsError("The database cannot be opened.", value=shown)


def _create_file(url: URL) -> None:
    """Create the file of a SQLite database, and its folder, so that no other user can read them."""
    if not url.database or url.database.startswith((":memory:", "file:")):
        return
    path = Path(url.database)
    path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
    create_private(path)  # the files beside it get the same mode from SQLite


def _set_up_sqlite(connection: Any, _: object) -> None:
    _set(connection, "journal_mode = WAL", "synchronous = NORMAL", "foreign_keys = ON")


def _set_up_durable_sqlite(connection: Any, _: object) -> None:
    _set(connection, "synchronous = FULL")


def _set(connection: Any, *pragmas: str) -> None:
    cursor = connection.cursor()
    for pragma in pragmas:
        cursor.execute(f"PRAGMA {pragma}")
    cursor.close()
