"""Print events of jobs, in order, and the print state of each job after its last event.

An event and the state that follows from it are written in one short transaction with optimistic locking: a concurrent
writer reads the state again. Events are never deleted before their job.
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
from worker.jobs.records.webhooks.outbox import enqueue_event
from worker.printing.progress.print_state import PrintState
from worker.printing.progress.recorded_run import RecordedRun
from worker.spec.errors import PrintRefused
from worker.spec.requests.print_event import Outcome, PrintEvent

__all__ = ["PrintEventRecord", "PrintRecords", "PrintStatus", "fingerprint_of"]

#: Attempts to record an event while others write, and the longest pause between two in seconds.
_ATTEMPTS: Final = 60
_PAUSE: Final = 0.05

#: Pauses before run files are retried after all attempts failed: about a week in all.
_PAUSES: Final = Backoff(first=60.0, factor=3.0, longest=21_600.0)
_MOST_PAUSES: Final = 32

#: The runs that tell how reliable printers are: the latest ones.
_MOST_RECORDED: Final = 500

_random: Final = SystemRandom()


@dataclass(frozen=True, slots=True)
class PrintEventRecord:
    """A recorded print event. Times are UTC; ``count`` is set for events of a mark.

    ``pieces_left`` and ``runs_left`` are what remains after the event. ``event`` is the number of the event that this
    one withdraws, ``withdrawn_by`` that of the event that withdrew this one.
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
    clearance: float | None
    printer: str | None
    seconds: float | None
    event: int | None
    withdrawn_by: int | None
    note: str | None
    pieces_left: int
    runs_left: int


@dataclass(frozen=True, slots=True)
class PrintStatus:
    """The print progress of a job: the number of its last event, and whether run files are to be written.

    ``problem`` is why they could not be written; ``retry`` is when that is retried, None until runs are repacked again.
    """

    revision: int
    state: PrintState
    repack: bool
    problem: dict[str, Any] | None
    retry: datetime | None = None


