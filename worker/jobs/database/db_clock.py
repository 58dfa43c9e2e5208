"""The database clock: the time source of all leases.

PostgreSQL uses the server's clock, so that the clocks of the workers' machines do not matter. With SQLite all processes
share one machine and its clock. If that clock is set back, existing leases lie too far in the future: a lease beyond
any length that is granted counts as expired.
"""

from datetime import UTC, datetime, timedelta
from typing import Any, Final

from sqlalchemy import ColumnElement, Engine, Interval, func, literal, or_, type_coerce
from sqlalchemy.orm import InstrumentedAttribute

from worker.jobs.database.tables import UtcDateTime

#: A lease further in the future than this multiple of its length was granted before the clock was set back.
_REACH: Final = 2.0

#: Seconds that a timestamp may lie in the future: the clock is read more than once.
CLOCK_TOLERANCE: Final = 2.0


class DatabaseClock:
    """Times as SQL expressions for one database."""

    def __init__(self, engine: Engine) -> None:
        """Use the clock of this database."""
        self._server = engine.dialect.name == "postgresql"

    def at(self, seconds: float = 0.0) -> ColumnElement[datetime]:
        """Return the time ``seconds`` from now."""
        after = timedelta(seconds=seconds)
        if self._server:
            moment: Any = func.clock_timestamp() + literal(after, Interval)
            return type_coerce(moment, UtcDateTime)
        return literal(utc_now() + after, UtcDateTime)

    def expired(self, lease: InstrumentedAttribute[Any], seconds: float) -> ColumnElement[bool]:
        """Return the condition that a lease of this length has expired, or predates a clock set back."""
        return or_(lease < self.at(), lease > self.at(_REACH * seconds + 1.0))

    def stale(self, moment: InstrumentedAttribute[Any], seconds: float) -> ColumnElement[bool]:
        """Return the condition that a timestamp is absent, older than ``seconds``, or predates a clock set back."""
        return or_(moment.is_(None), moment < self.at(-seconds), moment > self.at(CLOCK_TOLERANCE))


def utc_now() -> datetime:
    """Return the current time of this machine in UTC."""
    return datetime.now(UTC)
