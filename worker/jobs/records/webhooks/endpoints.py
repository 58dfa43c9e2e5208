"""Webhook endpoints and their secrets.

A secret signs messages (HMAC), so it is stored in plain text; it is shown only when it is created. After a rotation
the previous secret also signs for a while, so that receivers can switch without rejecting messages.
"""

import base64
import secrets
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Final, cast

from pydantic import SecretStr
from sqlalchemy import Connection, Engine, delete, func, insert, select, update

from worker.jobs.common.errors import QuotaReached, WebhookNotFound
from worker.jobs.common.ids import new_id
from worker.jobs.database.db_clock import utc_now
from worker.jobs.database.tables import BatchWebhookRow, JobWebhookRow, OutboxRow, WebhookRow
from worker.spec.requests.webhook import EventType, JobSelection, WebhookRequest

__all__ = ["MOST_WEBHOOKS", "WebhookEndpoint", "WebhookEndpoints"]

#: Maximum number of endpoints per owner.
MOST_WEBHOOKS: Final = 20

#: Bytes of a secret: Standard Webhooks requires 24 to 64.
_SECRET_BYTES: Final = 32


@dataclass(frozen=True, slots=True)
class WebhookEndpoint:
    """An endpoint without its secrets. Times are UTC; ``waiting`` is the number of undelivered messages."""

    id: str
    owner: str
    url: str
    events: tuple[EventType, ...]
    jobs: JobSelection
    created: datetime
    state: str
    delivered: int
    dropped: int
    waiting: int
    last_success: datetime | None
    last_failure: datetime | None
    problem: str | None


class WebhookEndpoints:
    """Reads and writes endpoints; an ``owner`` of None stands for all owners."""

    def __init__(self, database: Engine) -> None:
        """Use this database."""
        self._database = database

    def create(self, owner: str, request: WebhookRequest) -> tuple[WebhookEndpoint, SecretStr]:
        """Add an endpoint; return it and its secret, which cannot be read again.

        Raises:
            QuotaReached: if the owner has the maximum number of endpoints.
        """
        secret, identity = _new_secret(), new_id()
        with self._database.begin() as connection:
            connection.execute(
                insert(WebhookRow).values(
                    id=identity,
                    owner=owner,
                    url=request.url,
                    events=list(request.events),
                    jobs=request.jobs,
                    secret=secret,
                    created=utc_now(),
                )
            )
            count = connection.scalar(select(func.count()).where(WebhookRow.owner == owner)) or 0
            if count > MOST_WEBHOOKS:
                limit = f"{MOST_WEBHOOKS} webhooks"
                raise QuotaReached("The maximum number of webhooks is reached.", value=count - 1, limit=limit,
                    remedy="Delete one: DELETE /v1/webhooks/{id}.")  # fmt: skip
            return _endpoint(connection, identity, owner), SecretStr(secret)

    def list(self, owner: str | None) -> "list[WebhookEndpoint]":
        """Return the endpoints, oldest first."""
        with self._database.connect() as connection:
            return [_webhook(row) for row in connection.execute(_all(owner))]

    def find(self, webhook_id: str, owner: str | None) -> WebhookEndpoint:
        """Return one endpoint.

        Raises:
            WebhookNotFound: if it does not exist, or has another owner.
        """
        with self._database.connect() as connection:
            return _endpoint(connection, webhook_id, owner)

    def rotate(self, webhook_id: str, owner: str | None, overlap: timedelta) -> tuple[WebhookEndpoint, SecretStr]:
        """Create a new secret; the previous one also signs during the overlap.

        Raises:
            WebhookNotFound: if it does not exist, or has another owner.
        """
        secret, until = _new_secret(), utc_now() + overlap
        with self._database.begin() as connection:
            _endpoint(connection, webhook_id, owner)
            before = {"secret_before": WebhookRow.secret, "overlap": until}
            changed = update(WebhookRow).where(WebhookRow.id == webhook_id)
            connection.execute(changed.values(secret=secret, **before))
            return _endpoint(connection, webhook_id, owner), SecretStr(secret)

    def remove(self, webhook_id: str, owner: str | None) -> None:
        """Delete an endpoint with its undelivered messages.

        Raises:
            WebhookNotFound: if it does not exist, or has another owner.
        """
        with self._database.begin() as connection:
            _endpoint(connection, webhook_id, owner)
            connection.execute(delete(OutboxRow).where(OutboxRow.webhook_id == webhook_id))
            for table in (JobWebhookRow, BatchWebhookRow):
                connection.execute(delete(table).where(table.webhook_id == webhook_id))
            connection.execute(delete(WebhookRow).where(WebhookRow.id == webhook_id))


def _new_secret() -> str:
    return "whsec_" + base64.b64encode(secrets.token_bytes(_SECRET_BYTES)).decode()


def _all(owner: str | None) -> Any:
    waiting = select(func.count()).where(OutboxRow.webhook_id == WebhookRow.id).scalar_subquery()
    of_owner = () if owner is None else (WebhookRow.owner == owner,)
    columns = [getattr(WebhookRow, name) for name in WebhookEndpoint.__slots__ if name != "waiting"]
    return select(*columns, waiting.label("waiting")).where(*of_owner).order_by(WebhookRow.id)


def _endpoint(connection: Connection, webhook_id: str, owner: str | None) -> WebhookEndpoint:
    row = connection.execute(_all(owner).where(WebhookRow.id == webhook_id)).one_or_none()
    if row is None:
        raise WebhookNotFound(value=webhook_id)
    return _webhook(row)


def _webhook(row: Any) -> WebhookEndpoint:
    values = {name: getattr(row, name) for name in WebhookEndpoint.__slots__}
    return WebhookEndpoint(**{**values, "events": cast("tuple[EventType, ...]", tuple(row.events))})
