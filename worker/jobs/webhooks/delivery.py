"""The courier: takes messages from the outbox to their endpoints, and tries again later where that fails.

A try is written down before it is made, so that whatever ends in between, no message is tried without end. An endpoint
may get a message twice (its id tells), never not at all before its tries are used up. One courier of many sends.
"""

import logging
import time
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from http import HTTPStatus
from threading import Event, Thread
from typing import Any, Final, Self
from urllib.parse import urlsplit

from sqlalchemy import Engine, delete, func, or_, select, update
from standardwebhooks import Webhook as Signature

from worker.jobs.common.backoff import Backoff
from worker.jobs.database.db_clock import utc_now
from worker.jobs.database.tables import ApiKeyRow, OutboxRow, WebhookRow
from worker.jobs.maintenance.leader_lease import LeaderLease
from worker.jobs.records.webhook_outbox import MAX_ATTEMPTS
from worker.jobs.webhooks.safe_http_client import TOTAL_SECONDS, RequestFailed, SafeHttpClient

__all__ = ["BACKOFF", "WebhookDelivery"]

_log = logging.getLogger(__name__)

_NAME: Final = "webhooks"

#: Seconds between two looks into the outbox.
_LOOK: Final = 1.0

#: Seconds in which one pass begins tries; those under way end within their own time.
_PASS: Final = 10.0

#: Seconds for which the one that sends may be silent before another does.
_SILENCE: Final = 2.0 * (_PASS + TOTAL_SECONDS)

#: Endpoints served in one pass, those served at a time, and messages of each.
_ENDPOINTS: Final = 64
_AT_A_TIME: Final = 8
_MESSAGES: Final = 10

#: Between the tries of one message.
BACKOFF: Final = Backoff(first=5.0, factor=3.0, longest=14_400.0)

#: Seconds for which all messages of an endpoint wait at most after one failed: the next may be a better one.
_HOLD: Final = 60.0

#: Days after which a message that nobody can be told any more is forgotten.
_DAYS: Final = 3

#: Seconds between two looks for those.
_TIDY: Final = 3_600.0

_AGENT: Final = "drawerwright-webhooks/1"


