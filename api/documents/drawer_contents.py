"""The contents of a drawer: its places, the pieces that lie there, and the things in them."""

from datetime import datetime
from typing import Final

from fastapi import Request
from pydantic import BaseModel, ConfigDict, Field
from pydantic.config import JsonDict

from api.documents.household import PieceDocument, piece_document
from worker.jobs.household.household import HeldContents
from worker.jobs.household.layouts import LaidPlacement
from worker.spec.items.item import Storage
from worker.spec.manifest import ContentEntry, Mark, PartKind

__all__ = ["ContentsDocument", "contents_document"]

_EXAMPLE: Final[JsonDict] = {
    "drawer": "01k9x5m8w2q4r6t8v0y2a4c6e8",
    "job": "01k9x5q2c4e6g8j0m2p4r6t8w0",
    "laid_out": "2026-03-07T18:42:00Z",
    "places": [
        {
            "number": 7,
            "mark": "T4",
            "kind": "tray",
            "name": "calliper",
            "at": [10.0, 10.0, 6.2],
            "size": [251.5, 83.5, 20.0],
            "cell": [0.0, 0.0],
            "piece": "01k9x5p1b3d5f7h9k1n3q5s7v9",
            "items": [
                {
                    "name": "calliper",
                    "thing": "01k9x5n3p5r7t9w1y3a5c7e9g1",
                    "count": 1,
                    "capacity": 1,
                    "storage": "rows",
                }
            ],
        }
    ],
    "lanes": [],
    "missing": 0,
    "others": [],
}


class PlacedItem(BaseModel):
    """Things of one kind in one place."""

    model_config = ConfigDict(frozen=True)

    name: str = Field(description="The name of the item in the job.")
    thing: str | None = Field(description="The thing of the household, if the job named one.")
    count: int = Field(ge=0, description="The number that lies here.")
    capacity: int = Field(ge=0, description="The number that fits here.")
    storage: Storage = Field(description="How they lie.")


class PlaceDocument(BaseModel):
    """A place in the layout, and the piece that lies there."""

    model_config = ConfigDict(frozen=True)

    number: int = Field(ge=0, description="The index of the place.")
    mark: Mark = Field(description="The mark of the part that belongs here.")
    kind: PartKind
    name: str = Field(description="The name of the tray here, or of the part.")
    at: tuple[float, float, float] = Field(description="The front left corner, in mm from that of the usable area.")
    size: tuple[float, float, float] = Field(description="The size of the part as it is printed, in mm.")
    cell: tuple[float, float] | None = Field(description="The front left cell, counted from 0.")
    piece: str | None = Field(description="The piece that lies here; null until it is recorded as placed.")
    items: tuple[PlacedItem, ...] = Field(description="What lies in it.")


class LaneDocument(BaseModel):
    """A lane of the layout: a part of the drawer without trays, and what lies in it."""

    model_config = ConfigDict(frozen=True)

    name: str = Field(description="The name of the lane.")
    at: tuple[float, float] = Field(description="The front left corner, in mm from that of the usable area.")
    size: tuple[float, float] = Field(description="Width and depth, in mm.")
    items: tuple[PlacedItem, ...] = Field(description="What lies in it; nothing in a free lane.")


class ContentsDocument(BaseModel):
    """The contents of a drawer."""

    model_config = ConfigDict(frozen=True, json_schema_extra={"examples": [_EXAMPLE]})

    drawer: str = Field(description="The drawer's identifier.")
    job: str = Field(description="The job that laid it out.")
    laid_out: datetime = Field(description="When its first piece was placed.")
    places: tuple[PlaceDocument, ...] = Field(description="The places of its layout.")
    lanes: tuple[LaneDocument, ...] = Field(description="The lanes of its layout.")
    missing: int = Field(ge=0, description="The number of places without a piece.")
    others: tuple[PieceDocument, ...] = Field(description="Pieces of the drawer that have no place in its layout.")


def contents_document(request: Request, held: HeldContents, things: dict[int, str]) -> ContentsDocument:
    """Return the document of a drawer's contents; ``things`` has the ids of things by index in the contents."""
    places = tuple(_place(place, things) for place in held.places)
    (entry,) = held.manifest.drawers
    return ContentsDocument(
        drawer=held.drawer.id,
        job=held.layout.job,
        laid_out=held.layout.laid_out,
        places=places,
        lanes=tuple(
            LaneDocument(
                name=lane.name,
                at=lane.at,
                size=lane.size,
                items=tuple(_item(*own, things) for own in enumerate(entry.contents) if own[1].lane == number),
            )
            for number, lane in enumerate(entry.lanes)
        ),
        missing=sum(place.piece is None for place in places),
        others=tuple(piece_document(request, piece) for piece in held.others),
    )


def _place(place: LaidPlacement, things: dict[int, str]) -> PlaceDocument:
    part, placement = place.part, place.placement
    return PlaceDocument(
        number=place.number,
        mark=part.mark,
        kind=part.kind,
        name=placement.name or part.name,
        at=placement.at,
        size=part.size,
        cell=placement.cell,
        piece=None if place.piece is None else place.piece.id,
        items=tuple(_item(index, content, things) for index, content in place.contents),
    )


def _item(index: int, content: ContentEntry, things: dict[int, str]) -> PlacedItem:
    return PlacedItem(
        name=content.item,
        thing=things.get(index),
        count=content.count,
        capacity=content.capacity,
        storage=content.storage,
    )
