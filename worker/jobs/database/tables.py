"""The tables of the database: jobs, files, parts, API keys, webhooks and batches; those of the household are last."""

from datetime import UTC, datetime
from typing import Any

from sqlalchemy import BigInteger, DateTime, Dialect, ForeignKey, Index, Text, text, types
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column


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


class PartRow(Base):
    """A part that was built and passed its checks against one set of limits."""

    __tablename__ = "parts"

    digest: Mapped[str] = mapped_column(Text, primary_key=True)
    limits: Mapped[str] = mapped_column(Text, primary_key=True)
    record: Mapped[dict[str, Any]] = mapped_column(types.JSON)
    created: Mapped[datetime] = mapped_column(UtcDateTime)


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


class PartLockRow(Base):
    """The lock on a part that is being built or swept."""

    __tablename__ = "part_claims"

    digest: Mapped[str] = mapped_column(Text, primary_key=True)
    holder: Mapped[str] = mapped_column(Text)
    lease: Mapped[datetime] = mapped_column(UtcDateTime)


class LeaderLeaseRow(Base):
    """A leader lease: the process that does a kind of periodic work, and its cursor."""

    __tablename__ = "leaders"

    name: Mapped[str] = mapped_column(Text, primary_key=True)
    holder: Mapped[str | None] = mapped_column(Text, default=None)
    lease: Mapped[datetime] = mapped_column(UtcDateTime)
    place: Mapped[str | None] = mapped_column(Text, default=None)


class WebhookRow(Base):
    """A webhook endpoint. Its secrets are stored in plain text, because they sign messages (HMAC)."""

    __tablename__ = "webhooks"

    id: Mapped[str] = mapped_column(Text, primary_key=True)
    owner: Mapped[str] = mapped_column(Text)
    url: Mapped[str] = mapped_column(Text)
    events: Mapped[list[str]] = mapped_column(types.JSON)
    #: "all" jobs of its owner, or only those that were submitted with it ("named").
    jobs: Mapped[str] = mapped_column(Text)
    secret: Mapped[str] = mapped_column(Text)
    #: The previous secret, and until when it also signs.
    secret_before: Mapped[str | None] = mapped_column(Text, default=None)
    overlap: Mapped[datetime | None] = mapped_column(UtcDateTime, default=None)
    created: Mapped[datetime] = mapped_column(UtcDateTime)
    #: "active", "failing" (a message had its last attempt) or "disabled" (the endpoint responded 410).
    state: Mapped[str] = mapped_column(Text, default="active")
    #: When delivery resumes after a failure.
    resume: Mapped[datetime | None] = mapped_column(UtcDateTime, default=None)
    delivered: Mapped[int] = mapped_column(default=0)
    dropped: Mapped[int] = mapped_column(default=0)
    last_success: Mapped[datetime | None] = mapped_column(UtcDateTime, default=None)
    last_failure: Mapped[datetime | None] = mapped_column(UtcDateTime, default=None)
    problem: Mapped[str | None] = mapped_column(Text, default=None)

    __table_args__ = (Index("webhooks_by_owner", "owner", "id"),)


class JobWebhookRow(Base):
    """A webhook that a job was submitted with."""

    __tablename__ = "job_webhooks"

    job_id: Mapped[str] = mapped_column(ForeignKey("jobs.id", ondelete="CASCADE"), primary_key=True)
    webhook_id: Mapped[str] = mapped_column(ForeignKey("webhooks.id", ondelete="CASCADE"), primary_key=True)


class OutboxRow(Base):
    """An undelivered webhook message, written in the transaction of the change that it reports."""

    __tablename__ = "outbox"

    #: The same in every attempt, so that receivers can detect duplicates.
    id: Mapped[str] = mapped_column(Text, primary_key=True)
    webhook_id: Mapped[str] = mapped_column(ForeignKey("webhooks.id", ondelete="CASCADE"))
    #: The job, the batch or the silhouette of the event; the others are null.
    job_id: Mapped[str | None] = mapped_column(ForeignKey("jobs.id", ondelete="CASCADE"), default=None)
    batch_id: Mapped[str | None] = mapped_column(ForeignKey("batches.id", ondelete="CASCADE"), default=None)
    silhouette_id: Mapped[str | None] = mapped_column(ForeignKey("silhouettes.id", ondelete="CASCADE"), default=None)
    type: Mapped[str] = mapped_column(Text)
    payload: Mapped[str] = mapped_column(Text)
    created: Mapped[datetime] = mapped_column(UtcDateTime)
    tries: Mapped[int] = mapped_column(default=0)
    next_try: Mapped[datetime] = mapped_column(UtcDateTime)

    __table_args__ = (
        Index("outbox_by_endpoint", "webhook_id", "next_try"),
        Index("outbox_by_job", "job_id"),
        Index("outbox_by_batch", "batch_id"),
        Index("outbox_by_silhouette", "silhouette_id"),
    )


