"""Idempotency keys: a repeated request returns the first one's result (draft-ietf-httpapi-idempotency-key-header).

The key is written in the transaction that creates the job or batch, so that concurrent repeats and crashes leave one
job or none.
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

#: Days for which a key is kept.
KEPT_DAYS: Final = 7


@dataclass(frozen=True, slots=True)
class IdempotencyKey:
    """An idempotency key and the digest of its request."""

    key: str
    fingerprint: str

    @classmethod
    def of(cls, key: str, *content: str) -> Self:
        """Return the key with the digest of the request's content."""
        digest = sha256()
        for text in content:
            data = text.encode(errors="surrogatepass")
            digest.update(b"%d " % len(data) + data)
        return cls(key, digest.hexdigest())


def claim_key(connection: Connection, repeat: IdempotencyKey, owner: str, identity: str, now: datetime) -> str:
    """Return the id that the first request with this key created: ``identity`` if this is the first.

    Of two concurrent requests the second waits here for the first's transaction.

    Raises:
        RequestRepeated: if the first request was different; the transaction must be rolled back.
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
            value=repeat.key, limit="the same request as before", remedy="Use a new key for each request."
        )
    return str(row.made)
