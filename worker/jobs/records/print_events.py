"""The record of prints: what was said of a job's pieces, in order, and where the job stands after it.

An event and the standing that follows from it are written in one short transaction, from the revision that was read.
Whoever comes second reads again. Nothing is ever taken out of the history.
"""

import secrets
import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from hashlib import sha256
from random import SystemRandom
from typing import Any, Final, cast

import orjson
from sqlalchemy import Connection, CursorResult, Engine, and_, case, insert, or_, select, update
from sqlalchemy.exc import IntegrityError

from worker.jobs.common.backoff import Backoff
from worker.jobs.common.errors import JobNotFound, PrintRepeated, PrintsBusy
from worker.jobs.database.connection import upsert
from worker.jobs.database.db_clock import DatabaseClock, utc_now
from worker.jobs.database.tables import JobFileRow, JobRow, PrintEventRow, PrintStateRow
from worker.jobs.records.calendar_links import CalendarLinks
from worker.jobs.records.models import StoredFile
from worker.jobs.records.row_mapping import file_values
from worker.jobs.records.webhook_outbox import enqueue_event
from worker.printing.progress.print_state import PrintState
from worker.spec.requests.print_event import Outcome, PrintEvent

__all__ = ["PrintEventRecord", "PrintRecords", "PrintStatus", "fingerprint_of"]

#: How often an event is tried for while others write, and the longest pause between two tries in seconds.
_TRIES: Final = 60
_PAUSE: Final = 0.05

#: Before the files of new runs are tried again after all attempts at them failed: for about a week.
_PAUSES: Final = Backoff(first=60.0, factor=3.0, longest=21_600.0)
_MOST_PAUSES: Final = 32

_random: Final = SystemRandom()


@dataclass(frozen=True, slots=True)
class PrintEventRecord:
    """An event as it was recorded. Times are UTC. ``count`` is of a mark.

    ``pieces_left`` and ``runs_left`` are what was left after it.
    """

    number: int
    id: str
    recorded: datetime
    at: datetime
    outcome: Outcome
    run: int | None
    mark: str | None
    count: int | None
    failed: dict[str, int]
    note: str | None
    pieces_left: int
    runs_left: int


@dataclass(frozen=True, slots=True)
class PrintStatus:
    """Where a job's printing stands: the number of the last event, and whether files of new runs are to be written.

    ``problem`` is why they could not be written, ``retry`` when that is tried again; None: with the next new runs.
    """

    revision: int
    standing: PrintState
    repack: bool
    problem: dict[str, Any] | None
    retry: datetime | None = None


