"""The answer to a search: where a thing lies, in numbers, in words and on a map."""

from typing import Final

from fastapi import Request
from pydantic import BaseModel, ConfigDict, Field
from pydantic.config import JsonDict

from api.http.requests.base_url import base_of
from worker.jobs.household.household import LocatedThing
from worker.jobs.household.whereabouts import Whereabouts

__all__ = ["MATCH_EXAMPLE", "ThingMatch", "thing_match"]

_DRAWER: Final = "01k9x5m8w2q4r6t8v0y2a4c6e8"

#: The match of an example thing.
MATCH_EXAMPLE: Final[JsonDict] = {
    "score": 0.88,
    "sentence": "Calliper: in top drawer in the workshop, tray T4 at the front left, "
    "second of 3 compartments from the left.",
    "places": [
        {
            "drawer": _DRAWER,
            "drawer_name": "top drawer",
            "drawer_place": "in the workshop",
            "mark": "T4",
            "tray": "measuring",
            "side": "at the front left",
            "compartment": {
                "place": [1, 0],
                "reach": [1, 1],
                "grid": [3, 1],
                "words": "second of 3 compartments from the left",
            },
            "count": 1,
            "at": [24.0, 12.5, 8.4],
            "size": [78.0, 235.0, 16.0],
            "placed": True,
            "below": [],
            "map": f"http://127.0.0.1:8765/v1/drawers/{_DRAWER}/map.svg?thing=01k9x5n3p5r7t9w1y3a5c7e9g1",
        }
    ],
}


class CompartmentDocument(BaseModel):
    """A compartment of a tray: columns from the left and rows from the front, as if every divider had full length."""

    model_config = ConfigDict(frozen=True)

    place: tuple[int, int] = Field(description="Its first column and row, counted from 0, as in the `hold` of a tray.")
    reach: tuple[int, int] = Field(description="How many columns and rows it takes.")
    grid: tuple[int, int] = Field(description="How many columns and rows the tray has.")
    words: str = Field(description="The compartment in words.")


class ThingPlace(BaseModel):
    """A place where some of a thing lie."""

    model_config = ConfigDict(frozen=True)

    drawer: str = Field(description="The drawer's identifier.")
    drawer_name: str = Field(description="The drawer's name.")
    drawer_place: str | None = Field(description="Where the drawer is.")
    mark: str | None = Field(description="The mark of the tray; null in a lane, which has none.")
    tray: str = Field(description="The name of the tray or lane.")
    side: str = Field(description="Where in the drawer it is, in words.")
    compartment: CompartmentDocument | None = Field(
        description="The compartment; null in a lane and in a tray without dividers."
    )
    count: int = Field(ge=0, description="The number that lies here.")
    at: tuple[float, float, float] = Field(
        description="The front left corner of the things, in mm from that of the drawer."
    )
    size: tuple[float, float, float] = Field(description="The size of the box around them, in mm.")
    placed: bool = Field(description="Whether the tray, or the panels around the lane, are recorded as placed.")
    below: tuple[str, ...] = Field(
        description="Marks of the trays over it that are lifted out first, the lowest first."
    )
    map: str = Field(description="A map of the drawer with the thing's places marked (SVG).")


class ThingMatch(BaseModel):
    """How a thing matches a search, and where it lies."""

    model_config = ConfigDict(frozen=True)

    score: float = Field(ge=0.0, le=1.0, description="How well it matches; 1 for the same words.")
    sentence: str = Field(description="Where it is, in a sentence that a voice assistant can read out.")
    places: tuple[ThingPlace, ...] = Field(description="The places where it lies; none if no layout has it.")


def thing_match(request: Request, located: LocatedThing) -> ThingMatch:
    """Return the document of a match."""
    return ThingMatch(
        score=round(located.score, 3),
        sentence=located.sentence,
        places=tuple(_place(request, place, located.thing.id) for place in located.places),
    )


def _place(request: Request, place: Whereabouts, thing_id: str) -> ThingPlace:
    own, drawer = place.compartment, place.drawer
    compartment = None if own is None else CompartmentDocument(
        place=own.place, reach=own.reach, grid=own.grid, words=own.words
    )  # fmt: skip
    return ThingPlace(
        drawer=drawer.id,
        drawer_name=drawer.request.name,
        drawer_place=drawer.request.place,
        compartment=compartment,
        map=f"{base_of(request)}/v1/drawers/{drawer.id}/map.svg?thing={thing_id}",
        **{name: getattr(place, name) for name in ("mark", "tray", "side", "count", "at", "size", "placed", "below")},
    )
