"""Repeats: a request that comes again under its key is the same request (draft-ietf-httpapi-idempotency-key-header).

The key is written in the transaction that makes what the request asks for. So whatever is killed in between, and
however many come at once, there is one of it or none.
"""

from dataclasses import dataclass
from datetime import datetime
from hashlib import sha256
from typing import Final, Self

from sqlalchemy import Connection, select

from worker.jobs.common.errors import RequestRepeated
from worker.jobs.database.connection import upsert
from worker.jobs.database.tables import IdempotencyRow

__all__ = ["KEPT_DAYS", "IdempotencyKey", "claim_key"]

#: Days for which a key is known.
KEPT_DAYS: Final = 7


@dataclass(frozen=True, slots=True)
class IdempotencyKey:
    """A key of the caller's, and the digest of what is asked for under it."""

    key: str
    fingerprint: str

    @classmethod
    def of(cls, key: str, *content: str) -> Self:
        """Return the repeat of a request that says so much."""
        digest = sha256()
        for text in content:
            data = text.encode(errors="surrogatepass")
            digest.update(b"%d " % len(data) + data)
        return cls(key, digest.hexdigest())


def claim_key(connection: Connection, repeat: IdempotencyKey, owner: str, identity: str, now: datetime) -> str:
    """Return the identity of what the first request under this key made; it is this one when none came before.

    Of two at once the second waits here for the end of the first's transaction.

    Raises:
        RequestRepeated: when the first asked for something else; the transaction must not be kept.
    """
    values = upsert(connection, IdempotencyRow).values(
        owner=owner, key=repeat.key, fingerprint=repeat.fingerprint, made=identity, created=now
    )
    new = values.on_conflict_do_nothing(index_elements=["owner", "key"]).returning(IdempotencyRow.made)
    if connection.scalar(new) is not None:
        return identity
    there = (IdempotencyRow.owner == owner, IdempotencyRow.key == repeat.key)
    row = connection.execute(select(IdempotencyRow.fingerprint, IdempotencyRow.made).where(*there)).one()
    if row.fingerprint != repeat.fingerprint:
        raise RequestRepeated(
            value=repeat.key, limit="the same request again", remedy="Give each request a key of its own."
        )
    return str(row.made)
