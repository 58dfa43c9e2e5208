"""The tables of the record: jobs, their files, the parts that were built, and the keys of those who may ask."""

from datetime import UTC, datetime
from typing import Any

from sqlalchemy import BigInteger, DateTime, Dialect, ForeignKey, Index, Text, text, types
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column


class UtcDateTime(types.TypeDecorator[datetime]):
    """A time in UTC. SQLite keeps no zone, so it is put back when read."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:  # noqa: ARG002 - SQLAlchemy's form
        """Write UTC."""
        return None if value is None else value.astimezone(UTC)

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:  # noqa: ARG002 - SQLAlchemy's form
        """Read UTC."""
        if value is None:
            return None
        return value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)


class Base(DeclarativeBase):
    """All tables."""


class JobRow(Base):
    """One job; the truth about it."""

    __tablename__ = "jobs"

    id: Mapped[str] = mapped_column(Text, primary_key=True)
    name: Mapped[str] = mapped_column(Text)
    state: Mapped[str] = mapped_column(Text)
    spec: Mapped[str] = mapped_column(Text)
    created: Mapped[datetime] = mapped_column(UtcDateTime)
    updated: Mapped[datetime] = mapped_column(UtcDateTime)
    started: Mapped[datetime | None] = mapped_column(UtcDateTime, default=None)
    finished: Mapped[datetime | None] = mapped_column(UtcDateTime, default=None)
    #: When the broker last took a message for the job.
    enqueued: Mapped[datetime | None] = mapped_column(UtcDateTime, default=None)
    #: Which attempt holds the job, and until when without a sign of life. A later claim fences an earlier one off.
    claim: Mapped[str | None] = mapped_column(Text, default=None)
    lease: Mapped[datetime | None] = mapped_column(UtcDateTime, default=None)
    attempts: Mapped[int] = mapped_column(default=0)
    progress_done: Mapped[int] = mapped_column(default=0)
    progress_total: Mapped[int] = mapped_column(default=0)
    progress_now: Mapped[str | None] = mapped_column(Text, default=None)
    problem: Mapped[dict[str, Any] | None] = mapped_column(types.JSON(none_as_null=True), default=None)
    #: Why the last attempt that did not come to an end stopped.
    cause: Mapped[str | None] = mapped_column(Text, default=None)

    #: Whose it is: a key's id, or "local" for whoever uses an open service on its own machine.
    owner: Mapped[str] = mapped_column(Text, default="local")
    #: What its files come to, those that it shares with other jobs among them.
    bytes: Mapped[int] = mapped_column(BigInteger, default=0)
    #: When it was removed: nobody sees it any more, and a sweep takes files and row away.
    deleted: Mapped[datetime | None] = mapped_column(UtcDateTime, default=None)
    #: Grows with every change that somebody can see; what is no such change keeps it by name.
    revision: Mapped[int] = mapped_column(default=1, onupdate=text("revision + 1"))

    __table_args__ = (
        Index("jobs_by_state", "state", "id"),
        Index("jobs_by_owner", "owner", "id"),
        Index("jobs_by_change", "updated"),
    )


class JobFileRow(Base):
    """One file of a job, the manifest and the bundle among them."""

    __tablename__ = "job_files"

    job_id: Mapped[str] = mapped_column(ForeignKey("jobs.id", ondelete="CASCADE"), primary_key=True)
    name: Mapped[str] = mapped_column(Text, primary_key=True)
    media_type: Mapped[str] = mapped_column(Text)
    bytes: Mapped[int] = mapped_column(BigInteger)
    sha256: Mapped[str] = mapped_column(Text)
    key: Mapped[str] = mapped_column(Text)

    __table_args__ = (Index("job_files_by_key", "key"),)


class PrintEventRow(Base):
    """What was said of printed pieces, in the order in which it came. Rows are only ever added."""

    __tablename__ = "print_events"

    job_id: Mapped[str] = mapped_column(ForeignKey("jobs.id", ondelete="CASCADE"), primary_key=True)
    number: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    #: The caller's own name for it, or one of ours; a second event of this name is the same or none.
    id: Mapped[str] = mapped_column(Text)
    fingerprint: Mapped[str] = mapped_column(Text)
    recorded: Mapped[datetime] = mapped_column(UtcDateTime)
    at: Mapped[datetime] = mapped_column(UtcDateTime)
    outcome: Mapped[str] = mapped_column(Text)
    run: Mapped[int | None] = mapped_column(default=None)
    mark: Mapped[str | None] = mapped_column(Text, default=None)
    count: Mapped[int | None] = mapped_column(default=None)
    failed: Mapped[dict[str, int]] = mapped_column(types.JSON)
    note: Mapped[str | None] = mapped_column(Text, default=None)
    #: Pieces and runs that were left after it.
    pieces_left: Mapped[int] = mapped_column()
    runs_left: Mapped[int] = mapped_column()

    __table_args__ = (Index("print_events_by_id", "job_id", "id", unique=True),)


class PrintStateRow(Base):
    """Where the printing of a job stands after its last event, and whether files of new runs are to be written."""

    __tablename__ = "print_states"

    job_id: Mapped[str] = mapped_column(ForeignKey("jobs.id", ondelete="CASCADE"), primary_key=True)
    #: The number of the last event; who writes says from which one.
    revision: Mapped[int] = mapped_column()
    standing: Mapped[dict[str, Any]] = mapped_column(types.JSON)
    #: A run that was packed afresh has no file yet.
    repack: Mapped[bool] = mapped_column(default=False)
    enqueued: Mapped[datetime | None] = mapped_column(UtcDateTime, default=None)
    attempts: Mapped[int] = mapped_column(default=0)
    problem: Mapped[dict[str, Any] | None] = mapped_column(types.JSON(none_as_null=True), default=None)
    #: How often all attempts failed, and when there are new ones; none: with the next event that makes new runs.
    rounds: Mapped[int] = mapped_column(default=0, server_default="0")
    retry: Mapped[datetime | None] = mapped_column(UtcDateTime, default=None)

    __table_args__ = (Index("print_states_by_repack", "repack", "job_id"),)


class CalendarLinkRow(Base):
    """The secret address of a job's calendar: the digest of its token, and who asked for it."""

    __tablename__ = "schedule_links"

    job_id: Mapped[str] = mapped_column(ForeignKey("jobs.id", ondelete="CASCADE"), primary_key=True)
    digest: Mapped[str] = mapped_column(Text)
    #: A key's id, or "local"; the address is good for as long as that key is.
    maker: Mapped[str] = mapped_column(Text)
    created: Mapped[datetime] = mapped_column(UtcDateTime)


