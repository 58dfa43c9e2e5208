"""Webhook delivery: sends messages from the outbox to their endpoints, with retries.

Each attempt is recorded before it is made, so a crash cannot cause endless retries. Delivery is at least once up to
the last attempt: an endpoint may get a message twice, with the same id. Of many processes the leader delivers.
"""

import logging
import secrets
import time
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from threading import Event, Thread
from typing import Any, Final, Self
from urllib.parse import urlsplit

import orjson
from sqlalchemy import Engine, delete, func, or_, select, update

from worker.jobs.common.backoff import Backoff
from worker.jobs.common.errors import WebhookNotFound
from worker.jobs.database.db_clock import utc_now
from worker.jobs.database.tables import ApiKeyRow, OutboxRow, WebhookRow
from worker.jobs.maintenance.leader_lease import LeaderLease
from worker.jobs.records.webhooks.deliveries import Delivery, log_delivery, new_delivery
from worker.jobs.records.webhooks.outbox import MAX_ATTEMPTS
from worker.jobs.webhooks.safe_http_client import TOTAL_SECONDS, SafeHttpClient
from worker.jobs.webhooks.signed_post import GONE, PostResult, post_signed, signing_secrets

__all__ = ["BACKOFF", "TEST_TYPE", "WebhookDelivery"]

_log = logging.getLogger(__name__)

#: The type of a test message.
TEST_TYPE: Final = "webhook.test"

_NAME: Final = "webhooks"

#: Seconds between two polls of the outbox.
_POLL_SECONDS: Final = 1.0

#: Seconds within which one pass starts attempts.
_PASS: Final = 10.0

#: Length of the leader lease in seconds.
_SILENCE: Final = 2.0 * (_PASS + TOTAL_SECONDS)

#: Endpoints per pass, concurrent endpoints, and messages per endpoint and pass.
_ENDPOINTS: Final = 64
_AT_A_TIME: Final = 8
_MESSAGES: Final = 10

#: Pauses between the attempts at one message.
BACKOFF: Final = Backoff(first=5.0, factor=3.0, longest=14_400.0)

#: Longest pause of an endpoint, in seconds, after a failed attempt: its next message may succeed.
_HOLD: Final = 60.0

#: Days after which an undeliverable message is deleted.
_DAYS: Final = 3

#: Seconds between two deletions of such messages.
_TIDY: Final = 3_600.0


