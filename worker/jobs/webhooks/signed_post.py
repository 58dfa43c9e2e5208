"""One attempt at a webhook message: signed as in Standard Webhooks 1.0 and sent through the safe HTTP client."""

import time
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from http import HTTPStatus
from typing import Final

from standardwebhooks import Webhook as Signature

from worker.jobs.webhooks.safe_http_client import RequestFailed, SafeHttpClient

__all__ = ["GONE", "PostResult", "post_signed", "signing_secrets"]

#: The problem of an endpoint that wants no more messages.
GONE: Final = "The endpoint responded with status 410 (gone)."

_AGENT: Final = "drawerwright-webhooks/1"


@dataclass(frozen=True, slots=True)
class PostResult:
    """The result of an attempt: the status of the response if there was one, and why the attempt failed if it did."""

    status: int | None
    problem: str | None
    milliseconds: int


def signing_secrets(secret: str, before: str | None, overlap: datetime | None, now: datetime) -> list[str]:
    """Return the secrets that sign: during a rotation also the previous one."""
    return [secret, *([before] if before is not None and overlap is not None and overlap > now else [])]


def post_signed(
    http_client: SafeHttpClient, url: str, message_id: str, payload: str, *, secrets: Sequence[str], now: datetime
) -> PostResult:
    """Send a message to an endpoint."""
    headers = [
        ("Content-Type", "application/json"),
        ("User-Agent", _AGENT),
        ("webhook-id", message_id),
        ("webhook-timestamp", str(int(now.timestamp()))),
        ("webhook-signature", " ".join(Signature(secret).sign(message_id, now, payload) for secret in secrets)),
    ]
    begin = time.monotonic()
    status: int | None = None
    try:
        status = http_client.post(url, payload.encode(), headers)
    except RequestFailed as error:
        problem: str | None = str(error)
    else:
        if HTTPStatus.OK <= status < HTTPStatus.MULTIPLE_CHOICES:
            problem = None
        else:
            problem = GONE if status == HTTPStatus.GONE else f"The endpoint responded with status {status}."
    return PostResult(status, problem, round((time.monotonic() - begin) * 1000.0))