class DeliveryRow(Base):
    """An attempt at a webhook message, with the message. The latest of each endpoint are kept."""

    __tablename__ = "webhook_deliveries"

    id: Mapped[str] = mapped_column(Text, primary_key=True)
    webhook_id: Mapped[str] = mapped_column(ForeignKey("webhooks.id", ondelete="CASCADE"))
    message_id: Mapped[str] = mapped_column(Text)
    type: Mapped[str] = mapped_column(Text)
    #: No foreign keys: what the event is about may be deleted before. All are null for a test.
    job_id: Mapped[str | None] = mapped_column(Text, default=None)
    batch_id: Mapped[str | None] = mapped_column(Text, default=None)
    silhouette_id: Mapped[str | None] = mapped_column(Text, default=None)
    payload: Mapped[str] = mapped_column(Text)
    attempt: Mapped[int] = mapped_column()
    at: Mapped[datetime] = mapped_column(UtcDateTime)
    milliseconds: Mapped[int] = mapped_column()
    status: Mapped[int | None] = mapped_column(default=None)
    problem: Mapped[str | None] = mapped_column(Text, default=None)

    __table_args__ = (Index("webhook_deliveries_by_endpoint", "webhook_id", "id"),)


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


class HeartbeatRow(Base):
    """A worker, and the time of its last heartbeat."""

    __tablename__ = "heartbeats"

    worker: Mapped[str] = mapped_column(Text, primary_key=True)
    seen: Mapped[datetime] = mapped_column(UtcDateTime)


class DrawerRow(Base):
    """A drawer of the household: its measurements, and what it was last laid out as."""

    __tablename__ = "drawers"

    id: Mapped[str] = mapped_column(Text, primary_key=True)
    owner: Mapped[str] = mapped_column(Text)
    name: Mapped[str] = mapped_column(Text)
    #: Its `DrawerRequest` as JSON.
    document: Mapped[str] = mapped_column(Text)
    #: Its tags, each between line feeds.
    tags: Mapped[str] = mapped_column(Text)
    created: Mapped[datetime] = mapped_column(UtcDateTime)
    updated: Mapped[datetime] = mapped_column(UtcDateTime)
    revision: Mapped[int] = mapped_column(default=1)
    #: The job's manifest reduced to this drawer, the job, and when its first piece was placed. The job may be deleted.
    layout: Mapped[str | None] = mapped_column(Text, default=None)
    layout_job: Mapped[str | None] = mapped_column(Text, default=None)
    #: What else a later job has to repeat of the job's spec, so that printed parts still fit: grid, printer, trays.
    layout_settings: Mapped[dict[str, Any] | None] = mapped_column(types.JSON(none_as_null=True), default=None)
    laid_out: Mapped[datetime | None] = mapped_column(UtcDateTime, default=None)

    __table_args__ = (Index("drawers_by_owner", "owner", "id"),)


class ThingRow(Base):
    """A thing of the household."""

    __tablename__ = "things"

    id: Mapped[str] = mapped_column(Text, primary_key=True)
    owner: Mapped[str] = mapped_column(Text)
    name: Mapped[str] = mapped_column(Text)
    #: Its `ThingRequest` as JSON, without the drawer.
    document: Mapped[str] = mapped_column(Text)
    tags: Mapped[str] = mapped_column(Text)
    access: Mapped[str] = mapped_column(Text)
    drawer_id: Mapped[str | None] = mapped_column(ForeignKey("drawers.id", ondelete="SET NULL"), default=None)
    created: Mapped[datetime] = mapped_column(UtcDateTime)
    updated: Mapped[datetime] = mapped_column(UtcDateTime)
    revision: Mapped[int] = mapped_column(default=1)

    __table_args__ = (Index("things_by_owner", "owner", "id"), Index("things_by_drawer", "drawer_id"))


class ThingPlaceRow(Base):
    """Where some of a thing lie: a compartment of a tray in a drawer's layout."""

    __tablename__ = "thing_places"

    drawer_id: Mapped[str] = mapped_column(ForeignKey("drawers.id", ondelete="CASCADE"), primary_key=True)
    #: Index in the contents of the layout.
    number: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    thing_id: Mapped[str] = mapped_column(ForeignKey("things.id", ondelete="CASCADE"))

    __table_args__ = (Index("thing_places_by_thing", "thing_id"),)


class ThingWordRow(Base):
    """A word by which a thing is found."""

    __tablename__ = "thing_words"

    owner: Mapped[str] = mapped_column(Text, primary_key=True)
    word: Mapped[str] = mapped_column(Text, primary_key=True)
    thing_id: Mapped[str] = mapped_column(ForeignKey("things.id", ondelete="CASCADE"), primary_key=True)
    weight: Mapped[float] = mapped_column()

    __table_args__ = (Index("thing_words_by_thing", "thing_id"), Index("thing_words_by_word", "word"))