class PrintRecords:
    """Reads and writes the record of prints. Jobs are looked up, and their owners heard, before it is asked."""

    def __init__(self, database: Engine, base: str = "") -> None:
        """Use this database, which has the tables; messages link to jobs below this address of the service."""
        self._base = base
        self._database = database
        self._clock = DatabaseClock(database)
        self.links = CalendarLinks(database)

    def spec(self, job_id: str) -> str:
        """Return the job's spec as JSON.

        Raises:
            JobNotFound: when there is no such job any more.
        """
        with self._database.connect() as connection:
            return _spec(connection, job_id)

    def status(self, job_id: str) -> PrintStatus | None:
        """Return where the job's printing stands, or None when nothing was said of it."""
        with self._database.connect() as connection:
            return _status(connection, job_id)

    def events(self, job_id: str, limit: int, after: int | None = None) -> list[PrintEventRecord]:
        """Return up to ``limit`` events, newest first, from the one before number ``after``."""
        query = select(*_EVENT).where(PrintEventRow.job_id == job_id).order_by(PrintEventRow.number.desc()).limit(limit)
        if after is not None:
            query = query.where(PrintEventRow.number < after)
        with self._database.connect() as connection:
            return [_event(row) for row in connection.execute(query)]

    def record(
        self, job_id: str, event: PrintEvent, follow: Callable[[PrintState | None], PrintState]
    ) -> tuple[PrintEventRecord, bool]:
        """Record an event; return it, and whether it is new.

        Args:
            job_id: of a job that succeeded.
            event: with an id of the caller's own, it is recorded once, however often it comes.
            follow: returns the standing after the event from the one before, which is None at first. It is called again
                when another event came in between.

        Raises:
            PrintRepeated: when another event has this id; and whatever ``follow`` raises.
            PrintsBusy: when others write all the time.
            JobNotFound: when the job was removed meanwhile.
        """
        name, fingerprint = event.id or f"ours.{secrets.token_hex(16)}", fingerprint_of(event)
        for _ in range(_TRIES):
            with self._database.connect() as connection:
                before = _status(connection, job_id)
                # looked for second: an event that the standing counts already is there by now
                repeated = self._find_repeated(connection, job_id, name, fingerprint) if event.id is not None else None
            if repeated is not None:
                return repeated, False
            standing = follow(None if before is None else before.standing)
            number = 1 if before is None else before.revision + 1
            made = _printed(event, name, number, standing)
            try:
                with self._database.begin() as connection:
                    if _advance(connection, job_id, before, number, standing):
                        connection.execute(insert(PrintEventRow).values(_row(job_id, made, fingerprint)))
                        enqueue_event(connection, "job.printed", job_id, base=self._base, printed=asdict(made))
                        return made, True
            except IntegrityError:  # the same event at the same moment, or a job that is gone: the next look tells
                with self._database.connect() as connection:
                    _spec(connection, job_id)
            time.sleep(_random.uniform(0.0, _PAUSE))
        raise PrintsBusy(remedy="Try again in a moment.")

    # -- files of runs that were packed afresh

    def waiting(self, *, quiet_seconds: float, limit: int) -> list[str]:
        """Return jobs whose new runs need files and that had no message in the last ``quiet_seconds``."""
        quiet = self._clock.stale(PrintStateRow.enqueued, quiet_seconds)
        due = and_(PrintStateRow.repack.is_(True), self._to_be_tried(), quiet)
        query = select(PrintStateRow.job_id).join(JobRow, JobRow.id == PrintStateRow.job_id)
        query = query.where(due, JobRow.deleted.is_(None)).order_by(PrintStateRow.job_id).limit(limit)
        with self._database.connect() as connection:
            return list(connection.scalars(query))

    def mark_enqueued(self, job_ids: Iterable[str]) -> None:
        """Note that the broker has a message for each of these jobs."""
        statement = update(PrintStateRow).where(PrintStateRow.job_id.in_(list(job_ids)))
        with self._database.begin() as connection:
            connection.execute(statement.values(enqueued=self._clock.at()))

    def attempt(self, job_id: str, revision: int) -> int | None:
        """Count an attempt at the files of this revision; return which it is of those since the last pause.

        None when another revision is due, or none before the pause is over.
        """
        again = case((PrintStateRow.problem.is_(None), PrintStateRow.attempts + 1), else_=1)
        statement = (
            update(PrintStateRow)
            .where(_due(job_id, revision), self._to_be_tried())
            .values(attempts=again, problem=None, retry=None)
            .returning(PrintStateRow.attempts)
        )
        with self._database.begin() as connection:
            return connection.scalar(statement)

    def keep(self, job_id: str, files: Sequence[StoredFile]) -> bool:
        """Keep files of runs, which the store has; False when the job is gone. A number's file is kept once."""
        with self._database.begin() as connection:
            for file in files:
                values = {"job_id": job_id, **file_values(file)}
                there = update(JobRow).where(JobRow.id == job_id, JobRow.deleted.is_(None))
                if _count(connection, there.values(bytes=JobRow.bytes)) != 1:
                    return False
                if _add_new(connection, JobFileRow, values, "job_id", "name"):
                    connection.execute(there.values(bytes=JobRow.bytes + file.bytes))
        return True

    def written(self, job_id: str, revision: int) -> bool:
        """Note that every run of this revision has its file; False when events came since."""
        return self._end(job_id, revision, repack=False)

    def fail(self, job_id: str, revision: int, problem: dict[str, Any]) -> bool:
        """Note why the files of this revision cannot be written: they are tried again after a pause that grows.

        After so many of them that it is of no use, only with the next event that makes new runs.
        """
        with self._database.connect() as connection:
            before = connection.scalar(select(PrintStateRow.rounds).where(_due(job_id, revision)))
        rounds = 1 if before is None else before + 1
        retry = None if rounds > _MOST_PAUSES else self._clock.at(_PAUSES.after(rounds))
        return self._end(job_id, revision, problem=problem, rounds=rounds, retry=retry)

    def _to_be_tried(self) -> Any:
        return or_(PrintStateRow.problem.is_(None), self._clock.expired(PrintStateRow.retry, _PAUSES.longest))

    def _end(self, job_id: str, revision: int, **values: Any) -> bool:
        with self._database.begin() as connection:
            return _count(connection, update(PrintStateRow).where(_due(job_id, revision)).values(**values)) == 1

    @staticmethod
    def _find_repeated(connection: Connection, job_id: str, name: str, fingerprint: str) -> PrintEventRecord | None:
        """Return the event that has this id, if one has."""
        query = select(PrintEventRow.fingerprint, *_EVENT).where(
            PrintEventRow.job_id == job_id, PrintEventRow.id == name
        )
        row = connection.execute(query).one_or_none()
        if row is None:
            return None
        if row[0] != fingerprint:
            raise PrintRepeated(
                pointer="/id", value=name, limit="the same event again", remedy="Give it an id of its own."
            )
        return _event(row[1:])


