"""Requests about the household: drawers and things that outlive jobs, and printed pieces."""

from typing import Annotated, Any, Final, Literal, Self, TypeAlias

from pydantic import AfterValidator, Field, PlainValidator, model_validator

from worker.spec.drawer.drawer import MeasuredDrawer
from worker.spec.drawer.grid import Grid
from worker.spec.errors import SpecError
from worker.spec.items.handling import AskedPose, NestingStep, Soft
from worker.spec.items.item import Access, Storage, ThingShape, label_or_flag
from worker.spec.manifest import Mark, PartKind, Sha256
from worker.spec.primitives.model import Noun
from worker.spec.primitives.names import Count, HouseholdId, Label, Name, Note, Number
from worker.spec.primitives.pydantic_errors import Refusals, refusal
from worker.spec.printer.material import Material
from worker.spec.printer.printer import Printer
from worker.spec.printer.printing import Printing

__all__ = [
    "PIECE_STATES",
    "ChangesRequest",
    "DrawerRequest",
    "LayoutRequest",
    "PieceRequest",
    "PieceState",
    "Tags",
    "ThingRequest",
]

#: printed: good and at hand. placed: in its drawer. spare: kept for later. retired: taken out of its drawer.
PieceState: TypeAlias = Literal["printed", "placed", "spare", "retired"]

PIECE_STATES: Final[tuple[PieceState, ...]] = ("printed", "placed", "spare", "retired")

#: Fields of a thing that are those of an item.
_OF_ITEM: Final = (
    "name",
    "shape",
    "count",
    "access",
    "storage",
    "pose",
    "nest",
    "soft",
    "engraved",
    "group",
    "mass",
    "label",
    "stack",
)

#: Fields of a drawer that a spec has for all its drawers.
_OF_SPEC: Final = ("printer", "grid", "material", "printing")

_OWN: Final = frozenset({*_OF_SPEC, "place", "tags", "note"})


def _unique(tags: tuple[str, ...]) -> tuple[str, ...]:
    if len(set(tags)) != len(tags):
        error = SpecError("A tag is listed twice.", value=list(tags), limit="each tag once", remedy="Remove one.")
        raise refusal(error)
    return tags


Tags: TypeAlias = Annotated[
    tuple[Name, ...], Field(max_length=20, json_schema_extra={"uniqueItems": True}), AfterValidator(_unique)
]


class DrawerRequest(MeasuredDrawer):
    """A drawer of the household: its measurements, its place, and what its parts are printed with."""

    place: Note | None = Field(
        default=None, description="Where the drawer is, in words that fit a sentence: in the hall, third from the top."
    )
    tags: Tags = Field(default=(), description="Tags to find it by.")
    note: Note | None = Field(default=None, description="Note for people.")
    printer: Printer | None = Field(default=None, description="Printer of jobs that name the drawer and give none.")
    grid: Grid | None = Field(default=None, description="Grid of jobs that name the drawer and give none.")
    material: Material | None = Field(default=None, description="Filament of jobs that name the drawer and give none.")
    printing: Printing | None = Field(
        default=None, description="Print settings of jobs that name the drawer and give none."
    )

    def as_drawer(self) -> dict[str, Any]:
        """Return the drawer as JSON of a spec's `drawers`."""
        return self.model_dump(mode="json", exclude_unset=True, exclude=set(_OWN))

    def defaults(self) -> dict[str, Any]:
        """Return the fields that it sets for a whole spec, as JSON."""
        document = self.model_dump(mode="json", exclude_unset=True, include=set(_OF_SPEC))
        return {name: value for name, value in document.items() if value is not None}


