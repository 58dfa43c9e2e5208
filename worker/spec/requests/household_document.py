"""The whole household as one document, to move it to another service or to read it with another program.

The JSON Schema is published as ``openapi/household.schema.json``; `household_schema` generates it.
"""

from collections.abc import Container, Sequence
from typing import Annotated, Any, Final, Literal, Self, TypeAlias

from pydantic import Field, WithJsonSchema, model_validator

from worker.spec.drawer.grid import Grid
from worker.spec.drawer.tray import Tray
from worker.spec.errors import SpecError
from worker.spec.items.layout import LayoutPreferences
from worker.spec.manifest import Manifest, PartEntry
from worker.spec.primitives.model import Noun
from worker.spec.primitives.moment import Instant
from worker.spec.primitives.names import Count, HouseholdId
from worker.spec.primitives.pydantic_errors import Refusals, Step
from worker.spec.printer.material import Material
from worker.spec.printer.printer import Printer
from worker.spec.printer.printing import Printing
from worker.spec.printer.schedule import Schedule
from worker.spec.requests.household import DrawerRequest, PieceRequest, ThingRequest

__all__ = [
    "HouseholdDocument",
    "HouseholdDrawer",
    "HouseholdLayout",
    "HouseholdPiece",
    "HouseholdThing",
    "LayoutSettings",
    "household_schema",
]

#: Both have a published schema of their own.
_Manifest: TypeAlias = Annotated[Manifest, WithJsonSchema({"type": "object"})]
_Part: TypeAlias = Annotated[PartEntry, WithJsonSchema({"type": "object"})]

_CREATED: Final = "When it was added; null for the time of the import."
_UPDATED: Final = "When it last changed; null for the time of the import."


class LayoutSettings(Noun):
    """What a later job over a drawer repeats of the spec that laid it out, so that printed parts still fit."""

    printer: Printer | None = Field(default=None, description="Printer.")
    grid: Grid | None = Field(default=None, description="Grid.")
    material: Material | None = Field(default=None, description="Filament.")
    printing: Printing | None = Field(default=None, description="Print settings.")
    layout: LayoutPreferences | None = Field(default=None, description="Preferences for the trays of items.")
    schedule: Schedule | None = Field(default=None, description="Printers and working hours.")
    trays: tuple[Tray, ...] = Field(default=(), max_length=500, description="Trays that were listed for the drawer.")
    fill: bool = Field(default=False, strict=True, description="Whether free floor was filled with spare trays.")


class HouseholdLayout(Noun):
    """What a drawer is laid out as."""

    job: HouseholdId = Field(description="Id of the job that laid it out; the job itself is no part of a household.")
    laid_out: Instant = Field(description="When its first piece was placed.")
    manifest: _Manifest = Field(
        description="The manifest (manifest.schema.json) of that job, reduced to this drawer and its parts."
    )
    settings: LayoutSettings = Field(default=LayoutSettings(), description="What a later job repeats.")
    things: tuple[HouseholdId | None, ...] = Field(
        default=(),
        description="Id of the thing that each entry of the drawer's `contents` in the manifest is; null if none.",
    )

    @model_validator(mode="after")
    def _rules(self) -> Self:
        refusals = Refusals()
        if len(self.manifest.drawers) != 1:
            error = SpecError(
                "The manifest of a drawer's layout has one drawer.",
                value=len(self.manifest.drawers), limit="one drawer", remedy="Leave out the other drawers.",
            )  # fmt: skip
            refusals.add(error, "manifest", "drawers")
            refusals.settle()
        (drawer,) = self.manifest.drawers
        marks = {part.mark for part in self.manifest.parts}
        for index, placement in enumerate(drawer.placements):
            if placement.mark not in marks:
                error = SpecError(
                    "The manifest has no part with this mark.",
                    value=placement.mark, limit="the mark of a part", remedy="Add the part.",
                )  # fmt: skip
                refusals.add(error, "manifest", "drawers", 0, "placements", index, "mark")
        for index, content in enumerate(drawer.contents):
            if content.placement is not None and content.placement >= len(drawer.placements):
                error = SpecError(
                    "The drawer has no such place.",
                    value=content.placement, limit=f"under {len(drawer.placements)}", remedy="Correct the index.",
                )  # fmt: skip
                refusals.add(error, "manifest", "drawers", 0, "contents", index, "placement")
        if self.things and len(self.things) != len(drawer.contents):
            error = SpecError(
                "The list has another length than the contents of the drawer.",
                value=len(self.things), limit=f"{len(drawer.contents)}, or none",
                remedy="Give an id or null for each.",
            )  # fmt: skip
            refusals.add(error, "things")
        refusals.settle()
        return self


class HouseholdDrawer(Noun):
    """A drawer of the household, with its layout."""

    id: HouseholdId = Field(description="Id of the drawer.")
    created: Instant | None = Field(default=None, description=_CREATED)
    updated: Instant | None = Field(default=None, description=_UPDATED)
    drawer: DrawerRequest = Field(description="Description of the drawer.")
    layout: HouseholdLayout | None = Field(default=None, description="Its layout; null before a piece was placed.")


