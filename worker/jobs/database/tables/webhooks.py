"""The tables of webhooks: receivers, events that are to be sent, and deliveries."""

from datetime import datetime

from sqlalchemy import ForeignKey, Index, Text, types
from sqlalchemy.orm import Mapped, mapped_column

from worker.jobs.database.tables.base import Base, UtcDateTime


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