class PrintRecords:
    """Reads and writes print events. Callers check access to the job before."""

    def __init__(self, database: Engine, base: str = "") -> None:
        """Use this database; ``base`` is the service's URL for links in webhook messages."""
        self._base = base
        self._database = database
        self._clock = DatabaseClock(database)
        self.links = CalendarLinks(database)

    def spec(self, job_id: str) -> str:
        """Return the job's spec as JSON.

        Raises:
            JobNotFound: if the job was deleted.
        """
        with self._database.connect() as connection:
            return _spec(connection, job_id)

    def status(self, job_id: str) -> PrintStatus | None:
        """Return the print progress of the job, or None before its first event."""
        with self._database.connect() as connection:
            return _status(connection, job_id)

    def events(self, job_id: str, limit: int, after: int | None = None) -> list[PrintEventRecord]:
        """Return up to ``limit`` events, newest first, starting before the number ``after``."""
        query = select(*_EVENT).where(PrintEventRow.job_id == job_id).order_by(PrintEventRow.number.desc()).limit(limit)
        if after is not None:
            query = query.where(PrintEventRow.number < after)
        with self._database.connect() as connection:
            return [_event(row) for row in connection.execute(query)]

    def events_without(self, job_id: str, number: int) -> dict[int, PrintEvent]:
        """Return the job's events by number that count if this one is withdrawn, in order.

        Raises:
            PrintRefused: if there is no such event, or it cannot be withdrawn.
        """
        query = select(*_EVENT).where(PrintEventRow.job_id == job_id).order_by(PrintEventRow.number)
        with self._database.connect() as connection:
            events = [_event(row) for row in connection.execute(query)]
        withdrawn = next((event for event in events if event.number == number), None)
        if withdrawn is None:
            limit = f"an event of this job, 1 to {len(events)}" if events else "none: nothing is recorded"
            remedy = "Give the number of one of its events."
            raise PrintRefused("The job has no such event.", pointer="/event", value=number, limit=limit, remedy=remedy)
        if withdrawn.withdrawn_by is not None or withdrawn.event is not None:
            raise PrintRefused(
                f"Event {number} is {'a withdrawal itself' if withdrawn.event is not None else 'withdrawn already'}.",
                pointer="/event", value=number, limit="an event that counts",
                remedy="Record what happened in an event of its own.",
            )  # fmt: skip
        return {
            event.number: _reported(event)
            for event in events
            if event.number != number and event.withdrawn_by is None and event.event is None
        }

    def record(
        self,
        job_id: str,
        event: PrintEvent,
        follow: Callable[[PrintState | None], PrintState],
        *,
        effects: Callable[[Connection, PrintState | None, PrintState], None] = lambda *_: None,
        estimate: float | None = None,
    ) -> tuple[PrintEventRecord, bool]:
        """Record an event; return it, and whether it is new.

        Args:
            job_id: the id of a job that succeeded.
            event: an event with an id from the caller is recorded once, however often it is sent.
            follow: returns the print state after the event, given the state before it (None at first). Called again
                if another event was recorded in between.
            estimate: the estimated print time of the event's run in seconds.
            effects: records what else follows from a new event, in its transaction, given the states before and after.

        Raises:
            PrintRepeated: if a different event has this id; also whatever ``follow`` raises.
            PrintsBusy: if other writers got ahead in all attempts.
            JobNotFound: if the job was deleted meanwhile.
        """
        name, fingerprint = event.id or f"ours.{secrets.token_hex(16)}", fingerprint_of(event)
        for _ in range(_ATTEMPTS):
            with self._database.connect() as connection:
                before = _status(connection, job_id)
                # read after the state, so that an event that the state includes is found
                repeated = self._find_repeated(connection, job_id, name, fingerprint) if event.id is not None else None
            if repeated is not None:
                return repeated, False
            state = follow(None if before is None else before.state)
            number = 1 if before is None else before.revision + 1
            made = _printed(event, name, number, state)
            try:
                with self._database.begin() as connection:
                    if _advance(connection, job_id, before, number, state):
                        connection.execute(insert(PrintEventRow).values(_row(job_id, made, fingerprint, estimate)))
                        if event.event is not None:
                            connection.execute(_withdrawal(job_id, event.event, number))
                        enqueue_event(connection, "job.printed", job_id, base=self._base, printed=asdict(made))
                        effects(connection, None if before is None else before.state, state)
                        return made, True
            except IntegrityError:  # the same event concurrently, or a deleted job: the next attempt finds out
                with self._database.connect() as connection:
                    _spec(connection, job_id)
            time.sleep(_random.uniform(0.0, _PAUSE))
        raise PrintsBusy(remedy="Try again in a moment.")

    def recorded_runs(self, job_id: str, limit: int = _MOST_RECORDED) -> list[RecordedRun]:
        """Return the latest runs, of all jobs of this job's owner, whose printer was recorded; newest first."""
        owner = select(JobRow.owner).where(JobRow.id == job_id).scalar_subquery()
        query = (
            select(
                PrintEventRow.printer, PrintEventRow.outcome, PrintEventRow.failed, PrintEventRow.seconds,
                PrintEventRow.estimate,
            )
            .join(JobRow, JobRow.id == PrintEventRow.job_id)
            .where(JobRow.owner == owner, PrintEventRow.printer.is_not(None), PrintEventRow.outcome != "placed")
            .where(PrintEventRow.withdrawn_by.is_(None))
            .order_by(PrintEventRow.recorded.desc(), PrintEventRow.job_id, PrintEventRow.number)
            .limit(limit)
        )  # fmt: skip
        with self._database.connect() as connection:
            return [
                RecordedRun(
                    row.printer,
                    failed=row.outcome == "failed" or bool(row.failed),
                    ratio=row.seconds / row.estimate if row.seconds and row.estimate else None,
                )
                for row in connection.execute(query)
            ]

    # -- files of repacked runs

    def waiting(self, *, quiet_seconds: float, limit: int) -> list[str]:
        """Return jobs whose new runs need files, without a message in the last ``quiet_seconds``."""
        quiet = self._clock.stale(PrintStateRow.enqueued, quiet_seconds)
        due = and_(PrintStateRow.repack.is_(True), self._is_due(), quiet)
        query = select(PrintStateRow.job_id).join(JobRow, JobRow.id == PrintStateRow.job_id)
        query = query.where(due, JobRow.deleted.is_(None)).order_by(PrintStateRow.job_id).limit(limit)
        with self._database.connect() as connection:
            return list(connection.scalars(query))

    def mark_enqueued(self, job_ids: Iterable[str]) -> None:
        """Record that a message for each of these jobs was published."""
        statement = update(PrintStateRow).where(PrintStateRow.job_id.in_(list(job_ids)))
        with self._database.begin() as connection:
            connection.execute(statement.values(enqueued=self._clock.at()))

    def attempt(self, job_id: str, revision: int) -> int | None:
        """Count an attempt at the files of this revision; return its number since the last pause.

        Return None if another revision is due, or the pause is not over.
        """
        again = case((PrintStateRow.problem.is_(None), PrintStateRow.attempts + 1), else_=1)
        statement = (
            update(PrintStateRow)
            .where(_due(job_id, revision), self._is_due())
            .values(attempts=again, problem=None, retry=None)
            .returning(PrintStateRow.attempts)
        )
        with self._database.begin() as connection:
            return connection.scalar(statement)

    def keep(self, job_id: str, files: Sequence[StoredFile]) -> bool:
        """Add stored run files to the job, each name once; return False if the job was deleted."""
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
        """Record that all run files of this revision are written; return False after newer events."""
        return self._end(job_id, revision, repack=False)

    def fail(self, job_id: str, revision: int, problem: dict[str, Any]) -> bool:
        """Record why the files of this revision cannot be written; they are retried with exponential backoff.

        After the last pause, only the next event that repacks runs starts new attempts.
        """
        with self._database.connect() as connection:
            before = connection.scalar(select(PrintStateRow.rounds).where(_due(job_id, revision)))
        rounds = 1 if before is None else before + 1
        retry = None if rounds > _MOST_PAUSES else self._clock.at(_PAUSES.after(rounds))
        return self._end(job_id, revision, problem=problem, rounds=rounds, retry=retry)

    def _is_due(self) -> Any:
        return or_(PrintStateRow.problem.is_(None), self._clock.expired(PrintStateRow.retry, _PAUSES.longest))

    def _end(self, job_id: str, revision: int, **values: Any) -> bool:
        with self._database.begin() as connection:
            return _count(connection, update(PrintStateRow).where(_due(job_id, revision)).values(**values)) == 1

    @staticmethod
    def _find_repeated(connection: Connection, job_id: str, name: str, fingerprint: str) -> PrintEventRecord | None:
        """Return the event with this id, or None; raise `PrintRepeated` if it differs."""
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
    """Return the digest of an event's content, independent of its id and JSON form."""
    document = event.model_dump(mode="json", exclude={"id"})
    return sha256(orjson.dumps(document, option=orjson.OPT_SORT_KEYS)).hexdigest()


