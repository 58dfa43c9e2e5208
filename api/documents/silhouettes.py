"""The documents about silhouettes that the service answers with."""

from datetime import datetime
from typing import Annotated, Any, Final, TypeAlias

import orjson
from fastapi import Request
from pydantic import BaseModel, ConfigDict, Field, JsonValue, WithJsonSchema
from pydantic.config import JsonDict

from api.http.problems.problem_documents import Problem
from api.http.requests.base_url import base_of
from worker.jobs.records.silhouettes import (
    SILHOUETTE_ENDED,
    SilhouetteKind,
    SilhouetteState,
    SilhouetteSummary,
    StoredSilhouette,
    silhouette_fields,
)
from worker.silhouettes.picture_names import OVERLAY_NAME, RECTIFIED_NAME

__all__ = [
    "SilhouetteDocument",
    "SilhouetteOverview",
    "SilhouettePage",
    "event_of",
    "silhouette_document",
    "silhouette_overview",
]

_ID: Final = "01k9x5t6v8x0z2b4d6f8h0k2m4"
_URL: Final = f"http://127.0.0.1:8765/v1/silhouettes/{_ID}"
_WHEN: Final = "2026-03-07T18:42:00Z"
_EXAMPLE: Final[JsonDict] = {
    "id": _ID,
    "name": "shim",
    "tags": ["workshop"],
    "kind": "drawing",
    "state": "succeeded",
    "request": {"name": "shim", "unit": "mm", "thickness": 2.0},
    "outline": {
        "outer": [[0.0, 0.0], [40.0, 0.0], [40.0, 20.0], [0.0, 20.0]],
        "holes": [[[10.0, 10.0], [12.0, 13.0], [14.0, 10.0]]],
        "depth": 2.0,
        "uncertainty": 0.05,
        "method": "drawing",
        "warnings": [],
        "details": {"format": "dxf", "lines": 2.0},
        "corners": [[0.0, 0.0], [40.0, 0.0], [40.0, 20.0], [0.0, 20.0]],
    },
    "corrected": False,
    "poses": [],
    "problem": None,
    "kept": [],
    "created": _WHEN,
    "updated": _WHEN,
    "finished": _WHEN,
    "links": {"self": _URL, "outline": f"{_URL}/outline.svg", "overlay": None, "photo": None},
}

_Ring: TypeAlias = tuple[tuple[float, float], ...]
_Request: TypeAlias = Annotated[
    dict[str, Any], WithJsonSchema({"allOf": [{"$ref": "#/components/schemas/SilhouetteRequest"}]})
]


class _Document(BaseModel):
    model_config = ConfigDict(frozen=True)


class OutlineDocument(_Document):
    """A thing's outline from above, in mm; x to the right, y to the back."""

    outer: _Ring = Field(description="Corners of the outer ring, counter-clockwise.")
    holes: tuple[_Ring, ...] = Field(description="Corners of each hole, clockwise.")
    depth: float | None = Field(description="The height of the thing as it lies; null if unknown.")
    uncertainty: float = Field(description="How far 95 % of the outline's points are at most from the true outline.")
    method: SilhouetteKind = Field(description="What it was made from.")
    warnings: tuple[str, ...] = Field(description="What a person should look at before using it.")
    details: dict[str, JsonValue] = Field(description="Figures about how it was made, for people.")
    corners: _Ring = Field(
        description="The polygon that stands for it in a spec: at most 256 corners, round the outline, "
        "without holes, its box at the origin."
    )


class PoseDocument(_Document):
    """A pose that a model can rest in."""

    pose: int = Field(ge=1, description="Its number; send it as `pose` to get the outline in this pose.")
    size: tuple[float, float, float] = Field(description="Width, depth and height in this pose.")
    share: float = Field(ge=0.0, description="How likely it rests like this when put down at random, from 0 to 1.")


