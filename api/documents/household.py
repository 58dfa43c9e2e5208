"""The documents about drawers, things and pieces of the household."""

from collections.abc import Mapping
from datetime import datetime
from typing import Annotated, Any, Final, TypeAlias

from fastapi import Request
from pydantic import BaseModel, ConfigDict, Field, WithJsonSchema
from pydantic.config import JsonDict

from api.documents.whereabouts import MATCH_EXAMPLE, ThingMatch
from api.http.requests.base_url import base_of
from worker.jobs.household.drawer_pages import drawer_page
from worker.jobs.household.models import StoredDrawer, StoredPiece, StoredThing
from worker.spec.manifest import Mark, PartKind, Sha256
from worker.spec.requests.household import PIECE_STATES, PieceState

__all__ = [
    "DrawerDocument",
    "DrawerPage",
    "PieceDocument",
    "PiecePage",
    "ThingDocument",
    "ThingPage",
    "drawer_document",
    "piece_document",
    "thing_document",
]

_BASE: Final = "http://127.0.0.1:8765/v1"
_DRAWER_ID: Final = "01k9x5m8w2q4r6t8v0y2a4c6e8"
_THING_ID: Final = "01k9x5n3p5r7t9w1y3a5c7e9g1"
_PIECE_ID: Final = "01k9x5p1b3d5f7h9k1n3q5s7v9"
_JOB_ID: Final = "01k9x5q2c4e6g8j0m2p4r6t8w0"
_WHEN: Final = "2026-03-07T18:42:00Z"

#: The request models are described once, in the form in which they are sent.
_Drawer: TypeAlias = Annotated[
    dict[str, Any], WithJsonSchema({"allOf": [{"$ref": "#/components/schemas/DrawerRequest"}]})
]
_Thing: TypeAlias = Annotated[
    dict[str, Any], WithJsonSchema({"allOf": [{"$ref": "#/components/schemas/ThingRequest"}]})
]

_DRAWER: Final[JsonDict] = {
    "id": _DRAWER_ID,
    "drawer": {
        "name": "top drawer",
        "width": [300.0],
        "depth": [400.0],
        "height": 60.0,
        "place": "in the workshop",
        "tags": ["tools"],
    },
    "created": _WHEN,
    "updated": _WHEN,
    "layout": {"job": _JOB_ID, "laid_out": _WHEN},
    "pieces": {"printed": 0, "placed": 9, "spare": 1, "retired": 0},
    "links": {
        "self": f"{_BASE}/drawers/{_DRAWER_ID}",
        "contents": f"{_BASE}/drawers/{_DRAWER_ID}/contents",
        "things": f"{_BASE}/things?drawer={_DRAWER_ID}",
        "pieces": f"{_BASE}/pieces?drawer={_DRAWER_ID}",
        "page": f"http://127.0.0.1:8765/#drawer={_DRAWER_ID}",
    },
}
_THING: Final[JsonDict] = {
    "id": _THING_ID,
    "thing": {
        "name": "calliper",
        "shape": {"kind": "box", "size": [235.0, 78.0, 16.0]},
        "tags": ["measuring"],
        "access": "often",
    },
    "drawer": _DRAWER_ID,
    "created": _WHEN,
    "updated": _WHEN,
    "self": f"{_BASE}/things/{_THING_ID}",
    "match": None,
}
_PIECE: Final[JsonDict] = {
    "id": _PIECE_ID,
    "mark": "T4",
    "kind": "tray",
    "name": "calliper",
    "digest": "5f" * 32,
    "shape": "a7" * 32,
    "state": "placed",
    "drawer": _DRAWER_ID,
    "placement": 7,
    "job": _JOB_ID,
    "material": "PLA",
    "colour": None,
    "grams": 41.2,
    "note": None,
    "created": _WHEN,
    "updated": _WHEN,
    "self": f"{_BASE}/pieces/{_PIECE_ID}",
}


class LayoutSummary(BaseModel):
    """The layout of a drawer: the job that made it."""

    model_config = ConfigDict(frozen=True)

    job: str = Field(description="The job that laid it out; it may have been deleted since.")
    laid_out: datetime = Field(description="When its first piece was placed.")


class PieceCounts(BaseModel):
    """The number of pieces in each state."""

    model_config = ConfigDict(frozen=True)

    printed: int = Field(ge=0, description="Pieces at hand that are not placed yet.")
    placed: int = Field(ge=0, description="Pieces in the drawer.")
    spare: int = Field(ge=0, description="Pieces kept for later.")
    retired: int = Field(ge=0, description="Pieces that were taken out.")


class DrawerLinks(BaseModel):
    """URLs related to a drawer."""

    model_config = ConfigDict(frozen=True)

    self: str = Field(description="This drawer. PUT replaces its description, DELETE removes it.")
    contents: str = Field(description="What lies where in it; a problem document before its first piece is placed.")
    things: str = Field(description="The things that belong in it.")
    pieces: str = Field(description="Its printed pieces.")
    page: str = Field(description="The page that shows it to people; the code on its card leads there.")


class DrawerDocument(BaseModel):
    """A drawer of the household."""

    model_config = ConfigDict(frozen=True, json_schema_extra={"examples": [_DRAWER]})

    id: str = Field(description="The drawer's identifier.")
    drawer: _Drawer = Field(description="The description of the drawer, as it was sent; lengths are in mm.")
    created: datetime = Field(description="When it was added.")
    updated: datetime = Field(description="When it, its layout or its pieces last changed.")
    layout: LayoutSummary | None = Field(description="Its layout; null before its first piece is placed.")
    pieces: PieceCounts
    links: DrawerLinks