class HouseholdThing(Noun):
    """A thing of the household."""

    id: HouseholdId = Field(description="Id of the thing.")
    created: Instant | None = Field(default=None, description=_CREATED)
    updated: Instant | None = Field(default=None, description=_UPDATED)
    thing: ThingRequest = Field(description="Description of the thing, with the drawer that it belongs in.")


class HouseholdPiece(Noun):
    """A printed piece of the household."""

    id: HouseholdId = Field(description="Id of the piece.")
    created: Instant | None = Field(default=None, description=_CREATED)
    updated: Instant | None = Field(default=None, description=_UPDATED)
    piece: PieceRequest = Field(description="Description of the piece, with its state and drawer.")
    placement: Annotated[Count, Field(ge=0, le=1_000_000)] | None = Field(
        default=None, description="Index of its place in the placements of its drawer's layout; null if it has none."
    )
    job: HouseholdId | None = Field(default=None, description="Id of the job that printed it; null if none did.")
    part: _Part | None = Field(
        default=None, description="Its part's entry in the manifest of that job, without checks and files."
    )


class HouseholdDocument(Noun):
    """All drawers, things and pieces of a household. References lead to entries of the same document."""

    household: Literal["1"] = Field(description="Version of this format.")
    drawers: tuple[HouseholdDrawer, ...] = Field(default=(), description="Drawers, oldest first.")
    things: tuple[HouseholdThing, ...] = Field(default=(), description="Things, oldest first.")
    pieces: tuple[HouseholdPiece, ...] = Field(default=(), description="Printed pieces, oldest first.")

    @model_validator(mode="after")
    def _rules(self) -> Self:
        refusals = Refusals()
        for name, entries in (("drawers", self.drawers), ("things", self.things), ("pieces", self.pieces)):
            _check_unique([entry.id for entry in entries], name, refusals)
        drawers = {entry.id: entry for entry in self.drawers}
        things = {entry.id for entry in self.things}
        for index, thing in enumerate(self.things):
            _check_reference(thing.thing.drawer, drawers, ("things", index, "thing", "drawer"), refusals)
        for index, drawer in enumerate(self.drawers):
            for number, thing_id in enumerate(() if drawer.layout is None else drawer.layout.things):
                _check_reference(thing_id, things, ("drawers", index, "layout", "things", number), refusals)
        taken: set[tuple[str, int]] = set()
        for index, piece in enumerate(self.pieces):
            _check_reference(piece.piece.drawer, drawers, ("pieces", index, "piece", "drawer"), refusals)
            if piece.placement is not None:
                drawer_of_piece = drawers.get(piece.piece.drawer or "")
                _check_place(piece, drawer_of_piece, taken, ("pieces", index, "placement"), refusals)
        refusals.settle()
        return self


def household_schema() -> dict[str, Any]:
    """Return the JSON Schema of a household (draft 2020-12)."""
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "Drawerwright household",
        **{name: part for name, part in HouseholdDocument.model_json_schema().items() if name != "title"},
    }


def _check_unique(ids: Sequence[str], name: str, refusals: Refusals) -> None:
    seen: set[str] = set()
    for index, own in enumerate(ids):
        if own in seen:
            error = SpecError("Two entries have the same id.", value=own, limit="each id once", remedy="Remove one.")
            refusals.add(error, name, index, "id")
        seen.add(own)


def _check_reference(named: str | None, there: Container[str], at: tuple[Step, ...], refusals: Refusals) -> None:
    if named is not None and named not in there:
        error = SpecError(
            "The document has no entry with this id.",
            value=named, limit="the id of an entry of this document", remedy="Add the entry, or correct the id.",
        )  # fmt: skip
        refusals.add(error, *at)


def _check_place(
    piece: HouseholdPiece,
    drawer: HouseholdDrawer | None,
    taken: set[tuple[str, int]],
    at: tuple[Step, ...],
    refusals: Refusals,
) -> None:
    """Check that a piece lies in a place of its drawer's layout, and alone."""
    places = 0 if drawer is None or drawer.layout is None else len(drawer.layout.manifest.drawers[0].placements)
    number = piece.placement or 0
    if piece.piece.state != "placed":
        error = SpecError(
            f"A {piece.piece.state} piece lies in no place.",
            value=number, limit="null, or the state placed", remedy="Remove the index.",
        )  # fmt: skip
        refusals.add(error, *at)
    elif number >= places:
        error = SpecError(
            "The drawer's layout has no such place.",
            value=number, limit=f"under {places}" if places else "null", remedy="Correct the index, or remove it.",
        )  # fmt: skip
        refusals.add(error, *at)
    elif (own := (piece.piece.drawer or "", number)) in taken:
        error = SpecError(
            "Two pieces lie in the same place.",
            value=number, limit="one piece", remedy="Remove the index of one of them.",
        )  # fmt: skip
        refusals.add(error, *at)
    else:
        taken.add(own)
