"""Drawers, things and pieces of a household, as the database stores them. Times are UTC."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from functools import lru_cache
from typing import Any, cast

from worker.spec.manifest import Manifest, PartEntry, PartKind
from worker.spec.requests.household import DrawerRequest, PieceState, ThingRequest

__all__ = ["DrawerLayout", "StoredDrawer", "StoredPiece", "StoredThing", "drawer_of", "piece_of", "thing_of"]


@dataclass(frozen=True, slots=True)
class DrawerLayout:
    """What a drawer is laid out as: a job's manifest reduced to this drawer, and when its first piece was placed."""

    job: str
    laid_out: datetime
    text: str
    #: Fields of the job's spec that a later job repeats, as JSON; `trays` and `fill` are those of its drawer.
    settings: Mapping[str, Any] = field(default_factory=dict, compare=False)

    @property
    def manifest(self) -> Manifest:
        """The reduced manifest, with one drawer and its parts; it serves as `previous` of a later job."""
        return _manifest(self.text)


@dataclass(frozen=True, slots=True)
class StoredDrawer:
    """A drawer; ``layout`` is None until a piece was placed in it."""

    id: str
    owner: str
    request: DrawerRequest
    created: datetime
    updated: datetime
    revision: int
    layout: DrawerLayout | None


@dataclass(frozen=True, slots=True)
class StoredThing:
    """A thing; the drawer that it belongs in is in its request."""

    id: str
    owner: str
    request: ThingRequest
    created: datetime
    updated: datetime
    revision: int


@dataclass(frozen=True, slots=True)
class StoredPiece:
    """A piece.

    ``placement`` is its index in the placements of its drawer's layout, ``job`` the id of the job that printed it, and
    ``part`` the entry in that job's manifest, without files and checks.
    """

    id: str
    owner: str
    mark: str
    kind: PartKind
    name: str
    digest: str
    shape: str | None
    state: PieceState
    drawer: str | None
    placement: int | None
    job: str | None
    part: PartEntry | None
    note: str | None
    created: datetime
    updated: datetime
    revision: int


@lru_cache(maxsize=64)  # searches read the same few layouts again and again
def _manifest(text: str) -> Manifest:
    return Manifest.model_validate_json(text)


def drawer_of(row: Any) -> StoredDrawer:
    """Return the drawer of a row."""
    layout = None
    if row.layout is not None:
        layout = DrawerLayout(row.layout_job, row.laid_out, row.layout, row.layout_settings or {})
    request = DrawerRequest.model_validate_json(row.document)
    return StoredDrawer(row.id, row.owner, request, row.created, row.updated, row.revision, layout)


def thing_of(row: Any) -> StoredThing:
    """Return the thing of a row."""
    request = ThingRequest.model_validate_json(row.document).model_copy(update={"drawer": row.drawer_id})
    return StoredThing(row.id, row.owner, request, row.created, row.updated, row.revision)


def piece_of(row: Any) -> StoredPiece:
    """Return the piece of a row."""
    return StoredPiece(
        id=row.id,
        owner=row.owner,
        mark=row.mark,
        kind=cast("PartKind", row.kind),
        name=row.name,
        digest=row.digest,
        shape=row.shape,
        state=cast("PieceState", row.state),
        drawer=row.drawer_id,
        placement=row.placement,
        job=row.job_id,
        part=None if row.part is None else PartEntry.model_validate(row.part),
        note=row.note,
        created=row.created,
        updated=row.updated,
        revision=row.revision,
    )
