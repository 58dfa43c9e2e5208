"""What an error of the database says of the record: that it is full, busy or away. Anything else is a fault of ours."""

import sqlite3
from typing import Final

from sqlalchemy.exc import DBAPIError

from api.http.errors import RecordBusy, RecordFull, ServiceNotReady
from worker.spec.errors import DrawerwrightError

__all__ = ["WAITS", "fault_of"]

#: Seconds after which another try may help, by what is wrong.
WAITS: Final[dict[type[DrawerwrightError], int]] = {RecordFull: 60, RecordBusy: 1, ServiceNotReady: 5}

#: By SQLite's primary result code. A disk that is full while a journal is opened is told as an I/O error.
_SQLITE: Final[dict[int, type[DrawerwrightError]]] = {
    sqlite3.SQLITE_FULL: RecordFull,
    sqlite3.SQLITE_BUSY: RecordBusy,
    sqlite3.SQLITE_LOCKED: RecordBusy,
    sqlite3.SQLITE_IOERR: ServiceNotReady,
    sqlite3.SQLITE_CANTOPEN: ServiceNotReady,
}

#: By SQLSTATE: its first five, or two, characters (PostgreSQL, appendix A).
_POSTGRESQL: Final[dict[str, type[DrawerwrightError]]] = {
    "53100": RecordFull,
    "55P03": RecordBusy,
    "40": RecordBusy,
    "53": ServiceNotReady,
    "57": ServiceNotReady,
    "08": ServiceNotReady,
}

_REMEDIES: Final[dict[type[DrawerwrightError], str]] = {
    RecordFull: "Remove jobs that nobody wants any more, or give the disk more room; then send it again.",
    RecordBusy: "Send it again.",
    ServiceNotReady: "Send it again.",
}


def fault_of(error: DBAPIError) -> DrawerwrightError | None:
    """Return what a caller is told of this error; None where it is no state of the record."""
    code = getattr(error.orig, "sqlite_errorcode", None)
    state = getattr(error.orig, "sqlstate", None) or ""
    if code is not None:
        kind = _SQLITE.get(code & 0xFF)  # the extended codes have the primary one in their low byte
    elif error.connection_invalidated:
        kind = ServiceNotReady
    else:
        kind = _POSTGRESQL.get(state) or _POSTGRESQL.get(state[:2])
    return None if kind is None else kind(remedy=_REMEDIES[kind])
