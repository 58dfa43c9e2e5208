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
from worker.jobs.database.tables import JobRow, JobWebhookRow, OutboxRow, WebhookRow
from worker.jobs.records.job_document import job_fields
from worker.jobs.records.models import Job
from worker.jobs.records.row_mapping import JOB_COLUMNS, job_of
from worker.spec.requests.webhook import EventType

__all__ = ["MAX_ATTEMPTS", "attach_webhooks", "enqueue_event"]

#: Attempts at one message; with the pauses between them they take about 20 hours.
MAX_ATTEMPTS: Final = 13

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
    if not rows:
        return
    now = utc_now()
    payload = message(event, now, job_of(rows[0]), base, printed)
    connection.execute(
        insert(OutboxRow),
        [
            {
                "id": f"msg_{secrets.token_hex(16)}",
                "webhook_id": row.webhook_id,
                "job_id": job_id,
                "type": event,
                "payload": payload,
                "created": now,
                # a failing endpoint gets a single attempt per message until one succeeds
                "tries": MAX_ATTEMPTS - 1 if row.webhook_state == "failing" else 0,
                "next_try": now,
            }
            for row in rows
        ],
    )


def attach_webhooks(connection: Connection, job_id: str, owner: str, webhooks: Sequence[str]) -> None:
    """Attach webhooks to a job, in the transaction that adds the job.

    Raises:
        WebhookNotFound: if its owner lacks one of them; the transaction must be rolled back.
    """
    for webhook_id in dict.fromkeys(webhooks):
        there = select(WebhookRow.id).where(WebhookRow.id == webhook_id, WebhookRow.owner == owner)
        if connection.scalar(there) is None:
            raise WebhookNotFound(value=webhook_id, remedy="List them: GET /v1/webhooks.")
        connection.execute(insert(JobWebhookRow).values(job_id=job_id, webhook_id=webhook_id))


def message(event: EventType, when: datetime, job: Job, base: str, printed: dict[str, Any] | None) -> str:
    """Return the JSON body of a message (Standard Webhooks 1.0: type, timestamp, data)."""
    data = job_fields(job, base)
    if printed is not None:
        data["printed"] = printed
    document = {"type": event, "timestamp": when, "data": data}
    return orjson.dumps(document, option=orjson.OPT_UTC_Z).decode()
