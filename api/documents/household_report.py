"""The report on a household: what could be tidied."""

from typing import Final

from pydantic import BaseModel, ConfigDict, Field
from pydantic.config import JsonDict

from worker.jobs.household.declutter import Duplicate, FloorUse, Report, ThingFloor
from worker.spec.items.item import Access

__all__ = ["HouseholdReport", "report_document"]

_DRAWER: Final = "01k9x5m8w2q4r6t8v0y2a4c6e8"
_HAIR_DRYER: Final[JsonDict] = {
    "thing": "01k9x5n3p5r7t9w1y3a5c7e9g1",
    "name": "hair dryer",
    "drawer": _DRAWER,
    "access": "rarely",
    "cells": 30.0,
    "sentence": "Hair dryer takes 30 cells of top drawer and is used rarely.",
}
_EXAMPLE: Final[JsonDict] = {
    "drawers": [
        {
            "drawer": _DRAWER,
            "name": "top drawer",
            "used": 42.0,
            "free": 12.0,
            "largest": [3.0, 4.0],
            "things": [_HAIR_DRYER],
            "sentence": "Top drawer has 12 of 54 cells free; the largest free place has 3 x 4.",
        }
    ],
    "rare": [_HAIR_DRYER],
    "duplicates": [
        {
            "name": "tape measure",
            "things": ["01k9x5n3p5r7t9w1y3a5c7e9g2", "01k9x5n3p5r7t9w1y3a5c7e9g3"],
            "drawers": [_DRAWER, "01k9x5m8w2q4r6t8v0y2a4c6e9"],
            "sentence": "Tape measure is in 2 drawers: 1 in top drawer and 2 in hall drawer.",
        }
    ],
}


class ReportedThing(BaseModel):
    """A thing, and the floor that it takes."""

    model_config = ConfigDict(frozen=True)

    thing: str = Field(description="The thing's identifier.")
    name: str = Field(description="Its name.")
    drawer: str = Field(description="The drawer that it lies in.")
    access: Access = Field(description="How often it is used.")
    cells: float = Field(ge=0.0, description="The cells that it takes: its share, by area, of the trays it lies in.")
    sentence: str = Field(description="That in a sentence.")


class ReportedDrawer(BaseModel):
    """A drawer, and its free floor."""

    model_config = ConfigDict(frozen=True)

    drawer: str = Field(description="The drawer's identifier.")
    name: str = Field(description="Its name.")
    used: float | None = Field(description="The cells that trays stand on; null before its first piece is placed.")
    free: float | None = Field(description="The free cells; null before its first piece is placed.")
    largest: tuple[float, float] | None = Field(
        description="The largest free rectangle in cells, left to right and front to back; null if there is none."
    )
    things: tuple[ReportedThing, ...] = Field(description="The things in it, the one with most floor first.")
    sentence: str = Field(description="That in a sentence.")


class ReportedDuplicate(BaseModel):
    """The same thing in several drawers: by name, or as the same standard item."""

    model_config = ConfigDict(frozen=True)

    name: str = Field(description="The name.")
    things: tuple[str, ...] = Field(description="The identifiers of the things.")
    drawers: tuple[str, ...] = Field(description="The drawer of each of them.")
    sentence: str = Field(description="Where they are, in a sentence.")


class HouseholdReport(BaseModel):
    """What could be tidied. Nothing is changed."""

    model_config = ConfigDict(frozen=True, json_schema_extra={"examples": [_EXAMPLE]})

    drawers: tuple[ReportedDrawer, ...] = Field(description="The drawers, oldest first.")
    rare: tuple[ReportedThing, ...] = Field(
        description="Things that are used rarely and take a cell or more, the one with most floor first."
    )
    duplicates: tuple[ReportedDuplicate, ...] = Field(description="The same things in several drawers.")


def report_document(report: Report) -> HouseholdReport:
    """Return the document of a report."""
    return HouseholdReport(
        drawers=tuple(_drawer(floor) for floor in report.drawers),
        rare=tuple(_thing(use) for use in report.rare),
        duplicates=tuple(_duplicate(duplicate) for duplicate in report.duplicates),
    )


def _drawer(floor: FloorUse) -> ReportedDrawer:
    return ReportedDrawer(
        drawer=floor.drawer.id,
        name=floor.drawer.request.name,
        used=floor.used,
        free=floor.free,
        largest=floor.largest,
        things=tuple(_thing(use) for use in floor.things),
        sentence=floor.sentence,
    )


def _thing(use: ThingFloor) -> ReportedThing:
    request = use.thing.request
    return ReportedThing(
        thing=use.thing.id,
        name=request.name,
        drawer=use.drawer.id,
        access=request.access,
        cells=use.cells,
        sentence=use.sentence,
    )


def _duplicate(duplicate: Duplicate) -> ReportedDuplicate:
    return ReportedDuplicate(
        name=duplicate.things[0].request.name,
        things=tuple(thing.id for thing in duplicate.things),
        drawers=tuple(thing.request.drawer or "" for thing in duplicate.things),
        sentence=duplicate.sentence,
    )
