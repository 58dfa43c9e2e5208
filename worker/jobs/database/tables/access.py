"""The tables of callers: API keys, what each used in a day, and requests that must not be carried out twice."""

from datetime import datetime

from sqlalchemy import Index, Text, types
from sqlalchemy.orm import Mapped, mapped_column

from worker.jobs.database.tables.base import Base, UtcDateTime


class ApiKeyRow(Base):
    """An API key: its scopes and the digest of its secret, which is not stored."""

    __tablename__ = "keys"

    id: Mapped[str] = mapped_column(Text, primary_key=True)
    name: Mapped[str] = mapped_column(Text)
    digest: Mapped[str] = mapped_column(Text)
    scopes: Mapped[list[str]] = mapped_column(types.JSON)
    quotas: Mapped[dict[str, int]] = mapped_column(types.JSON)
    created: Mapped[datetime] = mapped_column(UtcDateTime)
    expires: Mapped[datetime | None] = mapped_column(UtcDateTime, default=None)
    revoked: Mapped[datetime | None] = mapped_column(UtcDateTime, default=None)
    #: To the hour: enough to find unused keys, without tracking their users.
    last_used: Mapped[datetime | None] = mapped_column(UtcDateTime, default=None)


class DailyUsageRow(Base):
    """The number of jobs that an owner submitted on one day (UTC), including deleted ones."""

    __tablename__ = "usage"

    owner: Mapped[str] = mapped_column(Text, primary_key=True)
    day: Mapped[str] = mapped_column(Text, primary_key=True)
    jobs: Mapped[int] = mapped_column(default=0)


class IdempotencyRow(Base):
    """An idempotency key, and what its request created."""

    __tablename__ = "repeats"

    owner: Mapped[str] = mapped_column(Text, primary_key=True)
    key: Mapped[str] = mapped_column(Text, primary_key=True)
    #: Digest of the request.
    fingerprint: Mapped[str] = mapped_column(Text)
    #: Id of the job or batch that was created.
    made: Mapped[str] = mapped_column(Text)
    created: Mapped[datetime] = mapped_column(UtcDateTime)

    __table_args__ = (Index("repeats_by_age", "created"),)