class DrawerPage(BaseModel):
    """A page of drawers, newest first."""

    model_config = ConfigDict(frozen=True, json_schema_extra={"examples": [{"drawers": [_DRAWER], "next": None}]})

    drawers: tuple[DrawerDocument, ...] = Field(description="The drawers of this page.")
    next: str | None = Field(description="The URL of the page with older drawers; null on the last page.")


class ThingDocument(BaseModel):
    """A thing of the household."""

    model_config = ConfigDict(frozen=True, json_schema_extra={"examples": [_THING]})

    id: str = Field(description="The thing's identifier.")
    thing: _Thing = Field(description="The description of the thing, as it was sent; lengths are in mm.")
    drawer: str | None = Field(description="The drawer that it belongs in.")
    created: datetime = Field(description="When it was added.")
    updated: datetime = Field(description="When it last changed, or moved.")
    self: str = Field(description="This thing. PUT replaces its description, DELETE removes it.")
    match: ThingMatch | None = Field(
        default=None, description="How it matches the search (q), and where it lies; null without a search."
    )


class ThingPage(BaseModel):
    """A page of things, newest first; of a search, best match first."""

    model_config = ConfigDict(
        frozen=True,
        json_schema_extra={"examples": [{"things": [{**_THING, "match": MATCH_EXAMPLE}], "next": None}]},
    )

    things: tuple[ThingDocument, ...] = Field(description="The things of this page.")
    next: str | None = Field(description="The URL of the page with older things; null on the last page.")


class PieceDocument(BaseModel):
    """A printed piece."""

    model_config = ConfigDict(frozen=True, json_schema_extra={"examples": [_PIECE]})

    id: str = Field(description="The piece's identifier.")
    mark: Mark = Field(description="The mark engraved on it.")
    kind: PartKind
    name: str = Field(description="The name of the part.")
    digest: Sha256 = Field(description="The digest of the part, as in the manifest.")
    shape: Sha256 | None = Field(description="The fingerprint of its shape; pieces with the same one are equal.")
    state: PieceState = Field(
        description="printed: at hand, not yet placed. placed: in its drawer. spare: kept for later. retired: taken "
        "out of its drawer."
    )
    drawer: str | None = Field(description="The drawer that it is in, or is for.")
    placement: int | None = Field(description="The index of its place in the contents of the drawer.")
    job: str | None = Field(description="The job that printed it.")
    material: str | None = Field(description="Its filament, if the job estimated it.")
    colour: str | None = Field(description="The colour of its filament.")
    grams: float | None = Field(description="The filament that it took.")
    note: str | None = Field(description="A note for people.")
    created: datetime = Field(description="When it was recorded.")
    updated: datetime = Field(description="When it last changed.")
    self: str = Field(description="This piece. PUT replaces its description, DELETE removes it.")


class PiecePage(BaseModel):
    """A page of pieces, newest first."""

    model_config = ConfigDict(frozen=True, json_schema_extra={"examples": [{"pieces": [_PIECE], "next": None}]})

    pieces: tuple[PieceDocument, ...] = Field(description="The pieces of this page.")
    next: str | None = Field(description="The URL of the page with older pieces; null on the last page.")


def drawer_document(request: Request, drawer: StoredDrawer, counts: Mapping[str, int]) -> DrawerDocument:
    """Return the document of a drawer; ``counts`` has the number of its pieces by state."""
    base = f"{base_of(request)}/v1"
    layout = drawer.layout
    return DrawerDocument(
        id=drawer.id,
        drawer=drawer.request.model_dump(mode="json", exclude_unset=True),
        created=drawer.created,
        updated=drawer.updated,
        layout=None if layout is None else LayoutSummary(job=layout.job, laid_out=layout.laid_out),
        pieces=PieceCounts(**{state: counts.get(state, 0) for state in PIECE_STATES}),
        links=DrawerLinks(
            self=f"{base}/drawers/{drawer.id}",
            contents=f"{base}/drawers/{drawer.id}/contents",
            things=f"{base}/things?drawer={drawer.id}",
            pieces=f"{base}/pieces?drawer={drawer.id}",
            page=drawer_page(base_of(request), drawer.id),
        ),
    )


def thing_document(request: Request, thing: StoredThing, match: ThingMatch | None = None) -> ThingDocument:
    """Return the document of a thing; ``match`` is how it matches a search."""
    return ThingDocument(
        id=thing.id,
        thing=thing.request.model_dump(mode="json", exclude_unset=True, exclude={"drawer"}),
        drawer=thing.request.drawer,
        created=thing.created,
        updated=thing.updated,
        self=f"{base_of(request)}/v1/things/{thing.id}",
        match=match,
    )


def piece_document(request: Request, piece: StoredPiece) -> PieceDocument:
    """Return the document of a piece."""
    estimate = None if piece.part is None else piece.part.estimate
    same = ("id", "mark", "kind", "name", "digest", "shape", "state", "drawer", "placement", "job", "note")
    return PieceDocument(
        **{name: getattr(piece, name) for name in (*same, "created", "updated")},
        material=None if estimate is None else estimate.material,
        colour=None if estimate is None else estimate.colour,
        grams=None if estimate is None else estimate.grams,
        self=f"{base_of(request)}/v1/pieces/{piece.id}",
    )