def _printed(event: PrintEvent, name: str, number: int, state: PrintState) -> PrintEventRecord:
    now = utc_now()
    return PrintEventRecord(
        number=number,
        id=name,
        recorded=now,
        at=now if event.at is None else event.at.astimezone(UTC),  # as the database returns it
        outcome=event.outcome,
        run=event.run,
        mark=event.mark,
        count=None if event.mark is None else event.count,
        failed=dict(event.failed),
        clearance=event.clearance,
        printer=event.printer,
        seconds=event.seconds,
        event=event.event,
        withdrawn_by=None,
        note=event.note,
        pieces_left=state.left.total(),
        runs_left=len(state.open),
    )


def _reported(made: PrintEventRecord) -> PrintEvent:
    """Return the event as it was reported, as far as it counts pieces."""
    names = ("outcome", "run", "mark", "count", "failed", "clearance", "printer")
    return PrintEvent(**{name: value for name in names if (value := getattr(made, name)) is not None})


def _withdrawal(job_id: str, withdrawn: int, number: int) -> Any:
    own = PrintEventRow.job_id == job_id
    return update(PrintEventRow).where(own, PrintEventRow.number == withdrawn).values(withdrawn_by=number)


def _row(job_id: str, made: PrintEventRecord, fingerprint: str, estimate: float | None) -> dict[str, Any]:
    values = {name: getattr(made, name) for name in PrintEventRecord.__slots__}
    return {"job_id": job_id, "fingerprint": fingerprint, "estimate": estimate, **values}


def _advance(connection: Connection, job_id: str, before: PrintStatus | None, number: int, state: PrintState) -> bool:
    """Replace the previous state by this one; return False if another event was recorded since."""
    values: dict[str, Any] = {"revision": number, "progress": state.model_dump(mode="json")}
    first = 0 if before is None else before.state.next_run
    if any(not entry.planned and entry.run.number >= first for entry in state.runs):
        # repacked runs need files
        values |= {"repack": True, "enqueued": None, "attempts": 0, "problem": None, "rounds": 0, "retry": None}
    if before is None:
        return _add_new(connection, PrintStateRow, {"job_id": job_id, **values}, "job_id")
    same = and_(PrintStateRow.job_id == job_id, PrintStateRow.revision == before.revision)
    return _count(connection, update(PrintStateRow).where(same).values(**values)) == 1


def _add_new(connection: Connection, table: Any, values: dict[str, Any], *key: str) -> bool:
    """Insert a row unless its key exists; return whether it was inserted."""
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
        PrintStateRow.progress,
        PrintStateRow.repack,
        PrintStateRow.problem,
        PrintStateRow.retry,
    )
    row = connection.execute(select(*at).where(PrintStateRow.job_id == job_id)).one_or_none()
    if row is None:
        return None
    return PrintStatus(row.revision, PrintState.model_validate(row.progress), row.repack, row.problem, row.retry)


def _spec(connection: Connection, job_id: str) -> str:
    spec = connection.scalar(select(JobRow.spec).where(JobRow.id == job_id, JobRow.deleted.is_(None)))
    if spec is None:
        raise JobNotFound(value=job_id)
    return spec
