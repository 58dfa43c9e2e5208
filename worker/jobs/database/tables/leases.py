"""The tables of the processes: the lease of the leader, and heartbeats."""

from datetime import datetime

from sqlalchemy import Text
from sqlalchemy.orm import Mapped, mapped_column

from worker.jobs.database.tables.base import Base, UtcDateTime


class LeaderLeaseRow(Base):
    """A leader lease: the process that does a kind of periodic work, and its cursor."""

    __tablename__ = "leaders"

    name: Mapped[str] = mapped_column(Text, primary_key=True)
    holder: Mapped[str | None] = mapped_column(Text, default=None)
    lease: Mapped[datetime] = mapped_column(UtcDateTime)
    place: Mapped[str | None] = mapped_column(Text, default=None)


class HeartbeatRow(Base):
    """A worker, and the time of its last heartbeat."""

    __tablename__ = "heartbeats"

    worker: Mapped[str] = mapped_column(Text, primary_key=True)
    seen: Mapped[datetime] = mapped_column(UtcDateTime)
