"""The table of silhouettes and their files, and the claim on reading one."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final, Literal, TypeAlias, cast

import orjson
from sqlalchemy import Connection, CursorResult, Engine, and_, delete, exists, func, insert, or_, select, update

from worker.jobs.common.errors import (
    HouseholdConflict,
    PreconditionFailed,
    QuotaReached,
    SilhouetteNotFound,
    SilhouetteNotReady,
)
from worker.jobs.common.principal import Quotas
from worker.jobs.database.db_clock import DatabaseClock, utc_now
from worker.jobs.database.lease import claim_values, is_free
from worker.jobs.database.tables import SilhouetteFileRow, SilhouetteRow, ThingRow
from worker.jobs.records.idempotency import IdempotencyKey, claim_key
from worker.jobs.records.job_document import absolute
from worker.jobs.records.job_filters import contains, has_tag
from worker.jobs.records.models import StoredFile
from worker.jobs.records.quotas import enforce_quotas
from worker.jobs.records.row_mapping import file_columns, file_values, tags_of, tags_text
from worker.jobs.records.webhooks.outbox import enqueue_silhouette_event
from worker.silhouettes.picture_names import OVERLAY_NAME, RECTIFIED_NAME

__all__ = [
    "MOST_SILHOUETTES",
    "SILHOUETTE_ENDED",
    "SILHOUETTE_LEASE",
    "NewSilhouette",
    "SilhouetteKind",
    "SilhouetteRecords",
    "SilhouetteState",
    "SilhouetteSummary",
    "StoredSilhouette",
    "silhouette_fields",
]

SilhouetteKind: TypeAlias = Literal["photo", "drawing", "model", "points"]
SilhouetteState: TypeAlias = Literal["queued", "running", "succeeded", "failed"]

#: States in which nothing happens any more.
SILHOUETTE_ENDED: Final = ("succeeded", "failed")

#: Length of the lease on reading a silhouette in seconds: longer than a reading may take, so that it needs no renewal.
SILHOUETTE_LEASE: Final = 120.0

#: Columns of a summary.
_SUMMARY: Final = (
    "id", "name", "kind", "state", "tags", "corrected", "problem", "created", "updated", "finished", "revision",
)  # fmt: skip

#: Most silhouettes of one owner.
MOST_SILHOUETTES: Final = 5_000


@dataclass(frozen=True, slots=True)
class NewSilhouette:
    """A silhouette to be added; with ``result`` there is nothing to be read."""

    id: str
    name: str
    kind: SilhouetteKind
    request: str
    tags: tuple[str, ...] = ()
    files: tuple[StoredFile, ...] = ()
    result: dict[str, Any] | None = None


@dataclass(frozen=True, slots=True)
class StoredSilhouette:
    """A silhouette. ``result`` has its outline and the poses of a model, as JSON. Times are UTC."""

    id: str
    owner: str
    name: str
    kind: SilhouetteKind
    state: SilhouetteState
    request: str
    tags: tuple[str, ...]
    result: dict[str, Any] | None
    corrected: bool
    problem: dict[str, Any] | None
    created: datetime
    updated: datetime
    finished: datetime | None
    revision: int
    files: tuple[StoredFile, ...]

    @property
    def ended(self) -> bool:
        """Whether it has been read, or could not be."""
        return self.state in SILHOUETTE_ENDED

    @property
    def has_outline(self) -> bool:
        """Whether it has an outline."""
        return self.result is not None

    @property
    def has_overlay(self) -> bool:
        """Whether it has a picture of the outline over the photo."""
        return self.file(OVERLAY_NAME) is not None

    @property
    def has_photo(self) -> bool:
        """Whether it has the rectified photo without lines; those read by earlier versions do not."""
        return self.file(RECTIFIED_NAME) is not None

    def file(self, name: str) -> StoredFile | None:
        """Return its file of this name, or None."""
        return next((file for file in self.files if file.name == name), None)


@dataclass(frozen=True, slots=True)
class SilhouetteSummary:
    """A silhouette without what it was made from and without its outline, which may be long. Times are UTC."""

    id: str
    name: str
    kind: SilhouetteKind
    state: SilhouetteState
    tags: tuple[str, ...]
    corrected: bool
    problem: dict[str, Any] | None
    created: datetime
    updated: datetime
    finished: datetime | None
    revision: int
    has_outline: bool
    has_overlay: bool
    has_photo: bool


class SilhouetteRecords:
    """Reads and writes silhouettes; an ``owner`` of None stands for all owners."""

    def __init__(self, database: Engine, base: str = "") -> None:
        """Use this database; ``base`` is the public URL of the service for links in messages, empty for paths."""
        self._database = database
        self._base = base
        self._clock = DatabaseClock(database)

    # -- as callers see it

    def add(
        self, made: NewSilhouette, *, owner: str, quotas: Quotas | None = None, repeat: IdempotencyKey | None = None
    ) -> str:
        """Add a silhouette; return its id, or that of the silhouette that this request already created.

        Raises:
            QuotaReached, RequestRepeated: nothing was added.
        """
        now, state = utc_now(), "queued" if made.result is None else "succeeded"
        size = sum(file.bytes for file in made.files)
        with self._database.begin() as connection:
            if repeat is not None and (earlier := claim_key(connection, repeat, owner, made.id, now)) != made.id:
                return earlier
            if quotas is not None:
                enforce_quotas(connection, owner, quotas, now, size)
            _check_count(connection, owner, quotas)
            row = {
                "id": made.id, "owner": owner, "name": made.name, "kind": made.kind, "state": state,
                "request": made.request, "tags": tags_text(made.tags), "created": now, "updated": now, "bytes": size,
                "result": None if made.result is None else orjson.dumps(made.result).decode(),
                "finished": None if made.result is None else now,
            }  # fmt: skip
            connection.execute(insert(SilhouetteRow).values(**row))
            _add_files(connection, made.id, made.files)
        return made.id

    def find(self, silhouette_id: str, owner: str | None) -> StoredSilhouette:
        """Return a silhouette.

        Raises:
            SilhouetteNotFound: if it does not exist, or has another owner.
        """
        with self._database.connect() as connection:
            return _stored(connection, _row(connection, silhouette_id, owner))

    def latest(
        self,
        owner: str | None,
        limit: int,
        after: str | None = None,
        *,
        name: str | None = None,
        tags: Sequence[str] = (),
        changed_after: datetime | None = None,
    ) -> list[StoredSilhouette]:
        """Return up to ``limit`` silhouettes that have all these tags, newest first; ``name`` is a part of the name."""
        query = select(*SilhouetteRow.__table__.columns).order_by(SilhouetteRow.id.desc()).limit(limit)
        query = query.where(
            *([] if owner is None else [SilhouetteRow.owner == owner]),
            *([] if after is None else [SilhouetteRow.id < after]),
            *([] if name is None else [contains(SilhouetteRow.name, name)]),
            *(has_tag(SilhouetteRow.tags, tag) for tag in tags),
            *([] if changed_after is None else [SilhouetteRow.updated > changed_after]),
        )
        with self._database.connect() as connection:
            return [_stored(connection, row) for row in connection.execute(query).all()]

    def changed_since(self, moment: datetime, limit: int, *, owner: str | None = None) -> list[SilhouetteSummary]:
        """Return silhouettes (of this owner) that changed at or after this time, in the order of their last change."""
        has = {"has_overlay": OVERLAY_NAME, "has_photo": RECTIFIED_NAME}
        pictures = [
            exists()
            .where(SilhouetteFileRow.silhouette_id == SilhouetteRow.id, SilhouetteFileRow.name == name)
            .label(label)
            for label, name in has.items()
        ]
        columns = [getattr(SilhouetteRow, name) for name in _SUMMARY]
        query = select(*columns, SilhouetteRow.result.is_not(None).label("has_outline"), *pictures)
        query = query.where(SilhouetteRow.updated >= moment, *([] if owner is None else [SilhouetteRow.owner == owner]))
        query = query.order_by(SilhouetteRow.updated, SilhouetteRow.id).limit(limit)
        with self._database.connect() as connection:
            rows = connection.execute(query).mappings().all()
        return [SilhouetteSummary(**{**row, "tags": tags_of(row["tags"])}) for row in rows]

    def correct(
        self, silhouette_id: str, owner: str | None, outline: dict[str, Any], revision: int | None
    ) -> StoredSilhouette:
        """Replace the outline by one that a person corrected.

        Raises:
            SilhouetteNotFound: if it does not exist, or has another owner.
            SilhouetteNotReady: if it has not been read yet.
            PreconditionFailed: if ``revision`` is given and is not its current one.
        """
        with self._database.begin() as connection:
            row = _row(connection, silhouette_id, owner)
            if row.state not in SILHOUETTE_ENDED:
                raise SilhouetteNotReady(
                    "The silhouette is still being read.", value=row.state, limit="succeeded or failed",
                    remedy="Wait until it has been read.",
                )  # fmt: skip
            result = {"poses": [], **(orjson.loads(row.result) if row.result else {}), "outline": outline}
            values = {"result": orjson.dumps(result).decode(), "corrected": True, "updated": utc_now()}
            same = () if revision is None else (SilhouetteRow.revision == revision,)
            statement = update(SilhouetteRow).where(
                SilhouetteRow.id == silhouette_id, SilhouetteRow.state.in_(SILHOUETTE_ENDED), *same
            )
            changed = statement.values(**values, state="succeeded", problem=None, revision=SilhouetteRow.revision + 1)
            if _count(connection, changed) != 1:
                raise PreconditionFailed(limit=f"revision {revision}", remedy="Get it again, and repeat the change.")
            return _stored(connection, _row(connection, silhouette_id, owner))

    def remove(self, silhouette_id: str, owner: str | None, revision: int | None = None) -> None:
        """Delete the rows of a silhouette; its files are deleted afterwards.

        Raises:
            SilhouetteNotFound: if it does not exist, or has another owner.
            HouseholdConflict: if a thing names it.
            PreconditionFailed: if ``revision`` is given and is not its current one.
        """
        with self._database.begin() as connection:
            row = _row(connection, silhouette_id, owner)
            naming = select(ThingRow.id).where(ThingRow.owner == row.owner, contains(ThingRow.document, silhouette_id))
            if (thing := connection.scalar(naming.limit(1))) is not None:
                raise HouseholdConflict(
                    "A thing has this silhouette as its shape.", value=thing, limit="a silhouette that no thing names",
                    remedy="Give the thing another shape first: PUT /v1/things/{id}.",
                )  # fmt: skip
            same = () if revision is None else (SilhouetteRow.revision == revision,)
            if _count(connection, delete(SilhouetteRow).where(SilhouetteRow.id == silhouette_id, *same)) != 1:
                raise PreconditionFailed(limit=f"revision {revision}", remedy="Get it again, and repeat the change.")

    # -- reading

    def waiting(self, *, quiet_seconds: float, limit: int) -> list[str]:
        """Return unread silhouettes that nobody reads, without a message in the last ``quiet_seconds``."""
        quiet = self._clock.stale(SilhouetteRow.enqueued, quiet_seconds)
        lost = and_(SilhouetteRow.claim.is_not(None), self._clock.expired(SilhouetteRow.lease, SILHOUETTE_LEASE))
        free = or_(and_(SilhouetteRow.claim.is_(None), quiet), lost)
        query = select(SilhouetteRow.id).where(SilhouetteRow.state.not_in(SILHOUETTE_ENDED), free)
        with self._database.connect() as connection:
            return list(connection.scalars(query.order_by(SilhouetteRow.id).limit(limit)))

    def mark_enqueued(self, silhouette_ids: Iterable[str]) -> None:
        """Record that a message for each of these silhouettes was published."""
        with self._database.begin() as connection:
            chosen = SilhouetteRow.id.in_(list(silhouette_ids))
            connection.execute(update(SilhouetteRow).where(chosen).values(enqueued=self._clock.at()))

    def claim(self, silhouette_id: str, *, attempts: int) -> str | None:
        """Claim a silhouette for reading; return the claim token, or None if that is not possible."""
        token, claimed = claim_values(self._clock, SilhouetteRow, SILHOUETTE_LEASE)
        statement = update(SilhouetteRow).where(
            SilhouetteRow.id == silhouette_id, self._free(), SilhouetteRow.attempts < attempts
        )
        return token if self._changed(statement.values(**claimed, **_new_state("running"))) else None

    def give_up(self, silhouette_id: str, *, attempts: int, problem: dict[str, Any]) -> bool:
        """Fail an unclaimed silhouette that has no attempts left; return whether this call did."""
        over = update(SilhouetteRow).where(
            SilhouetteRow.id == silhouette_id, self._free(), SilhouetteRow.attempts >= attempts
        )
        with self._database.begin() as connection:
            if _count(connection, over.values(**_end("failed"), problem=problem)) != 1:
                return False
            self._report_end(connection, silhouette_id)
        return True

    def release(self, silhouette_id: str, token: str, *, counted: bool = True) -> bool:
        """Leave the silhouette to a retry. An attempt that met an outage is not ``counted``."""
        values = {} if counted else {"attempts": SilhouetteRow.attempts - 1}
        released = {"claim": None, "lease": None, "enqueued": None, **_new_state("queued")}
        return self._changed(_held(silhouette_id, token).values(**released, **values))

    def finish(self, silhouette_id: str, token: str, result: dict[str, Any], files: Sequence[StoredFile]) -> bool:
        """Record what was read, with the files to keep; return False if the claim is lost."""
        values = {"result": orjson.dumps(result).decode(), "bytes": sum(file.bytes for file in files)}
        with self._database.begin() as connection:
            if _count(connection, _held(silhouette_id, token).values(**_end("succeeded"), **values)) != 1:
                return False
            connection.execute(delete(SilhouetteFileRow).where(SilhouetteFileRow.silhouette_id == silhouette_id))
            _add_files(connection, silhouette_id, files)
            self._report_end(connection, silhouette_id)
        return True

    def fail(self, silhouette_id: str, token: str, problem: dict[str, Any], files: Sequence[StoredFile]) -> bool:
        """Record why nothing could be read, with the files to keep; return False if the claim is lost."""
        values = {"problem": problem, "bytes": sum(file.bytes for file in files)}
        with self._database.begin() as connection:
            if _count(connection, _held(silhouette_id, token).values(**_end("failed"), **values)) != 1:
                return False
            connection.execute(delete(SilhouetteFileRow).where(SilhouetteFileRow.silhouette_id == silhouette_id))
            _add_files(connection, silhouette_id, files)
            self._report_end(connection, silhouette_id)
        return True

    def _report_end(self, connection: Connection, silhouette_id: str) -> None:
        silhouette = _stored(connection, _row(connection, silhouette_id, None))
        if silhouette.finished is not None:
            fields = silhouette_fields(silhouette, self._base)
            enqueue_silhouette_event(connection, silhouette_id, silhouette.owner, silhouette.finished, fields)

    def _free(self) -> Any:
        free = is_free(self._clock, SilhouetteRow, SILHOUETTE_LEASE)
        return and_(SilhouetteRow.state.not_in(SILHOUETTE_ENDED), free)

    def _changed(self, statement: Any) -> bool:
        with self._database.begin() as connection:
            return _count(connection, statement) == 1


def silhouette_fields(silhouette: StoredSilhouette | SilhouetteSummary, base: str) -> dict[str, Any]:
    """Return the fields of a silhouette but its outline, which may be long; ``base`` is the service's URL, or empty."""
    url = f"{base}/v1/silhouettes/{silhouette.id}"
    return {
        **{name: getattr(silhouette, name) for name in ("id", "name", "tags", "kind", "state", "created", "finished")},
        "problem": None if silhouette.problem is None else absolute(base, silhouette.problem),
        "links": {
            "self": url,
            "outline": f"{url}/outline.svg" if silhouette.has_outline else None,
            "overlay": f"{url}/{OVERLAY_NAME}" if silhouette.has_overlay else None,
            "photo": f"{url}/{OVERLAY_NAME}?lines=false" if silhouette.has_photo else None,
        },
    }


