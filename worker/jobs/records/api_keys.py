"""API keys: ``dw_<id>_<secret>``; only the SHA-256 of the secret is stored.

The secret has 200 random bits, so that a fast hash is safe from guessing and a slow one not needed.
"""

import hmac
import re
import secrets
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from typing import Any, Final, cast

from pydantic import SecretStr
from sqlalchemy import Engine, insert, or_, select, update

from worker.jobs.common.errors import KeyNotFound, SettingsError
from worker.jobs.common.principal import SCOPES, Principal, Quotas, Scope
from worker.jobs.database.tables import ApiKeyRow

__all__ = ["ApiKey", "ApiKeys"]

#: Crockford's base 32, in lower case: no i, l, o, u; five bits each.
_DIGITS: Final = "0123456789abcdefghjkmnpqrstvwxyz"
_ID_DIGITS: Final = 10
_SECRET_DIGITS: Final = 40

_FORM: Final = re.compile(rf"dw_([{_DIGITS}]{{{_ID_DIGITS}}})_([{_DIGITS}]{{{_SECRET_DIGITS}}})")

_LONGEST_NAME: Final = 80
_MOST_DAYS: Final = 36_500

#: Compared with if there is no such key, so that the timing does not reveal it.
_NOBODY: Final = sha256(b"").hexdigest()

#: The default quotas of the settings.
_PLAIN: Final = Quotas()


@dataclass(frozen=True, slots=True)
class ApiKey:
    """An API key without its secret. Times are UTC."""

    id: str
    name: str
    scopes: tuple[Scope, ...]
    quotas: Quotas
    created: datetime
    expires: datetime | None
    revoked: datetime | None
    last_used: datetime | None

    def state(self, now: datetime) -> str:
        """Return "active", "expired" or "revoked"."""
        if self.revoked is not None:
            return "revoked"
        return "expired" if self.expires is not None and self.expires <= now else "active"

    @property
    def caller(self) -> Principal:
        """The principal of requests with this key."""
        return Principal(self.id, frozenset(self.scopes), self.quotas)


class ApiKeys:
    """Reads and writes API keys."""

    def __init__(self, database: Engine) -> None:
        """Use this database."""
        self._database = database

    def create(
        self, name: str, scopes: Iterable[Scope], *, quotas: Quotas = _PLAIN, days: int | None = None
    ) -> tuple[ApiKey, SecretStr]:
        """Create a key; return it and its token, which cannot be read again.

        Raises:
            SettingsError: if the name, the scopes, the quotas or the expiry are invalid.
        """
        requested = set(scopes)
        if not name.strip() or len(name) > _LONGEST_NAME or not name.isprintable():
            raise SettingsError(
                "An API key needs a name.", value=name, limit=f"1 to {_LONGEST_NAME} printable characters"
            )
        if not requested or not requested <= set(SCOPES):
            raise SettingsError(
                "An API key needs a scope.", value=sorted(requested), limit=f"one of {', '.join(SCOPES)}"
            )
        if days is not None and not 1 <= days <= _MOST_DAYS:
            raise SettingsError("The expiry is invalid.", value=days, limit=f"1 to {_MOST_DAYS} days")
        if any(value < 0 for value in quotas.limits().values()):
            raise SettingsError("A quota is negative.", value=str(quotas.limits()), limit="at least 0; 0 sets no limit")
        now = _now()
        secret = _random(_SECRET_DIGITS)
        key = ApiKey(
            id=_random(_ID_DIGITS),
            name=name,
            scopes=tuple(scope for scope in SCOPES if scope in requested),
            quotas=quotas,
            created=now,
            expires=None if days is None else now + timedelta(days=days),
            revoked=None,
            last_used=None,
        )
        with self._database.begin() as connection:
            connection.execute(
                insert(ApiKeyRow).values(
                    id=key.id,
                    name=key.name,
                    digest=_digest(secret),
                    scopes=list(key.scopes),
                    quotas=quotas.limits(),
                    created=key.created,
                    expires=key.expires,
                )
            )
        return key, SecretStr(f"dw_{key.id}_{secret}")

    def list(self) -> "list[ApiKey]":
        """Return all keys, oldest first, including expired and revoked ones."""
        with self._database.connect() as connection:
            return [_key(row) for row in connection.execute(_ALL.order_by(ApiKeyRow.created, ApiKeyRow.id))]

    def key(self, key_id: str) -> ApiKey:
        """Return one key.

        Raises:
            KeyNotFound: if there is no such key.
        """
        with self._database.connect() as connection:
            row = connection.execute(_ALL.where(ApiKeyRow.id == key_id)).one_or_none()
        if row is None:
            raise KeyNotFound(value=key_id)
        return _key(row)

    def revoke(self, key_id: str) -> ApiKey:
        """Revoke the key; this is idempotent.

        Raises:
            SettingsError: if there is no such key.
        """
        with self._database.begin() as connection:
            connection.execute(
                update(ApiKeyRow).where(ApiKeyRow.id == key_id, ApiKeyRow.revoked.is_(None)).values(revoked=_now())
            )
            row = connection.execute(_ALL.where(ApiKeyRow.id == key_id)).one_or_none()
        if row is None:
            raise SettingsError("The API key does not exist.", value=key_id, remedy="List them: drawerwright keys list")
        return _key(row)

    def any(self) -> bool:
        """Return whether any key exists, even a revoked one: revoking the last key must not open the service."""
        with self._database.connect() as connection:
            return connection.scalar(select(ApiKeyRow.id).limit(1)) is not None

    def find(self, token: str) -> ApiKey | None:
        """Return the key of this token, even if expired or revoked, or None if there is none."""
        match = _FORM.fullmatch(token)
        if match is None:
            return None
        with self._database.connect() as connection:
            row = connection.execute(_ALL.where(ApiKeyRow.id == match[1])).one_or_none()
        same = hmac.compare_digest(_digest(match[2]), _NOBODY if row is None else row.digest)
        return _key(row) if same and row is not None else None

    def used(self, key_id: str) -> None:
        """Record the current hour as the key's last use."""
        hour = _now().replace(minute=0, second=0, microsecond=0)
        with self._database.begin() as connection:
            connection.execute(
                update(ApiKeyRow)
                .where(ApiKeyRow.id == key_id, or_(ApiKeyRow.last_used.is_(None), ApiKeyRow.last_used < hour))
                .values(last_used=hour)
            )


_ALL: Final = select(
    ApiKeyRow.id,
    ApiKeyRow.name,
    ApiKeyRow.digest,
    ApiKeyRow.scopes,
    ApiKeyRow.quotas,
    ApiKeyRow.created,
    ApiKeyRow.expires,
    ApiKeyRow.revoked,
    ApiKeyRow.last_used,
)


def _key(row: Any) -> ApiKey:
    return ApiKey(
        id=row.id,
        name=row.name,
        scopes=cast("tuple[Scope, ...]", tuple(row.scopes)),
        quotas=Quotas(**row.quotas),
        created=row.created,
        expires=row.expires,
        revoked=row.revoked,
        last_used=row.last_used,
    )


def _digest(secret: str) -> str:
    return sha256(secret.encode()).hexdigest()


def _random(digits: int) -> str:
    return "".join(secrets.choice(_DIGITS) for _ in range(digits))


def _now() -> datetime:
    return datetime.now(UTC)