_EVENT: Final = tuple(getattr(PrintEventRow, name) for name in PrintEventRecord.__slots__)


def _event(row: Any) -> PrintEventRecord:
    return PrintEventRecord(*row)


def fingerprint_of(event: PrintEvent) -> str:
    """Return the digest of what an event says, whatever its id and however it was written."""
    document = event.model_dump(mode="json", exclude={"id"})
    return sha256(orjson.dumps(document, option=orjson.OPT_SORT_KEYS)).hexdigest()


def _printed(event: PrintEvent, name: str, number: int, standing: PrintState) -> PrintEventRecord:
    now = utc_now()
    return PrintEventRecord(
        number=number,
        id=name,
        recorded=now,
        at=now if event.at is None else event.at.astimezone(UTC),  # as it is read again
        outcome=event.outcome,
        run=event.run,
        mark=event.mark,
        count=None if event.mark is None else event.count,
        failed=dict(event.failed),
        note=event.note,
        pieces_left=standing.left.total(),
        runs_left=len(standing.open),
    )


def _row(job_id: str, made: PrintEventRecord, fingerprint: str) -> dict[str, Any]:
    values = {name: getattr(made, name) for name in PrintEventRecord.__slots__}
    return {"job_id": job_id, "fingerprint": fingerprint, **values}


def _advance(
    connection: Connection, job_id: str, before: PrintStatus | None, number: int, standing: PrintState
) -> bool:
    """Write the standing over the one that it follows from; False when that is no longer the last."""
    values: dict[str, Any] = {"revision": number, "standing": standing.model_dump(mode="json")}
    first = 0 if before is None else before.standing.next_run
    if any(not entry.planned and entry.run.number >= first for entry in standing.runs):
        # new runs: their files are due
        values |= {"repack": True, "enqueued": None, "attempts": 0, "problem": None, "rounds": 0, "retry": None}
    if before is None:
        return _add_new(connection, PrintStateRow, {"job_id": job_id, **values}, "job_id")
    same = and_(PrintStateRow.job_id == job_id, PrintStateRow.revision == before.revision)
    return _count(connection, update(PrintStateRow).where(same).values(**values)) == 1


def _add_new(connection: Connection, table: Any, values: dict[str, Any], *key: str) -> bool:
    """Add a row where none has its key; say whether this did it."""
    statement = (
        upsert(connection, table)
        .values(**values)
        .on_conflict_do_nothing(index_elements=list(key))
        .returning(table.job_id)
    )
    return connection.execute(statement).one_or_none() is not None


def _due(job_id: str, revision: int) -> Any:
    return and_(PrintStateRow.job_id == job_id, PrintStateRow.revision == revision, PrintStateRow.repack.is_(True))


def _count(connection: Connection, statement: Any) -> int:
    return cast("CursorResult[Any]", connection.execute(statement)).rowcount


def _status(connection: Connection, job_id: str) -> PrintStatus | None:
    at = (
        PrintStateRow.revision,
        PrintStateRow.standing,
        PrintStateRow.repack,
        PrintStateRow.problem,
        PrintStateRow.retry,
    )
    row = connection.execute(select(*at).where(PrintStateRow.job_id == job_id)).one_or_none()
    if row is None:
        return None
    return PrintStatus(row.revision, PrintState.model_validate(row.standing), row.repack, row.problem, row.retry)


def _spec(connection: Connection, job_id: str) -> str:
    spec = connection.scalar(select(JobRow.spec).where(JobRow.id == job_id, JobRow.deleted.is_(None)))
    if spec is None:
        raise JobNotFound(value=job_id)
    return spec
