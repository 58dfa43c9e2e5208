"""The base of all tables, and the type of their times."""

from datetime import UTC, datetime

from sqlalchemy import DateTime, Dialect, types
from sqlalchemy.orm import DeclarativeBase


class UtcDateTime(types.TypeDecorator[datetime]):
    """A UTC timestamp; SQLite stores no time zone, so reading adds it."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:  # noqa: ARG002 - SQLAlchemy's form
        """Convert to UTC for storage."""
        return None if value is None else value.astimezone(UTC)

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:  # noqa: ARG002 - SQLAlchemy's form
        """Return the stored time in UTC."""
        if value is None:
            return None
        return value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)


class Base(DeclarativeBase):
    """Declarative base of all tables."""