class ThingRequest(Noun):
    """A thing of the household, which drawers are laid out for and people look for."""

    name: Name = Field(description="Name of the thing.")
    shape: ThingShape | None = Field(
        default=None, description="Shape and dimensions, an id of the catalogue or a silhouette; a job needs one."
    )
    count: Annotated[Count, Field(ge=1, le=10_000)] = Field(default=1, description="Number of them.")
    tags: Tags = Field(default=(), description="Tags to find it by. In a spec the first is the item's tag.")
    access: Access = Field(default="sometimes", description="How often it is used.")
    drawer: HouseholdId | None = Field(default=None, description="Id of the drawer that it belongs in.")
    place: Note | None = Field(
        default=None, description="Where it lies if in no drawer, in words that fit a sentence: on the workbench."
    )
    note: Note | None = Field(default=None, description="Note for people.")
    storage: Storage | None = Field(default=None, description="How to store it, as in an item.")
    pose: AskedPose | None = Field(default=None, description="Pose to keep it in, as in an item.")
    nest: NestingStep | None = Field(
        default=None, description="Height that each further one adds to a pile, as in an item."
    )
    soft: Soft | None = Field(default=None, description="How far it gives way if it is soft, as in an item.")
    engraved: bool = Field(
        default=False, strict=True, description="Whether its outline is engraved instead of a pocket, as in an item."
    )
    group: Name | None = Field(default=None, description="Group of things to lie together, as in an item.")
    mass: Annotated[Number, Field(ge=0.0, le=100_000.0)] | None = Field(
        default=None, description="Mass of one of them in grams."
    )
    label: Annotated[bool | str, PlainValidator(label_or_flag, json_schema_input_type=bool | Label)] = Field(
        default=False, description="A label ledge with this text; true: with the thing's name."
    )
    stack: bool | None = Field(
        default=None, strict=True, description="Whether its tray may be stacked over or under others, as in an item."
    )

    def as_item(self) -> dict[str, Any]:
        """Return the thing as JSON of a spec's `items`; without a shape if it has none."""
        document = self.model_dump(mode="json", exclude_unset=True, include=set(_OF_ITEM))
        if document.get("shape") is None:
            document.pop("shape", None)
        return document | ({"tag": self.tags[0]} if self.tags else {})


class PieceRequest(Noun):
    """A printed piece: its state, and the drawer that it lies in or belongs to.

    mark, kind, name and digests are taken from the part of a job; they are given for a piece that no job recorded.
    """

    mark: Mark = Field(description="Mark that is engraved on it.")
    kind: PartKind = Field(default="tray", description="Kind of part.")
    name: Name = Field(description="Name of the part.")
    digest: Sha256 = Field(description="Digest of the part, as in the manifest.")
    shape: Sha256 | None = Field(default=None, description="Fingerprint of the part's shape, as in the manifest.")
    state: PieceState = Field(
        description="printed: at hand, not yet placed. placed: in its drawer. spare: kept for later. retired: taken "
        "out of its drawer."
    )
    drawer: HouseholdId | None = Field(default=None, description="Id of its drawer; a placed piece needs one.")
    note: Note | None = Field(default=None, description="Note for people.")

    @model_validator(mode="after")
    def _rules(self) -> Self:
        refusals = Refusals()
        if self.state == "placed" and self.drawer is None:
            error = SpecError(
                "A placed piece has no drawer.",
                value=None, limit="the id of a drawer", remedy="Give its drawer, or another state.",
            )  # fmt: skip
            refusals.add(error, "drawer")
        refusals.settle()
        return self


class ChangesRequest(Noun):
    """Changes of the things that a drawer is to hold. Without any, the things that belong in it now are meant."""

    add: tuple[HouseholdId, ...] = Field(default=(), max_length=300, description="Things that are to lie in it.")
    remove: tuple[HouseholdId, ...] = Field(
        default=(), max_length=300, description="Things that are no longer to lie in it."
    )
    counts: dict[HouseholdId, Annotated[Count, Field(ge=1, le=10_000)]] = Field(
        default={}, max_length=300, description="New counts of things of the drawer, by id."
    )


class LayoutRequest(Noun):
    """Report that a drawer is as a job laid it out, with every piece placed."""

    job: HouseholdId = Field(description="Id of a job that succeeded.")
    drawer: Name | None = Field(
        default=None, description="Name of the drawer in the job; null for the one with this drawer's id or name."
    )
