"""The tables of jobs: their files, print events, and links to their calendars."""

from datetime import datetime
from typing import Any

from sqlalchemy import BigInteger, ForeignKey, Index, Text, text, types
from sqlalchemy.orm import Mapped, mapped_column

from worker.jobs.database.tables.base import Base, UtcDateTime


class JobRow(Base):
    """A job."""

    __tablename__ = "jobs"

    id: Mapped[str] = mapped_column(Text, primary_key=True)
    name: Mapped[str] = mapped_column(Text)
    state: Mapped[str] = mapped_column(Text)
    spec: Mapped[str] = mapped_column(Text)
    created: Mapped[datetime] = mapped_column(UtcDateTime)
    updated: Mapped[datetime] = mapped_column(UtcDateTime)
    started: Mapped[datetime | None] = mapped_column(UtcDateTime, default=None)
    finished: Mapped[datetime | None] = mapped_column(UtcDateTime, default=None)
    #: When a message for the job was last published.
    enqueued: Mapped[datetime | None] = mapped_column(UtcDateTime, default=None)
    #: Claim token of the attempt that holds the job, and when its lease expires. A later claim fences off earlier ones.
    claim: Mapped[str | None] = mapped_column(Text, default=None)
    lease: Mapped[datetime | None] = mapped_column(UtcDateTime, default=None)
    attempts: Mapped[int] = mapped_column(default=0)
    progress_done: Mapped[int] = mapped_column(default=0)
    progress_total: Mapped[int] = mapped_column(default=0)
    progress_now: Mapped[str | None] = mapped_column(Text, default=None)
    problem: Mapped[dict[str, Any] | None] = mapped_column(types.JSON(none_as_null=True), default=None)
    #: Why the last unfinished attempt stopped.
    cause: Mapped[str | None] = mapped_column(Text, default=None)
    #: How many attempts met an outage (they are not counted), and when the next may start.
    outages: Mapped[int] = mapped_column(default=0, server_default="0")
    retry_at: Mapped[datetime | None] = mapped_column(UtcDateTime, default=None)

    #: The owner: the id of an API key, or "local" on a service without keys.
    owner: Mapped[str] = mapped_column(Text, default="local")
    #: Total size of its files, including those shared with other jobs.
    bytes: Mapped[int] = mapped_column(BigInteger, default=0)
    #: What its results are expected to take while it is active.
    expected_bytes: Mapped[int] = mapped_column(BigInteger, default=0, server_default="0")
    notes: Mapped[str | None] = mapped_column(Text, default=None)
    #: Each between line feeds, so that one is found as a part of the text.
    tags: Mapped[str] = mapped_column(Text, default="", server_default="")
    #: When it was deleted: it is invisible from then on, and a sweep removes its files and rows.
    deleted: Mapped[datetime | None] = mapped_column(UtcDateTime, default=None)
    #: Increases with every visible change; other updates keep it explicitly.
    revision: Mapped[int] = mapped_column(default=1, onupdate=text("revision + 1"))

    __table_args__ = (
        Index("jobs_by_state", "state", "id"),
        Index("jobs_by_owner", "owner", "id"),
        Index("jobs_by_change", "updated"),
    )


class JobFileRow(Base):
    """A file of a job, including its manifest and bundle."""

    __tablename__ = "job_files"

    job_id: Mapped[str] = mapped_column(ForeignKey("jobs.id", ondelete="CASCADE"), primary_key=True)
    name: Mapped[str] = mapped_column(Text, primary_key=True)
    media_type: Mapped[str] = mapped_column(Text)
    bytes: Mapped[int] = mapped_column(BigInteger)
    sha256: Mapped[str] = mapped_column(Text)
    key: Mapped[str] = mapped_column(Text)

    __table_args__ = (Index("job_files_by_key", "key"),)


class JobWebhookRow(Base):
    """A webhook that a job was submitted with."""

    __tablename__ = "job_webhooks"

    job_id: Mapped[str] = mapped_column(ForeignKey("jobs.id", ondelete="CASCADE"), primary_key=True)
    webhook_id: Mapped[str] = mapped_column(ForeignKey("webhooks.id", ondelete="CASCADE"), primary_key=True)


class PrintEventRow(Base):
    """A print event of a job, in order of arrival. Rows are inserted, and marked when they are withdrawn."""

    __tablename__ = "print_events"

    job_id: Mapped[str] = mapped_column(ForeignKey("jobs.id", ondelete="CASCADE"), primary_key=True)
    number: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    #: Id from the caller, or a generated one; it makes recording an event idempotent.
    id: Mapped[str] = mapped_column(Text)
    fingerprint: Mapped[str] = mapped_column(Text)
    recorded: Mapped[datetime] = mapped_column(UtcDateTime)
    at: Mapped[datetime] = mapped_column(UtcDateTime)
    outcome: Mapped[str] = mapped_column(Text)
    run: Mapped[int | None] = mapped_column(default=None)
    mark: Mapped[str | None] = mapped_column(Text, default=None)
    count: Mapped[int | None] = mapped_column(default=None)
    failed: Mapped[dict[str, int]] = mapped_column(types.JSON)
    #: What the coupon showed, mm; who printed the run, and how long it took, s.
    clearance: Mapped[float | None] = mapped_column(default=None)
    printer: Mapped[str | None] = mapped_column(Text, default=None)
    seconds: Mapped[float | None] = mapped_column(default=None)
    #: Number of the event that this one withdraws, and of the event that withdrew this one.
    event: Mapped[int | None] = mapped_column(default=None)
    withdrawn_by: Mapped[int | None] = mapped_column(default=None)
    #: The estimated print time of the run, s.
    estimate: Mapped[float | None] = mapped_column(default=None)
    note: Mapped[str | None] = mapped_column(Text, default=None)
    #: Pieces and runs that remain after the event.
    pieces_left: Mapped[int] = mapped_column()
    runs_left: Mapped[int] = mapped_column()

    __table_args__ = (Index("print_events_by_id", "job_id", "id", unique=True),)


class PrintStateRow(Base):
    """The print progress of a job after its last event, and whether run files are to be written."""

    __tablename__ = "print_states"

    job_id: Mapped[str] = mapped_column(ForeignKey("jobs.id", ondelete="CASCADE"), primary_key=True)
    #: Number of the last event, for optimistic locking.
    revision: Mapped[int] = mapped_column()
    progress: Mapped[dict[str, Any]] = mapped_column(types.JSON)
    #: A repacked run has no file yet.
    repack: Mapped[bool] = mapped_column(default=False)
    enqueued: Mapped[datetime | None] = mapped_column(UtcDateTime, default=None)
    attempts: Mapped[int] = mapped_column(default=0)
    problem: Mapped[dict[str, Any] | None] = mapped_column(types.JSON(none_as_null=True), default=None)
    #: How often all attempts failed, and when they are retried; null: after the next event that repacks runs.
    rounds: Mapped[int] = mapped_column(default=0, server_default="0")
    retry: Mapped[datetime | None] = mapped_column(UtcDateTime, default=None)

    __table_args__ = (Index("print_states_by_repack", "repack", "job_id"),)


class CalendarLinkRow(Base):
    """The secret link of a job's calendar: the digest of its token, and who created it."""

    __tablename__ = "schedule_links"

    job_id: Mapped[str] = mapped_column(ForeignKey("jobs.id", ondelete="CASCADE"), primary_key=True)
    digest: Mapped[str] = mapped_column(Text)
    #: The id of an API key, or "local"; the link is valid as long as the key.
    maker: Mapped[str] = mapped_column(Text)
    created: Mapped[datetime] = mapped_column(UtcDateTime)