class SilhouetteLinks(_Document):
    """URLs related to a silhouette."""

    self: str = Field(description="This silhouette. DELETE removes it.")
    outline: str | None = Field(description="Its outline drawn at full size (SVG); null without one.")
    overlay: str | None = Field(description="The outline over the rectified photo (PNG); null without a photo.")
    photo: str | None = Field(
        default=None, description="The rectified photo in the same place, without lines (PNG); null without a photo."
    )


class SilhouetteDocument(_Document):
    """A silhouette: the outline of a thing, or why there is none."""

    model_config = ConfigDict(frozen=True, json_schema_extra={"examples": [_EXAMPLE]})

    id: str = Field(description="The silhouette's identifier.")
    name: str = Field(description="Its name.")
    tags: tuple[str, ...] = Field(description="Tags to find it by.")
    kind: SilhouetteKind = Field(description="What it is made from; `points` are corners that were sent.")
    state: SilhouetteState = Field(
        description="queued: waits for a worker. running: is being read. succeeded: has an outline. failed: has a "
        "problem."
    )
    request: _Request = Field(description="The options that it was sent with; lengths are in mm.")
    outline: OutlineDocument | None = Field(description="The outline; null while it is read, and if it failed.")
    corrected: bool = Field(description="Whether a person corrected the outline.")
    poses: tuple[PoseDocument, ...] = Field(description="The poses that a model can rest in, most likely first.")
    problem: Problem | None = Field(description="Why there is no outline; null unless it failed.")
    kept: tuple[str, ...] = Field(description="Names of the uploaded files that are stored.")
    created: datetime = Field(description="When it was sent.")
    updated: datetime = Field(description="When it last changed.")
    finished: datetime | None = Field(description="When it was read; null before.")
    links: SilhouetteLinks


class SilhouetteOverview(_Document):
    """A silhouette without its outline, as messages have it."""

    id: str = Field(description="The silhouette's identifier.")
    name: str = Field(description="Its name.")
    tags: tuple[str, ...] = Field(description="Tags to find it by.")
    kind: SilhouetteKind = Field(description="What it is made from.")
    state: SilhouetteState = Field(description="queued, running, succeeded or failed.")
    problem: Problem | None = Field(description="Why there is no outline; null unless it failed.")
    created: datetime = Field(description="When it was sent.")
    finished: datetime | None = Field(description="When it was read; null before.")
    links: SilhouetteLinks


class SilhouettePage(_Document):
    """A page of silhouettes, newest first."""

    model_config = ConfigDict(frozen=True, json_schema_extra={"examples": [{"silhouettes": [_EXAMPLE], "next": None}]})

    silhouettes: tuple[SilhouetteDocument, ...] = Field(description="The silhouettes of this page.")
    next: str | None = Field(description="The URL of the page with older silhouettes; null on the last page.")


def event_of(silhouette: StoredSilhouette | SilhouetteSummary | SilhouetteDocument) -> str:
    """Return the name of the event of a silhouette's latest change, after `silhouette.`."""
    if silhouette.corrected:
        return "corrected"
    return "ended" if silhouette.state in SILHOUETTE_ENDED else silhouette.state


def silhouette_overview(request: Request, silhouette: StoredSilhouette | SilhouetteSummary) -> SilhouetteOverview:
    """Return the overview of a silhouette."""
    return SilhouetteOverview(**silhouette_fields(silhouette, base_of(request)))


def silhouette_document(request: Request, silhouette: StoredSilhouette) -> SilhouetteDocument:
    """Return the document of a silhouette."""
    base = base_of(request)
    fields = silhouette_fields(silhouette, base)
    result = silhouette.result or {}
    return SilhouetteDocument(
        **fields,
        request=orjson.loads(silhouette.request),
        outline=result.get("outline"),
        corrected=silhouette.corrected,
        poses=result.get("poses", ()),
        kept=tuple(file.name for file in silhouette.files if file.name not in {OVERLAY_NAME, RECTIFIED_NAME}),
        updated=silhouette.updated,
    )
