"""Database errors that are no bug: the database is full, damaged, locked or unreachable."""

import sqlite3
from typing import Final

from sqlalchemy.exc import DBAPIError

from api.http.problems.errors import RecordBusy, RecordDamaged, RecordFull, ServiceNotReady
from worker.jobs.database.connection import RESTORE
from worker.spec.errors import DrawerwrightError

__all__ = ["RETRY_SECONDS", "error_of"]

#: Seconds after which a retry may succeed, by kind of error.
RETRY_SECONDS: Final[dict[type[DrawerwrightError], int]] = {
    RecordFull: 60,
    RecordDamaged: 600,
    RecordBusy: 1,
    ServiceNotReady: 5,
}

#: By SQLite's primary result code. A disk that is full when a journal is opened shows as an I/O error.
_SQLITE: Final[dict[int, type[DrawerwrightError]]] = {
    sqlite3.SQLITE_FULL: RecordFull,
    sqlite3.SQLITE_CORRUPT: RecordDamaged,
    sqlite3.SQLITE_NOTADB: RecordDamaged,
    sqlite3.SQLITE_BUSY: RecordBusy,
    sqlite3.SQLITE_LOCKED: RecordBusy,
    sqlite3.SQLITE_IOERR: ServiceNotReady,
    sqlite3.SQLITE_CANTOPEN: ServiceNotReady,
}

#: By the first five, or two, characters of the SQLSTATE (PostgreSQL, appendix A).
_POSTGRESQL: Final[dict[str, type[DrawerwrightError]]] = {
    "53100": RecordFull,
    "55P03": RecordBusy,
    "40": RecordBusy,
    "53": ServiceNotReady,
    "57": ServiceNotReady,
    "08": ServiceNotReady,
}

_REMEDIES: Final[dict[type[DrawerwrightError], str]] = {
    RecordFull: "Remove old jobs or enlarge the disk, then repeat the request.",
    RecordDamaged: RESTORE,
    RecordBusy: "Repeat the request.",
    ServiceNotReady: "Repeat the request.",
}


def error_of(error: DBAPIError) -> DrawerwrightError | None:
    """Return the error to report to the caller, or None where the database error is a bug of this program."""
    code = getattr(error.orig, "sqlite_errorcode", None)
    state = getattr(error.orig, "sqlstate", None) or ""
    if code is not None:
        kind = _SQLITE.get(code & 0xFF)  # the extended codes have the primary one in their low byte
    elif error.connection_invalidated:
        kind = ServiceNotReady
    else:
        kind = _POSTGRESQL.get(state) or _POSTGRESQL.get(state[:2])
    return None if kind is None else kind(remedy=_REMEDIES[kind])
