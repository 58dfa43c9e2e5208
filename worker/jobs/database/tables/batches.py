"""The tables of batches: their entries, files and receivers of events."""

from datetime import datetime
from typing import Any

from sqlalchemy import BigInteger, ForeignKey, Index, Text, types
from sqlalchemy.orm import Mapped, mapped_column

from worker.jobs.database.tables.base import Base, UtcDateTime


class BatchRow(Base):
    """A batch of jobs that were submitted together."""

    __tablename__ = "batches"

    id: Mapped[str] = mapped_column(Text, primary_key=True)
    owner: Mapped[str] = mapped_column(Text)
    name: Mapped[str] = mapped_column(Text)
    #: "running", "gathering" (all jobs have ended) or "ended".
    state: Mapped[str] = mapped_column(Text)
    created: Mapped[datetime] = mapped_column(UtcDateTime)
    finished: Mapped[datetime | None] = mapped_column(UtcDateTime, default=None)
    enqueued: Mapped[datetime | None] = mapped_column(UtcDateTime, default=None)
    claim: Mapped[str | None] = mapped_column(Text, default=None)
    lease: Mapped[datetime | None] = mapped_column(UtcDateTime, default=None)
    attempts: Mapped[int] = mapped_column(default=0)
    #: Why the batch has no manifest.
    problem: Mapped[dict[str, Any] | None] = mapped_column(types.JSON(none_as_null=True), default=None)
    #: Total size of its own files.
    bytes: Mapped[int] = mapped_column(BigInteger, default=0, server_default="0")

    __table_args__ = (
        Index("batches_by_state", "state", "id"),
        Index("batches_by_owner", "owner", "id"),
        Index("batches_by_end", "finished"),
    )


class BatchEntryRow(Base):
    """One spec of a batch: its job, or why it was rejected."""

    __tablename__ = "batch_entries"

    batch_id: Mapped[str] = mapped_column(ForeignKey("batches.id", ondelete="CASCADE"), primary_key=True)
    number: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    name: Mapped[str | None] = mapped_column(Text)
    #: No foreign key: the job may be deleted before the batch.
    job_id: Mapped[str | None] = mapped_column(Text)
    problem: Mapped[dict[str, Any] | None] = mapped_column(types.JSON(none_as_null=True), default=None)

    __table_args__ = (Index("batch_entries_by_job", "job_id"),)


class BatchWebhookRow(Base):
    """A webhook that a batch was submitted with."""

    __tablename__ = "batch_webhooks"

    batch_id: Mapped[str] = mapped_column(ForeignKey("batches.id", ondelete="CASCADE"), primary_key=True)
    webhook_id: Mapped[str] = mapped_column(ForeignKey("webhooks.id", ondelete="CASCADE"), primary_key=True)


class BatchFileRow(Base):
    """A file of a batch itself."""

    __tablename__ = "batch_files"

    batch_id: Mapped[str] = mapped_column(ForeignKey("batches.id", ondelete="CASCADE"), primary_key=True)
    name: Mapped[str] = mapped_column(Text, primary_key=True)
    media_type: Mapped[str] = mapped_column(Text)
    bytes: Mapped[int] = mapped_column(BigInteger)
    sha256: Mapped[str] = mapped_column(Text)
    key: Mapped[str] = mapped_column(Text)

    __table_args__ = (Index("batch_files_by_key", "key"),)
