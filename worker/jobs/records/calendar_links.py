"""Calendar links: secret URLs of calendar feeds, for apps that cannot send an API key.

A link gives access to the calendar of one job, as long as the API key that created it is valid. Only the SHA-256 of its
token is stored; with 256 random bits a fast hash is safe.
"""

import hmac
import secrets
from hashlib import sha256
from typing import Final

from pydantic import SecretStr
from sqlalchemy import Engine, delete, or_, select

from worker.jobs.common.errors import JobNotFound
from worker.jobs.database.connection import upsert
from worker.jobs.database.db_clock import utc_now
from worker.jobs.database.tables import ApiKeyRow, CalendarLinkRow, JobRow

__all__ = ["CalendarLinks"]

#: Random bytes of a token.
_BYTES: Final = 32

#: Compared with if there is no such link, so that the timing does not reveal it.
_NOTHING: Final = sha256(b"").hexdigest()


class CalendarLinks:
    """Reads and writes calendar links. Callers check access to the job before."""

    def __init__(self, database: Engine) -> None:
        """Use this database."""
        self._database = database

    def make(self, job_id: str, maker: str) -> SecretStr:
        """Create a link, replacing any earlier one; return its token, which cannot be read again.

        Raises:
            JobNotFound: if the job was deleted.
        """
        token = secrets.token_urlsafe(_BYTES)
        new = {"digest": _digest(token), "maker": maker, "created": utc_now()}
        statement = upsert(self._database, CalendarLinkRow).values(job_id=job_id, **new)
        statement = statement.on_conflict_do_update(index_elements=[CalendarLinkRow.job_id], set_=new)
        with self._database.begin() as connection:
            there = select(JobRow.id).where(JobRow.id == job_id, JobRow.deleted.is_(None))
            if connection.scalar(there) is None:
                raise JobNotFound(value=job_id)
            connection.execute(statement)
        return SecretStr(token)

    def withdraw(self, job_id: str) -> None:
        """Revoke the job's link, if it has one."""
        with self._database.begin() as connection:
            connection.execute(delete(CalendarLinkRow).where(CalendarLinkRow.job_id == job_id))

    def owner_of(self, job_id: str, token: str) -> str | None:
        """Return the owner of the job if the token is valid for its calendar, otherwise None."""
        active = (ApiKeyRow.revoked.is_(None), or_(ApiKeyRow.expires.is_(None), ApiKeyRow.expires > utc_now()))
        query = (
            select(CalendarLinkRow.digest, JobRow.owner)
            .join(JobRow, JobRow.id == CalendarLinkRow.job_id)
            .outerjoin(ApiKeyRow, ApiKeyRow.id == CalendarLinkRow.maker)
            .where(CalendarLinkRow.job_id == job_id, JobRow.deleted.is_(None), *active)
        )
        with self._database.connect() as connection:
            row = connection.execute(query).one_or_none()
        good = hmac.compare_digest(_NOTHING if row is None else row.digest, _digest(token))
        return row.owner if good and row is not None else None


def _digest(token: str) -> str:
    return sha256(token.encode(errors="surrogatepass")).hexdigest()
