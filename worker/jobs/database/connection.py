"""Opens the database: SQLite in a file, or PostgreSQL."""

import time
from pathlib import Path
from typing import Any, Final

from sqlalchemy import URL, Connection, Engine, create_engine, event
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.engine import make_url
from sqlalchemy.exc import ArgumentError, DBAPIError, NoSuchModuleError, OperationalError

from worker.jobs.common.errors import SettingsError
from worker.jobs.database.migrate import migrate
from worker.jobs.database.tables import Base

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
            Path(parsed.database or "").parent.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise SettingsError("The folder of the database cannot be created.", value=shown) from error
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


def upsert(bind: Engine | Connection, table: type[Base]) -> Any:
    """Return an INSERT of this database's dialect, which has ``on_conflict_do_...``."""
    return (postgresql if bind.dialect.name == "postgresql" else sqlite).insert(table)


def _prepare(engine: Engine, shown: str) -> None:
    """Migrate the tables, retrying while other processes do the same."""
    for left in reversed(range(_ATTEMPTS)):
        try:
            migrate(engine)
        except DBAPIError as error:  # another process creates the same tables; the next attempt finds them
            if left == 0 or (isinstance(error, OperationalError) and engine.dialect.name == "postgresql"):
                raise SettingsError("The database cannot be opened.", value=shown) from error
            time.sleep(_PAUSE)
        else:
            return


def _set_up_sqlite(connection: Any, _: object) -> None:
    _set(connection, "journal_mode = WAL", "synchronous = NORMAL", "foreign_keys = ON")


def _set_up_durable_sqlite(connection: Any, _: object) -> None:
    _set(connection, "synchronous = FULL")


def _set(connection: Any, *pragmas: str) -> None:
    cursor = connection.cursor()
    for pragma in pragmas:
        cursor.execute(f"PRAGMA {pragma}")
    cursor.close()
