"""The clock that leases are told by: one for all who share a record.

With PostgreSQL it is the server's, so that the clocks of the machines around it do not matter. With SQLite all
processes are on one machine and its clock is the only one. That one may be set: a lease that reaches further into the
future than any that is given was written before the clock went back, and counts as run out.
"""

from datetime import UTC, datetime, timedelta
from typing import Any, Final

from sqlalchemy import ColumnElement, Engine, Interval, func, literal, or_, type_coerce
from sqlalchemy.orm import InstrumentedAttribute

from worker.jobs.database.tables import UtcDateTime

#: How many times its own length a lease may reach into the future before it is one from before the clock went back.
_REACH: Final = 2.0

#: Seconds by which a moment may seem to be from the future: clocks are read one after the other.
CLOCK_TOLERANCE: Final = 2.0


class DatabaseClock:
    """Moments as expressions for statements on one database."""

    def __init__(self, engine: Engine) -> None:
        """Tell the time of this database."""
        self._server = engine.dialect.name == "postgresql"

    def at(self, seconds: float = 0.0) -> ColumnElement[datetime]:
        """Return the moment that is this many seconds from now."""
        after = timedelta(seconds=seconds)
        if self._server:
            moment: Any = func.clock_timestamp() + literal(after, Interval)
            return type_coerce(moment, UtcDateTime)
        return literal(utc_now() + after, UtcDateTime)

    def expired(self, lease: InstrumentedAttribute[Any], seconds: float) -> ColumnElement[bool]:
        """Say whether a lease of this length has run out, or is from before the clock went back."""
        return or_(lease < self.at(), lease > self.at(_REACH * seconds + 1.0))

    def stale(self, moment: InstrumentedAttribute[Any], seconds: float) -> ColumnElement[bool]:
        """Say whether nothing was noted in the last ``seconds``, or only before the clock went back."""
        return or_(moment.is_(None), moment < self.at(-seconds), moment > self.at(CLOCK_TOLERANCE))


def utc_now() -> datetime:
    """Return the time of this machine."""
    return datetime.now(UTC)