def _new_state(state: SilhouetteState) -> dict[str, Any]:
    return {"state": state, "updated": utc_now(), "revision": SilhouetteRow.revision + 1}


def _end(state: SilhouetteState) -> dict[str, Any]:
    return {**_new_state(state), "finished": utc_now(), "claim": None, "lease": None}


def _check_count(connection: Connection, owner: str, quotas: Quotas | None) -> None:
    of_owner = SilhouetteRow.owner == owner
    count = connection.scalar(select(func.count()).where(of_owner)) or 0
    if count >= MOST_SILHOUETTES:
        raise QuotaReached(
            "The maximum number of silhouettes is reached.", value=count, limit=f"{MOST_SILHOUETTES} silhouettes",
            remedy="Delete some: DELETE /v1/silhouettes/{id}.",
        )  # fmt: skip
    if quotas is not None and quotas.waiting:
        query = select(func.count()).where(of_owner, SilhouetteRow.state.not_in(SILHOUETTE_ENDED))
        if (waiting := connection.scalar(query) or 0) >= quotas.waiting:
            error = QuotaReached(
                "The quota of silhouettes that are being read is used up.", value=waiting,
                limit=f"{quotas.waiting} queued or running", remedy="Wait until one has been read.",
            )  # fmt: skip
            error.wait = 10
            raise error


