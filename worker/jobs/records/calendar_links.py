"""Schedule links: secret addresses of calendars, for apps that cannot send a key.

One opens the calendar of one job and nothing else, for as long as the key of whoever asked for it is good. Of its token
only the SHA-256 is kept; it has 256 random bits, so a plain digest cannot be turned back.
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

#: Compared with when there is no such link, so that the answer takes as long.
_NOTHING: Final = sha256(b"").hexdigest()


class CalendarLinks:
    """Reads and writes them. Jobs are looked up, and their owners heard, before one is made or withdrawn."""

    def __init__(self, database: Engine) -> None:
        """Use this database, which has the tables."""
        self._database = database

    def make(self, job_id: str, maker: str) -> SecretStr:
        """Return the token of a new link to the job's calendar, in place of the one before; nobody can tell it again.

        Raises:
            JobNotFound: when there is no such job any more.
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
        """Have the job's link open nothing any more, if it has one."""
        with self._database.begin() as connection:
            connection.execute(delete(CalendarLinkRow).where(CalendarLinkRow.job_id == job_id))

    def owner_of(self, job_id: str, token: str) -> str | None:
        """Return whose job this is, when the token opens its calendar."""
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