class WebhookDelivery:
    """Delivers messages in a background thread, from `start` (or ``with``) to `close`."""

    def __init__(self, database: Engine, http_client: SafeHttpClient, interval: float = _POLL_SECONDS) -> None:
        """Deliver messages of this database through ``http_client``, polling every ``interval`` seconds."""
        self._database = database
        self._http_client = http_client
        self._interval = interval
        self._lease = LeaderLease(database, _NAME, _SILENCE)
        self._closing = Event()
        self._thread: Thread | None = None
        self._tidied = 0.0

    def __enter__(self) -> Self:
        """Start."""
        self.start()
        return self

    def __exit__(self, *_: object) -> None:
        """Stop."""
        self.close()

    def start(self) -> None:
        """Start the thread."""
        self._closing.clear()
        self._thread = Thread(target=self._watch, name="webhook-delivery", daemon=True)
        self._thread.start()

    def close(self) -> None:
        """Stop the thread once its current attempts have ended."""
        self._closing.set()
        if self._thread is not None:
            self._thread.join()
            self._thread = None
        self._lease.release()

    def run(self) -> int:
        """Deliver what is due, if this process is the leader; return the number of delivered messages.

        Raises:
            DBAPIError: if the database is unavailable.
        """
        endpoints = self._due()
        if not endpoints:
            return 0
        if not self._lease.acquire():
            return 0
        end = time.monotonic() + _PASS
        with ThreadPoolExecutor(_AT_A_TIME, "webhook") as pool:
            return sum(pool.map(lambda endpoint: self._serve(endpoint, end), endpoints))

    def test(self, webhook_id: str) -> Delivery:
        """Send a test message to an endpoint at once, whatever its state; return the attempt, which is logged too.

        Raises:
            WebhookNotFound: if there is no such endpoint.
        """
        now, message_id = utc_now(), f"msg_{secrets.token_hex(16)}"
        document = {"type": TEST_TYPE, "timestamp": now, "data": {"webhook": webhook_id}}
        payload = orjson.dumps(document, option=orjson.OPT_UTC_Z).decode()
        with self._database.connect() as connection:
            endpoint = connection.execute(_ENDPOINT.where(WebhookRow.id == webhook_id)).one_or_none()
        if endpoint is None:
            raise WebhookNotFound(value=webhook_id)
        keys = signing_secrets(endpoint.secret, endpoint.secret_before, endpoint.overlap, now)
        result = post_signed(self._http_client, endpoint.url, message_id, payload, secrets=keys, now=now)
        delivery = new_delivery(
            message_id=message_id, type=TEST_TYPE, job_id=None, batch_id=None, silhouette_id=None, attempt=1, at=now,
            milliseconds=result.milliseconds, status=result.status, problem=result.problem,
        )  # fmt: skip
        with self._database.begin() as connection:
            if connection.scalar(select(WebhookRow.id).where(WebhookRow.id == webhook_id)) is None:
                raise WebhookNotFound(value=webhook_id)
            log_delivery(connection, webhook_id, delivery, payload)
        return delivery

    def _watch(self) -> None:
        failing = False
        while not self._closing.wait(self._interval):
            try:
                self.run()
                if time.monotonic() >= self._tidied:
                    self._tidied = time.monotonic() + _TIDY
                    self._tidy()
                failing = False
            except Exception as error:  # noqa: BLE001 - the thread must survive temporary failures
                if not failing:
                    _log.warning("Webhook delivery is interrupted and will be retried: %s", type(error).__name__)
                failing = True

    def _due(self) -> list[str]:
        """Return the endpoints with due messages, the longest waiting first."""
        now = utc_now()
        query = (
            select(OutboxRow.webhook_id)
            .join(WebhookRow, WebhookRow.id == OutboxRow.webhook_id)
            .outerjoin(ApiKeyRow, ApiKeyRow.id == WebhookRow.owner)
            .where(OutboxRow.next_try <= now, WebhookRow.state != "disabled")
            .where(
                or_(
                    WebhookRow.resume.is_(None),
                    WebhookRow.resume <= now,
                    WebhookRow.resume > now + 2 * timedelta(seconds=_HOLD),
                )
            )
            .where(ApiKeyRow.revoked.is_(None), or_(ApiKeyRow.expires.is_(None), ApiKeyRow.expires > now))
            .group_by(OutboxRow.webhook_id)
            .order_by(func.min(OutboxRow.next_try))
            .limit(_ENDPOINTS)
        )
        with self._database.connect() as connection:
            return list(connection.scalars(query))

    def _serve(self, webhook_id: str, end: float) -> int:
        """Send the due messages of an endpoint until one fails; return the number delivered."""
        with self._database.connect() as connection:
            endpoint = connection.execute(_ENDPOINT.where(WebhookRow.id == webhook_id)).one_or_none()
            due = (OutboxRow.webhook_id == webhook_id, OutboxRow.next_try <= utc_now())
            rows = connection.execute(_MESSAGE.where(*due)).all()
        taken = 0
        for row in rows:
            if endpoint is None or time.monotonic() >= end or self._closing.is_set():
                break
            if not self._begin(row):
                continue
            result = self._send(endpoint, row)
            self._note(endpoint, row, result)
            if result.problem is not None:
                break
            taken += 1
        return taken

    def _begin(self, row: Any) -> bool:
        """Record an attempt as failed before it is made; return False if another process has made it."""
        pause = timedelta(seconds=BACKOFF.after(row.tries + 1))
        same = (OutboxRow.id == row.id, OutboxRow.tries == row.tries)
        changed = update(OutboxRow).where(*same).values(tries=row.tries + 1, next_try=utc_now() + pause)
        with self._database.begin() as connection:
            return connection.execute(changed).rowcount == 1

    def _send(self, endpoint: Any, row: Any) -> PostResult:
        """Make an attempt."""
        now = utc_now()
        keys = signing_secrets(endpoint.secret, endpoint.secret_before, endpoint.overlap, now)
        return post_signed(self._http_client, endpoint.url, row.id, str(row.payload), secrets=keys, now=now)

    def _note(self, endpoint: Any, row: Any, result: PostResult) -> None:
        """Record the result of an attempt."""
        now, fault = utc_now(), result.problem
        own_row = update(WebhookRow).where(WebhookRow.id == endpoint.id)
        message = delete(OutboxRow).where(OutboxRow.id == row.id)
        spent = row.tries + 1 >= MAX_ATTEMPTS
        delivery = new_delivery(
            message_id=row.id, type=row.type, job_id=row.job_id, batch_id=row.batch_id,
            silhouette_id=row.silhouette_id, attempt=row.tries + 1, at=now, milliseconds=result.milliseconds,
            status=result.status, problem=fault,
        )  # fmt: skip
        with self._database.begin() as connection:
            if connection.scalar(select(WebhookRow.id).where(WebhookRow.id == endpoint.id)) is None:
                return  # removed meanwhile, with its messages
            log_delivery(connection, endpoint.id, delivery, str(row.payload))
            if fault is None:
                if connection.execute(message).rowcount == 1:
                    counters = {"delivered": WebhookRow.delivered + 1, "last_success": now}
                    connection.execute(own_row.values(state="active", resume=None, problem=None, **counters))
                return
            failed: dict[str, Any] = {"last_failure": now, "problem": fault}
            if fault == GONE:
                gone = connection.execute(delete(OutboxRow).where(OutboxRow.webhook_id == endpoint.id)).rowcount
                connection.execute(own_row.values(state="disabled", dropped=WebhookRow.dropped + gone, **failed))
            elif spent:
                connection.execute(message)
                failed |= {"state": "failing", "dropped": WebhookRow.dropped + 1}
                connection.execute(own_row.values(resume=now + timedelta(seconds=_HOLD), **failed))
            else:
                hold = timedelta(seconds=min(_HOLD, BACKOFF.after(row.tries + 1)))
                connection.execute(own_row.values(resume=now + hold, **failed))
        level = logging.WARNING if spent or fault == GONE else logging.INFO
        host = urlsplit(endpoint.url).hostname  # the path may contain a secret
        _log.log(level, "Webhook %s (%s), attempt %d at %s: %s", endpoint.id, host, row.tries + 1, row.id, fault)

    def _tidy(self) -> None:
        """Delete messages older than all their attempts take: the owner's key was revoked."""
        old = utc_now() - timedelta(days=_DAYS)
        with self._database.begin() as connection:
            connection.execute(delete(OutboxRow).where(OutboxRow.created < old))


_ENDPOINT: Final = select(
    WebhookRow.id, WebhookRow.url, WebhookRow.secret, WebhookRow.secret_before, WebhookRow.overlap
)
_MESSAGE: Final = (
    select(
        OutboxRow.id,
        OutboxRow.tries,
        OutboxRow.payload,
        OutboxRow.type,
        OutboxRow.job_id,
        OutboxRow.batch_id,
        OutboxRow.silhouette_id,
    )
    .order_by(OutboxRow.created)
    .limit(_MESSAGES)
)