class WordTrigramRow(Base):
    """A trigram of a word by which any thing is, or once was, found."""

    __tablename__ = "word_trigrams"

    trigram: Mapped[str] = mapped_column(Text, primary_key=True)
    word: Mapped[str] = mapped_column(Text, primary_key=True)


class PieceRow(Base):
    """A printed piece."""

    __tablename__ = "pieces"

    id: Mapped[str] = mapped_column(Text, primary_key=True)
    owner: Mapped[str] = mapped_column(Text)
    mark: Mapped[str] = mapped_column(Text)
    kind: Mapped[str] = mapped_column(Text)
    name: Mapped[str] = mapped_column(Text)
    digest: Mapped[str] = mapped_column(Text)
    #: Fingerprint of its shape, which does not depend on its mark.
    shape: Mapped[str | None] = mapped_column(Text, default=None)
    state: Mapped[str] = mapped_column(Text)
    drawer_id: Mapped[str | None] = mapped_column(ForeignKey("drawers.id", ondelete="SET NULL"), default=None)
    #: Index in the placements of the drawer's layout.
    placement: Mapped[int | None] = mapped_column(default=None)
    #: The job that printed it. No foreign key: the job may be deleted.
    job_id: Mapped[str | None] = mapped_column(Text, default=None)
    #: The part's entry in the job's manifest, without files and checks.
    part: Mapped[dict[str, Any] | None] = mapped_column(types.JSON(none_as_null=True), default=None)
    note: Mapped[str | None] = mapped_column(Text, default=None)
    created: Mapped[datetime] = mapped_column(UtcDateTime)
    updated: Mapped[datetime] = mapped_column(UtcDateTime)
    revision: Mapped[int] = mapped_column(default=1)

    __table_args__ = (
        Index("pieces_by_owner", "owner", "id"),
        Index("pieces_by_drawer", "drawer_id"),
        Index("pieces_by_job", "job_id", "mark"),
        Index("pieces_by_shape", "owner", "shape"),
    )


class SilhouetteRow(Base):
    """A thing's outline, or the files that are to be read for it."""

    __tablename__ = "silhouettes"

    id: Mapped[str] = mapped_column(Text, primary_key=True)
    owner: Mapped[str] = mapped_column(Text)
    name: Mapped[str] = mapped_column(Text)
    #: "photo", "drawing", "model" or "points".
    kind: Mapped[str] = mapped_column(Text)
    #: "queued", "running", "succeeded" or "failed".
    state: Mapped[str] = mapped_column(Text)
    #: Its `SilhouetteRequest` as JSON.
    request: Mapped[str] = mapped_column(Text)
    #: Its tags, each between line feeds.
    tags: Mapped[str] = mapped_column(Text, default="", server_default="")
    #: The outline and the poses of a model as JSON.
    result: Mapped[str | None] = mapped_column(Text, default=None)
    #: Whether a person changed the outline.
    corrected: Mapped[bool] = mapped_column(default=False)
    problem: Mapped[dict[str, Any] | None] = mapped_column(types.JSON(none_as_null=True), default=None)
    created: Mapped[datetime] = mapped_column(UtcDateTime)
    updated: Mapped[datetime] = mapped_column(UtcDateTime)
    finished: Mapped[datetime | None] = mapped_column(UtcDateTime, default=None)
    enqueued: Mapped[datetime | None] = mapped_column(UtcDateTime, default=None)
    claim: Mapped[str | None] = mapped_column(Text, default=None)
    lease: Mapped[datetime | None] = mapped_column(UtcDateTime, default=None)
    attempts: Mapped[int] = mapped_column(default=0)
    #: Total size of its files.
    bytes: Mapped[int] = mapped_column(BigInteger, default=0)
    revision: Mapped[int] = mapped_column(default=1)

    __table_args__ = (
        Index("silhouettes_by_owner", "owner", "id"),
        Index("silhouettes_by_state", "state", "id"),
        Index("silhouettes_by_change", "updated", "id"),
    )


class SilhouetteFileRow(Base):
    """A file of a silhouette: an upload that is to be read or kept, or a picture."""

    __tablename__ = "silhouette_files"

    silhouette_id: Mapped[str] = mapped_column(ForeignKey("silhouettes.id", ondelete="CASCADE"), primary_key=True)
    name: Mapped[str] = mapped_column(Text, primary_key=True)
    media_type: Mapped[str] = mapped_column(Text)
    bytes: Mapped[int] = mapped_column(BigInteger)
    sha256: Mapped[str] = mapped_column(Text)
    key: Mapped[str] = mapped_column(Text)

    __table_args__ = (Index("silhouette_files_by_key", "key"),)
