"""The log of webhook deliveries: the latest attempts of each endpoint, and their messages for another delivery."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

from sqlalchemy import Connection, Engine, delete, insert, select, update
from sqlalchemy.exc import IntegrityError

from worker.jobs.common.errors import DeliveryNotFound, RedeliveryRefused
from worker.jobs.common.ids import new_id
from worker.jobs.database.db_clock import utc_now
from worker.jobs.database.tables import DeliveryRow, OutboxRow, WebhookRow

__all__ = ["KEPT_DELIVERIES", "Delivery", "DeliveryLog", "log_delivery", "new_delivery"]

#: Attempts that are kept of each endpoint.
KEPT_DELIVERIES: Final = 100


@dataclass(frozen=True, slots=True)
class Delivery:
    """One attempt at a message. ``status`` is that of the response; ``problem`` is why the attempt failed."""

    id: str
    message_id: str
    type: str
    job_id: str | None
    batch_id: str | None
    silhouette_id: str | None
    attempt: int
    at: datetime
    milliseconds: int
    status: int | None
    problem: str | None


def log_delivery(connection: Connection, webhook_id: str, delivery: Delivery, payload: str) -> None:
    """Add an attempt to the log of an endpoint, and drop the oldest beyond those that are kept."""
    values = {name: getattr(delivery, name) for name in Delivery.__slots__}
    connection.execute(insert(DeliveryRow).values(**values, webhook_id=webhook_id, payload=payload))
    of_webhook = DeliveryRow.webhook_id == webhook_id
    oldest = select(DeliveryRow.id).where(of_webhook).order_by(DeliveryRow.id.desc()).limit(1).offset(KEPT_DELIVERIES)
    connection.execute(delete(DeliveryRow).where(of_webhook, DeliveryRow.id <= oldest.scalar_subquery()))


class DeliveryLog:
    """Reads the log, and has messages delivered again."""

    def __init__(self, database: Engine) -> None:
        """Use this database."""
        self._database = database

    def latest(self, webhook_id: str, limit: int, after: str | None = None) -> list[Delivery]:
        """Return up to ``limit`` attempts of an endpoint, newest first, starting after the attempt ``after``."""
        query = select(*_DELIVERY).where(DeliveryRow.webhook_id == webhook_id)
        if after is not None:
            query = query.where(DeliveryRow.id < after)
        with self._database.connect() as connection:
            rows = connection.execute(query.order_by(DeliveryRow.id.desc()).limit(limit))
            return [Delivery(*row) for row in rows]

    def redeliver(self, webhook_id: str, delivery_id: str) -> Delivery:
        """Have the message of an attempt delivered again, under the same id, so that receivers detect duplicates.

        A message that waits for a retry is tried at once.

        Raises:
            DeliveryNotFound: if the log of the endpoint has no such attempt.
            RedeliveryRefused: if it is a test, what it is about was deleted, or the endpoint is disabled.
        """
        try:
            with self._database.begin() as connection:
                return _redeliver(connection, webhook_id, delivery_id)
        except IntegrityError:  # the message refers to it
            raise RedeliveryRefused("What the message is about was deleted.", value=delivery_id) from None


def _redeliver(connection: Connection, webhook_id: str, delivery_id: str) -> Delivery:
    query = select(*_DELIVERY, DeliveryRow.payload, WebhookRow.state).join(
        WebhookRow, WebhookRow.id == DeliveryRow.webhook_id
    )
    row: Any = connection.execute(
        query.where(DeliveryRow.id == delivery_id, DeliveryRow.webhook_id == webhook_id)
    ).one_or_none()
    if row is None:
        raise DeliveryNotFound(value=delivery_id)
    if row.state == "disabled":
        raise RedeliveryRefused("The endpoint is disabled.", value=delivery_id, remedy="Create the webhook again.")
    if row.job_id is None and row.batch_id is None and row.silhouette_id is None:
        remedy = "Send another test: POST /v1/webhooks/{id}/test."
        raise RedeliveryRefused("A test message cannot be delivered again.", value=delivery_id, remedy=remedy)
    now = utc_now()
    waiting = update(OutboxRow).where(OutboxRow.id == row.message_id).values(next_try=now)
    if connection.execute(waiting).rowcount == 0:
        connection.execute(
            insert(OutboxRow).values(
                id=row.message_id, webhook_id=webhook_id, job_id=row.job_id, batch_id=row.batch_id,
                silhouette_id=row.silhouette_id, type=row.type, payload=row.payload, created=now, next_try=now,
            )
        )  # fmt: skip
    connection.execute(update(WebhookRow).where(WebhookRow.id == webhook_id).values(resume=None))
    return Delivery(*row[: len(_DELIVERY)])


def new_delivery(**fields: Any) -> Delivery:
    """Return an attempt with a new id."""
    return Delivery(id=new_id(), **fields)


_DELIVERY: Final = tuple(getattr(DeliveryRow, name) for name in Delivery.__slots__)