class PartRow(Base):
    """One shape that was built, written, read back and passed, against one set of limits."""

    __tablename__ = "parts"

    digest: Mapped[str] = mapped_column(Text, primary_key=True)
    limits: Mapped[str] = mapped_column(Text, primary_key=True)
    record: Mapped[dict[str, Any]] = mapped_column(types.JSON)
    created: Mapped[datetime] = mapped_column(UtcDateTime)


class ApiKeyRow(Base):
    """One key: what it may do, and the digest of its secret. The secret itself is kept nowhere."""

    __tablename__ = "keys"

    id: Mapped[str] = mapped_column(Text, primary_key=True)
    name: Mapped[str] = mapped_column(Text)
    digest: Mapped[str] = mapped_column(Text)
    scopes: Mapped[list[str]] = mapped_column(types.JSON)
    quotas: Mapped[dict[str, int]] = mapped_column(types.JSON)
    created: Mapped[datetime] = mapped_column(UtcDateTime)
    expires: Mapped[datetime | None] = mapped_column(UtcDateTime, default=None)
    revoked: Mapped[datetime | None] = mapped_column(UtcDateTime, default=None)
    #: To the hour: enough to find keys that nobody uses, too little to watch anybody.
    last_used: Mapped[datetime | None] = mapped_column(UtcDateTime, default=None)


class DailyUsageRow(Base):
    """How many jobs an owner submitted on one day (UTC), removed ones among them."""

    __tablename__ = "usage"

    owner: Mapped[str] = mapped_column(Text, primary_key=True)
    day: Mapped[str] = mapped_column(Text, primary_key=True)
    jobs: Mapped[int] = mapped_column(default=0)


class PartLockRow(Base):
    """A part that somebody builds, or sweeps, at this moment."""

    __tablename__ = "part_claims"

    digest: Mapped[str] = mapped_column(Text, primary_key=True)
    holder: Mapped[str] = mapped_column(Text)
    lease: Mapped[datetime] = mapped_column(UtcDateTime)


class LeaderLeaseRow(Base):
    """Who of many does what one is enough for, and where that one got to."""

    __tablename__ = "leaders"

    name: Mapped[str] = mapped_column(Text, primary_key=True)
    holder: Mapped[str | None] = mapped_column(Text, default=None)
    lease: Mapped[datetime] = mapped_column(UtcDateTime)
    place: Mapped[str | None] = mapped_column(Text, default=None)