class WebhookDelivery:
    """Sends in a thread of its own, from `start` (or ``with``) to `close`."""

    def __init__(self, database: Engine, reach: SafeHttpClient, look: float = _LOOK) -> None:
        """Send through this reach."""
        self._database = database
        self._reach = reach
        self._look = look
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
        """Begin."""
        self._closing.clear()
        self._thread = Thread(target=self._watch, name="courier", daemon=True)
        self._thread.start()

    def close(self) -> None:
        """Stop when the tries under way have ended."""
        self._closing.set()
        if self._thread is not None:
            self._thread.join()
            self._thread = None
        self._lease.release()

    def run(self) -> int:
        """Make one pass, if this courier is the one that sends; return how many messages were taken.

        Raises:
            DBAPIError: when the record is away.
        """
        endpoints = self._due()
        if not endpoints:
            return 0
        if not self._lease.acquire():
            return 0
        end = time.monotonic() + _PASS
        with ThreadPoolExecutor(_AT_A_TIME, "webhook") as pool:
            return sum(pool.map(lambda endpoint: self._serve(endpoint, end), endpoints))

    def _watch(self) -> None:
        delivered = False
        while not self._closing.wait(self._look):
            try:
                self.run()
                if time.monotonic() >= self._tidied:
                    self._tidied = time.monotonic() + _TIDY
                    self._tidy()
                delivered = False
            except Exception as error:  # noqa: BLE001 - it must outlive whatever goes wrong for a while
                if not delivered:
                    _log.warning("Messages wait: %s", type(error).__name__)
                delivered = True

    def _due(self) -> list[str]:
        """Return the endpoints that messages are due for, those that wait longest first."""
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
        """Send what is due for an endpoint, until one fails; return how many messages it took."""
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
            fault = self._send(endpoint, row)
            self._note(endpoint, row, fault)
            if fault is not None:
                break
            taken += 1
        return taken

    def _begin(self, row: Any) -> bool:
        """Write down that a try is made, as if it failed; False when somebody else made it meanwhile."""
        pause = timedelta(seconds=BACKOFF.after(row.tries + 1))
        same = (OutboxRow.id == row.id, OutboxRow.tries == row.tries)
        changed = update(OutboxRow).where(*same).values(tries=row.tries + 1, next_try=utc_now() + pause)
        with self._database.begin() as connection:
            return connection.execute(changed).rowcount == 1

    def _send(self, endpoint: Any, row: Any) -> str | None:
        """Make a try; return None when it was taken, else what went wrong."""
        now = utc_now()
        payload = str(row.payload)
        secrets = [endpoint.secret]
        if endpoint.secret_before is not None and endpoint.overlap is not None and endpoint.overlap > now:
            secrets.append(endpoint.secret_before)
        headers = [
            ("Content-Type", "application/json"),
            ("User-Agent", _AGENT),
            ("webhook-id", row.id),
            ("webhook-timestamp", str(int(now.timestamp()))),
            ("webhook-signature", " ".join(Signature(secret).sign(row.id, now, payload) for secret in secrets)),
        ]
        try:
            status = self._reach.post(endpoint.url, payload.encode(), headers)
        except RequestFailed as error:
            return str(error)
        if HTTPStatus.OK <= status < HTTPStatus.MULTIPLE_CHOICES:
            return None
        return _GONE if status == HTTPStatus.GONE else f"It answers with status {status}."

    def _note(self, endpoint: Any, row: Any, fault: str | None) -> None:
        """Write down how a try went."""
        now = utc_now()
        own_row = update(WebhookRow).where(WebhookRow.id == endpoint.id)
        message = delete(OutboxRow).where(OutboxRow.id == row.id)
        spent = row.tries + 1 >= MAX_ATTEMPTS
        with self._database.begin() as connection:
            if fault is None:
                if connection.execute(message).rowcount == 1:
                    counters = {"delivered": WebhookRow.delivered + 1, "last_success": now}
                    connection.execute(own_row.values(state="active", resume=None, problem=None, **counters))
                return
            failed: dict[str, Any] = {"last_failure": now, "problem": fault}
            if fault == _GONE:
                gone = connection.execute(delete(OutboxRow).where(OutboxRow.webhook_id == endpoint.id)).rowcount
                connection.execute(own_row.values(state="disabled", dropped=WebhookRow.dropped + gone, **failed))
            elif spent:
                connection.execute(message)
                failed |= {"state": "failing", "dropped": WebhookRow.dropped + 1}
                connection.execute(own_row.values(resume=now + timedelta(seconds=_HOLD), **failed))
            else:
                hold = timedelta(seconds=min(_HOLD, BACKOFF.after(row.tries + 1)))
                connection.execute(own_row.values(resume=now + hold, **failed))
        level = logging.WARNING if spent or fault == _GONE else logging.INFO
        host = urlsplit(endpoint.url).hostname  # the rest of an address may hold a secret
        _log.log(level, "Webhook %s (%s), try %d of %s: %s", endpoint.id, host, row.tries + 1, row.id, fault)

    def _tidy(self) -> None:
        """Forget messages that wait for longer than any tries take: their owner's key was revoked."""
        old = utc_now() - timedelta(days=_DAYS)
        with self._database.begin() as connection:
            connection.execute(delete(OutboxRow).where(OutboxRow.created < old))


_GONE: Final = "It answers that it is gone (410)."

_ENDPOINT: Final = select(
    WebhookRow.id, WebhookRow.url, WebhookRow.secret, WebhookRow.secret_before, WebhookRow.overlap
)
_MESSAGE: Final = select(OutboxRow.id, OutboxRow.tries, OutboxRow.payload).order_by(OutboxRow.created).limit(_MESSAGES)
