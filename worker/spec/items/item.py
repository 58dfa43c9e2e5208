"""The item: a kind of thing that a drawer is to hold, and how it is to lie there."""

from typing import Annotated, Any, Final, Literal, Self, TypeAlias

from pydantic import Field, PlainValidator, TypeAdapter, model_validator

from worker.spec.errors import SpecError
from worker.spec.items.catalogue import CatalogueEntry, lookup
from worker.spec.items.shape import SCREW_LENGTHS, Box, Cylinder, PlainShape, Prism, Screw
from worker.spec.primitives.length import LengthBounds
from worker.spec.primitives.model import Noun
from worker.spec.primitives.names import Count, Label, Name, Number, Position
from worker.spec.primitives.pydantic_errors import Refusals, refusal

__all__ = ["Access", "Item", "ItemShape", "Standard", "Storage"]

Storage: TypeAlias = Literal["rows", "upright", "loose", "pocket"]
Access: TypeAlias = Literal["often", "sometimes", "rarely"]

#: A tray has no more pockets than this.
_MOST_POCKETS: Final = 60
_LONGEST_LABEL: Final = 40


class Standard(Noun):
    """A thing of the catalogue."""

    kind: Literal["standard"] = Field(description="Says that the catalogue knows it.")
    id: Name = Field(description="Its id in the catalogue.")
    length: Annotated[float, LengthBounds(*SCREW_LENGTHS)] | None = Field(
        default=None, description="Length under the head: for screws, and only for them."
    )

    @property
    def entry(self) -> CatalogueEntry:
        """What the catalogue says of it."""
        return lookup(self.id)

    @model_validator(mode="after")
    def _rules(self) -> Self:
        refusals = Refusals()
        try:
            entry = self.entry
        except SpecError as unknown:
            refusals.add(unknown, "id")
        else:
            if entry.takes_length and self.length is None:
                error = SpecError(
                    f"The length of {entry.name} is missing.",
                    limit="required",
                    remedy="Give its length under the head.",
                )
                refusals.add(error, "length")
            if not entry.takes_length and self.length is not None:
                remedy = "Leave it out, or give the sizes as a box or a cylinder."
                error = SpecError(f"The catalogue knows the length of {entry.name}.", value=self.length, remedy=remedy)
                refusals.add(error, "length")
        refusals.settle()
        return self


ItemShape: TypeAlias = Annotated[Box | Cylinder | Prism | Standard, Field(discriminator="kind")]

_LABEL: Final = TypeAdapter[str](Label)


def _label(value: Any) -> bool | str:
    if isinstance(value, bool):
        return value
    if not isinstance(value, str):
        raise refusal(SpecError("This must be true, false or a text.", value=value, limit="true, false or a text"))
    return _LABEL.validate_python(value)


class Item(Noun):
    """A kind of thing, and how many of it there are."""

    name: Name = Field(description="What it is; no two items of a list share a name.")
    shape: ItemShape = Field(description="Its shape and sizes, or its id in the catalogue.")
    count: Annotated[Count, Field(ge=1, le=10_000)] = Field(default=1, description="How many.")
    storage: Storage | None = Field(
        default=None,
        description="rows: lying side by side; upright: standing; loose: poured in; pocket: each in its own recess; "
        "null: what suits its kind and count.",
    )
    access: Access = Field(default="sometimes", description="How often it is wanted; often comes to the front.")
    group: Name | None = Field(
        default=None,
        description="Items of one group lie together. Kinds share a tray with dividers where that saves floor: those "
        "of one group, and any that have none; never those of two groups.",
    )
    mass: Annotated[Number, Field(ge=0.0, le=100_000.0)] | None = Field(default=None, description="Grams, each.")
    label: Annotated[bool | str, PlainValidator(_label, json_schema_input_type=bool | Label)] = Field(
        default=False, description="A label ledge with this text; true: with the item's name."
    )
    at: tuple[Position, Position] | None = Field(
        default=None, description="Front left cell of its tray on the grid, counted from 0; null: placed by itself."
    )
    near: Name | None = Field(default=None, description="Name of another item to lie next to.")
    fixed: bool = Field(default=False, strict=True, description="With a previous manifest: stays where it was.")
    stack: bool | None = Field(
        default=None, strict=True, description="Whether trays may stand over or under it; null: if rarely wanted."
    )

    @property
    def plain(self) -> PlainShape:
        """Its shape with sizes: what the catalogue says when it is a standard thing."""
        if not isinstance(self.shape, Standard):
            return self.shape
        shape = self.shape.entry.shape
        return shape.model_copy(update={"length": self.shape.length}) if isinstance(shape, Screw) else shape

    @property
    def stacks(self) -> bool:
        """Whether trays may stand over or under it."""
        return self.stack if self.stack is not None else self.access == "rarely"

    @property
    def label_text(self) -> str | None:
        """What its label says, if it has one."""
        if isinstance(self.label, str):
            return self.label
        return self.name if self.label else None

    @model_validator(mode="after")
    def _rules(self) -> Self:
        refusals = Refusals()
        if self.at is not None and self.near is not None:
            remedy = "Give one or the other."
            refusals.add(SpecError("The item has a place already.", value=self.near, remedy=remedy), "near")
        if self.near == self.name:
            remedy = "Name another item."
            refusals.add(SpecError("An item cannot lie next to itself.", value=self.near, remedy=remedy), "near")
        if self.storage == "pocket" and self.count > _MOST_POCKETS:
            error = SpecError(
                "One tray has no room for so many pockets.",
                value=self.count, limit=f"at most {_MOST_POCKETS} with pockets", remedy="Take rows, or split the item.",
            )  # fmt: skip
            refusals.add(error, "count")
        if self.label is True and len(self.name) > _LONGEST_LABEL:
            limit = f"a name of at most {_LONGEST_LABEL} characters"
            error = SpecError("The name is too long for a label.", value=True, limit=limit, remedy="Give its text.")
            refusals.add(error, "label")
        refusals.settle()
        return self