class WebhookRow(Base):
    """An endpoint of somebody else's that is told of events. Its secrets are kept as they are: they sign."""

    __tablename__ = "webhooks"

    id: Mapped[str] = mapped_column(Text, primary_key=True)
    owner: Mapped[str] = mapped_column(Text)
    url: Mapped[str] = mapped_column(Text)
    events: Mapped[list[str]] = mapped_column(types.JSON)
    #: "all" jobs of its owner, or those that were "named" at submitting.
    jobs: Mapped[str] = mapped_column(Text)
    secret: Mapped[str] = mapped_column(Text)
    #: The secret before, and until when it signs too.
    secret_before: Mapped[str | None] = mapped_column(Text, default=None)
    overlap: Mapped[datetime | None] = mapped_column(UtcDateTime, default=None)
    created: Mapped[datetime] = mapped_column(UtcDateTime)
    #: "active", "failing" (a message ran out of tries) or "disabled" (the endpoint said that it is gone).
    state: Mapped[str] = mapped_column(Text, default="active")
    #: No message is sent before this moment, after one failed.
    resume: Mapped[datetime | None] = mapped_column(UtcDateTime, default=None)
    delivered: Mapped[int] = mapped_column(default=0)
    dropped: Mapped[int] = mapped_column(default=0)
    last_success: Mapped[datetime | None] = mapped_column(UtcDateTime, default=None)
    last_failure: Mapped[datetime | None] = mapped_column(UtcDateTime, default=None)
    problem: Mapped[str | None] = mapped_column(Text, default=None)

    __table_args__ = (Index("webhooks_by_owner", "owner", "id"),)


class JobWebhookRow(Base):
    """An endpoint that a job named when it was submitted."""

    __tablename__ = "job_webhooks"

    job_id: Mapped[str] = mapped_column(ForeignKey("jobs.id", ondelete="CASCADE"), primary_key=True)
    webhook_id: Mapped[str] = mapped_column(ForeignKey("webhooks.id", ondelete="CASCADE"), primary_key=True)


class OutboxRow(Base):
    """A message that an endpoint has not taken yet. It is written with the change that it tells of."""

    __tablename__ = "outbox"

    #: The same in every try: whoever gets it twice can tell.
    id: Mapped[str] = mapped_column(Text, primary_key=True)
    webhook_id: Mapped[str] = mapped_column(ForeignKey("webhooks.id", ondelete="CASCADE"))
    job_id: Mapped[str] = mapped_column(ForeignKey("jobs.id", ondelete="CASCADE"))
    type: Mapped[str] = mapped_column(Text)
    payload: Mapped[str] = mapped_column(Text)
    created: Mapped[datetime] = mapped_column(UtcDateTime)
    tries: Mapped[int] = mapped_column(default=0)
    next_try: Mapped[datetime] = mapped_column(UtcDateTime)

    __table_args__ = (Index("outbox_by_endpoint", "webhook_id", "next_try"), Index("outbox_by_job", "job_id"))


class IdempotencyRow(Base):
    """A request that may come again (Idempotency-Key), and what it made."""

    __tablename__ = "repeats"

    owner: Mapped[str] = mapped_column(Text, primary_key=True)
    key: Mapped[str] = mapped_column(Text, primary_key=True)
    #: Digest of what was asked for.
    fingerprint: Mapped[str] = mapped_column(Text)
    #: The identity of what was made.
    made: Mapped[str] = mapped_column(Text)
    created: Mapped[datetime] = mapped_column(UtcDateTime)

    __table_args__ = (Index("repeats_by_age", "created"),)


class BatchRow(Base):
    """Many jobs that were submitted together, and the files over all of them."""

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
    #: Why there is no manifest.
    problem: Mapped[dict[str, Any] | None] = mapped_column(types.JSON(none_as_null=True), default=None)
    #: What its own files come to.
    bytes: Mapped[int] = mapped_column(BigInteger, default=0, server_default="0")

    __table_args__ = (Index("batches_by_state", "state", "id"), Index("batches_by_owner", "owner", "id"))


class BatchEntryRow(Base):
    """One spec of a batch: the job that it became, or why it was refused."""

    __tablename__ = "batch_entries"

    batch_id: Mapped[str] = mapped_column(ForeignKey("batches.id", ondelete="CASCADE"), primary_key=True)
    number: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    name: Mapped[str | None] = mapped_column(Text)
    #: No foreign key: the job may be removed before the batch.
    job_id: Mapped[str | None] = mapped_column(Text)
    problem: Mapped[dict[str, Any] | None] = mapped_column(types.JSON(none_as_null=True), default=None)

    __table_args__ = (Index("batch_entries_by_job", "job_id"),)


class BatchFileRow(Base):
    """One file over all jobs of a batch."""

    __tablename__ = "batch_files"

    batch_id: Mapped[str] = mapped_column(ForeignKey("batches.id", ondelete="CASCADE"), primary_key=True)
    name: Mapped[str] = mapped_column(Text, primary_key=True)
    media_type: Mapped[str] = mapped_column(Text)
    bytes: Mapped[int] = mapped_column(BigInteger)
    sha256: Mapped[str] = mapped_column(Text)
    key: Mapped[str] = mapped_column(Text)

    __table_args__ = (Index("batch_files_by_key", "key"),)


class HeartbeatRow(Base):
    """A worker, and when it was last seen."""

    __tablename__ = "heartbeats"

    worker: Mapped[str] = mapped_column(Text, primary_key=True)
    seen: Mapped[datetime] = mapped_column(UtcDateTime)