def _row(connection: Connection, silhouette_id: str, owner: str | None) -> Any:
    of_owner = () if owner is None else (SilhouetteRow.owner == owner,)
    query = select(*SilhouetteRow.__table__.columns).where(SilhouetteRow.id == silhouette_id, *of_owner)
    row = connection.execute(query).one_or_none()
    if row is None:
        raise SilhouetteNotFound(value=silhouette_id)
    return row


def _stored(connection: Connection, row: Any) -> StoredSilhouette:
    query = select(*file_columns(SilhouetteFileRow)).where(SilhouetteFileRow.silhouette_id == row.id)
    files = connection.execute(query.order_by(SilhouetteFileRow.name)).all()
    same = ("id", "owner", "name", "kind", "state", "request", "corrected", "problem", "created", "updated")
    return StoredSilhouette(
        **{name: getattr(row, name) for name in (*same, "finished", "revision")},
        tags=tags_of(row.tags),
        result=None if row.result is None else orjson.loads(row.result),
        files=tuple(StoredFile(*file) for file in files),
    )


def _add_files(connection: Connection, silhouette_id: str, files: Sequence[StoredFile]) -> None:
    rows = [{"silhouette_id": silhouette_id, **file_values(file)} for file in files]
    if rows:
        connection.execute(insert(SilhouetteFileRow), rows)


def _held(silhouette_id: str, token: str) -> Any:
    return update(SilhouetteRow).where(SilhouetteRow.id == silhouette_id, SilhouetteRow.claim == token)


def _count(connection: Connection, statement: Any) -> int:
    return cast("CursorResult[Any]", connection.execute(statement)).rowcount
