"""The transactional outbox of webhook messages: each is written in the transaction of the change that it reports.

So there is never a change without its message, nor a message without its change. `worker.jobs.webhooks.delivery` sends
the messages.
"""

import secrets
from collections.abc import Sequence
from datetime import datetime
from typing import Any, Final

import orjson
from sqlalchemy import Connection, and_, exists, insert, or_, select

from worker.jobs.common.errors import WebhookNotFound
from worker.jobs.database.db_clock import utc_now
from worker.jobs.database.tables import BatchWebhookRow, JobRow, JobWebhookRow, OutboxRow, WebhookRow
from worker.jobs.records.job_document import job_fields
from worker.jobs.records.models import Job
from worker.jobs.records.row_mapping import JOB_COLUMNS, job_of
from worker.spec.requests.webhook import EventType

__all__ = ["MAX_ATTEMPTS", "attach_webhooks", "enqueue_batch_event", "enqueue_event", "enqueue_silhouette_event"]

#: Attempts at one message; with the pauses between them they take about 20 hours.
MAX_ATTEMPTS: Final = 13

_BATCH_ENDED: Final[EventType] = "batch.ended"
_SILHOUETTE_ENDED: Final[EventType] = "silhouette.ended"

_ENDPOINT: Final = (WebhookRow.events, WebhookRow.id.label("webhook_id"), WebhookRow.state.label("webhook_state"))


def enqueue_event(
    connection: Connection, event: EventType, job_id: str, *, base: str = "", printed: dict[str, Any] | None = None
) -> None:
    """Write the messages of this event for all subscribed endpoints, with the job's state in this transaction.

    Args:
        connection: in the transaction of the change, after the change.
        event: type of the event.
        job_id: the job.
        base: public URL of the service; if empty, links are paths.
        printed: the recorded print event, if it is one.
    """
    named = exists().where(JobWebhookRow.job_id == JobRow.id, JobWebhookRow.webhook_id == WebhookRow.id)
    query = (
        select(*_ENDPOINT, *JOB_COLUMNS)
        .join(JobRow, JobRow.owner == WebhookRow.owner)
        .where(JobRow.id == job_id, WebhookRow.state != "disabled")
        .where(or_(WebhookRow.jobs == "all", and_(WebhookRow.jobs == "named", named)))
    )
    rows = [row for row in connection.execute(query) if event in row.events]
    if rows:
        now = utc_now()
        _enqueue(connection, rows, event, now, message(event, now, job_of(rows[0]), base, printed), job_id=job_id)


def enqueue_batch_event(
    connection: Connection, batch_id: str, owner: str, when: datetime, fields: dict[str, Any]
) -> None:
    """Write the messages that a batch has ended for all subscribed endpoints.

    Args:
        connection: in the transaction that ends the batch, after the change.
        batch_id: the batch.
        owner: its owner.
        when: it ended.
        fields: of the document of the batch.
    """
    named = exists().where(BatchWebhookRow.batch_id == batch_id, BatchWebhookRow.webhook_id == WebhookRow.id)
    query = (
        select(*_ENDPOINT)
        .where(WebhookRow.owner == owner, WebhookRow.state != "disabled")
        .where(or_(WebhookRow.jobs == "all", and_(WebhookRow.jobs == "named", named)))
    )
    rows = [row for row in connection.execute(query) if _BATCH_ENDED in row.events]
    if rows:
        _enqueue(connection, rows, _BATCH_ENDED, when, envelope(_BATCH_ENDED, when, fields), batch_id=batch_id)


def enqueue_silhouette_event(
    connection: Connection, silhouette_id: str, owner: str, when: datetime, fields: dict[str, Any]
) -> None:
    """Write the messages that a silhouette has been read, or could not be, for all subscribed endpoints.

    Args:
        connection: in the transaction that ends it, after the change.
        silhouette_id: the silhouette.
        owner: its owner.
        when: it ended.
        fields: of the document of the silhouette, without its outline.
    """
    query = select(*_ENDPOINT).where(
        WebhookRow.owner == owner, WebhookRow.state != "disabled", WebhookRow.jobs == "all"
    )
    rows = [row for row in connection.execute(query) if _SILHOUETTE_ENDED in row.events]
    if rows:
        payload = envelope(_SILHOUETTE_ENDED, when, fields)
        _enqueue(connection, rows, _SILHOUETTE_ENDED, when, payload, silhouette_id=silhouette_id)


def _enqueue(
    connection: Connection,
    endpoints: Sequence[Any],
    event: EventType,
    now: datetime,
    payload: str,
    *,
    job_id: str | None = None,
    batch_id: str | None = None,
    silhouette_id: str | None = None,
) -> None:
    """Write one message for each of these endpoints, about a job, a batch or a silhouette."""
    connection.execute(
        insert(OutboxRow),
        [
            {
                "id": f"msg_{secrets.token_hex(16)}",
                "webhook_id": endpoint.webhook_id,
                "job_id": job_id,
                "batch_id": batch_id,
                "silhouette_id": silhouette_id,
                "type": event,
                "payload": payload,
                "created": now,
                # a failing endpoint gets a single attempt per message until one succeeds
                "tries": MAX_ATTEMPTS - 1 if endpoint.webhook_state == "failing" else 0,
                "next_try": now,
            }
            for endpoint in endpoints
        ],
    )


def attach_webhooks(
    connection: Connection,
    table: type[JobWebhookRow | BatchWebhookRow],
    subject: dict[str, str],
    owner: str,
    webhooks: Sequence[str],
) -> None:
    """Attach webhooks to a job or a batch, in the transaction that adds it.

    Args:
        connection: in that transaction.
        table: holds the webhooks of the job or of the batch.
        subject: its id, by the name of the column.
        owner: of the job or batch, and of the webhooks.
        webhooks: their ids; one given twice is attached once.

    Raises:
        WebhookNotFound: if its owner lacks one of them; the transaction must be rolled back.
    """
    for webhook_id in dict.fromkeys(webhooks):
        there = select(WebhookRow.id).where(WebhookRow.id == webhook_id, WebhookRow.owner == owner)
        if connection.scalar(there) is None:
            raise WebhookNotFound(value=webhook_id, remedy="List them: GET /v1/webhooks.")
        connection.execute(insert(table).values(**subject, webhook_id=webhook_id))


def message(event: EventType, when: datetime, job: Job, base: str, printed: dict[str, Any] | None) -> str:
    """Return the JSON body of a message (Standard Webhooks 1.0: type, timestamp, data)."""
    data = job_fields(job, base)
    if printed is not None:
        data["printed"] = printed
    return envelope(event, when, data)


def envelope(event: EventType, when: datetime, data: dict[str, Any]) -> str:
    """Return the JSON body of a message with these data."""
    document = {"type": event, "timestamp": when, "data": data}
    return orjson.dumps(document, option=orjson.OPT_UTC_Z).decode()
