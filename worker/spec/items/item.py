"""The item: a kind of thing to store, with its count, shape and storage."""

from typing import Annotated, Any, Final, Literal, Self, TypeAlias

from pydantic import BeforeValidator, ConfigDict, Field, PlainValidator, TypeAdapter, model_validator

from worker.spec.errors import SpecError
from worker.spec.items.catalogue import CatalogueEntry, lookup
from worker.spec.items.handling import AskedPose, NestingStep, Soft, check_engraving, check_nesting, check_softness
from worker.spec.items.made_up_shape import Bundle, Coil, Tapered
from worker.spec.items.shape import SCREW_LENGTHS, Box, Cylinder, PlainShape, Prism, Screw, SilhouetteShape
from worker.spec.primitives.length import LengthBounds
from worker.spec.primitives.model import Noun
from worker.spec.primitives.names import Count, HouseholdId, Label, Name, Number, Position, complete_or_by_id
from worker.spec.primitives.pydantic_errors import Refusals, refusal
from worker.spec.primitives.silhouette_id import silhouette_unknown

__all__ = ["Access", "Item", "ItemShape", "Standard", "Storage", "ThingShape", "access_rank", "label_or_flag"]

Storage: TypeAlias = Literal["rows", "upright", "loose", "pocket", "lane"]
Access: TypeAlias = Literal["often", "sometimes", "rarely"]

#: From the most used to the least.
_ACCESS_ORDER: Final[tuple[Access, ...]] = ("often", "sometimes", "rarely")

#: Most pockets in one tray.
_MOST_POCKETS: Final = 60
_LONGEST_LABEL: Final = 40


def access_rank(access: Access) -> int:
    """Return the rank of an access: 0 for what is used often, 2 for what is used rarely."""
    return _ACCESS_ORDER.index(access)


class Standard(Noun):
    """Shape of a standard item of the catalogue."""

    kind: Literal["standard"] = Field(description="Marks the shape as a standard item.")
    id: Name = Field(description="Id in the catalogue.")
    length: Annotated[float, LengthBounds(*SCREW_LENGTHS)] | None = Field(
        default=None, description="Length under the head; required for screws, not allowed for anything else."
    )

    @property
    def entry(self) -> CatalogueEntry:
        """Its entry in the catalogue."""
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
                    value=None,
                    limit="required",
                    remedy="Give the length under the head.",
                )
                refusals.add(error, "length")
            if not entry.takes_length and self.length is not None:
                error = SpecError(
                    f"The length of {entry.name} is fixed by the catalogue.",
                    value=self.length, limit="no length",
                    remedy="Remove it, or give the dimensions as a box or cylinder.",
                )  # fmt: skip
                refusals.add(error, "length")
        refusals.settle()
        return self


#: A shape as a caller describes it; in a spec, a service replaces a silhouette by a polygon.
ThingShape: TypeAlias = Annotated[
    Box | Cylinder | Prism | Standard | SilhouetteShape | Tapered | Bundle | Coil, Field(discriminator="kind")
]


def _without_silhouette(value: Any) -> Any:
    """Refuse a silhouette: where specs are validated, a service has replaced it."""
    if isinstance(value, dict) and value.get("kind") == "silhouette":
        raise refusal(silhouette_unknown(value.get("id")))
    return value


ItemShape: TypeAlias = Annotated[
    Box | Cylinder | Prism | Standard | Tapered | Bundle | Coil,
    Field(discriminator="kind"),
    BeforeValidator(_without_silhouette, json_schema_input_type=ThingShape),
]

_LABEL: Final = TypeAdapter[str](Label)


def label_or_flag(value: Any) -> bool | str:
    """Return the text of a label, or whether there is one.

    Raises:
        PydanticCustomError: if it is neither text nor true or false.
    """
    if isinstance(value, bool):
        return value
    if not isinstance(value, str):
        error = SpecError(
            "The label must be true, false or text.",
            value=value, limit="true, false or a JSON string", remedy="Use true to print the item's name.",
        )  # fmt: skip
        raise refusal(error)
    return _LABEL.validate_python(value)


class Item(Noun):
    """A kind of thing to store, and how many there are."""

    model_config = ConfigDict(json_schema_extra=complete_or_by_id("name", "shape"))

    name: Name = Field(description="Name of the item, unique in its list.")
    shape: ItemShape = Field(description="Shape and dimensions, an id of the catalogue, or a silhouette.")
    count: Annotated[Count, Field(ge=1, le=10_000)] = Field(default=1, description="Number of things.")
    storage: Storage | None = Field(
        default=None,
        description="rows: lying side by side; upright: standing; loose: poured in; pocket: each in its own recess; "
        "lane: on the bare bottom beside panels, without a tray, for large, long or soft things; null for the best "
        "choice by shape and count.",
    )
    pose: AskedPose | None = Field(
        default=None,
        description="as_given: as the shape describes it; flat: as low as it can lie; on_edge: on its long narrow "
        "side; upright: on end; any: whatever takes the least room; null for the usual pose of such things. Items of "
        "one group and tag are kept in one pose where all of them can be.",
    )
    nest: NestingStep | None = Field(
        default=None,
        description="Height that each further thing adds to a pile, for things that nest, such as spoons, bowls and "
        "cups; null: they do not nest. A cylinder is piled along its length. By default that of the catalogue, for "
        "things of an id that are kept in rows or wherever suits.",
    )
    soft: Soft | None = Field(
        default=None, description="How far the things give way if they are soft, such as socks; null: they are firm."
    )
    engraved: bool = Field(
        default=False,
        strict=True,
        description="true, with the storage `pocket`: its outline is engraved in a level floor instead, with room for "
        "a finger beside it.",
    )
    access: Access = Field(
        default="sometimes", description="How often it is used. Items used often are placed at the front."
    )
    group: Name | None = Field(
        default=None,
        description="Items of a group are placed next to each other and share trays. Items of two groups share one "
        "only where that saves much, and never with `share: group`.",
    )
    mass: Annotated[Number, Field(ge=0.0, le=100_000.0)] | None = Field(
        default=None, description="Mass of one thing in grams."
    )
    tag: Name | None = Field(
        default=None, description="What the item is one of. Ungrouped items with the same tag may share a tray."
    )
    label: Annotated[bool | str, PlainValidator(label_or_flag, json_schema_input_type=bool | Label)] = Field(
        default=False, description="A label ledge with this text; true: with the item's name."
    )
    at: tuple[Position, Position] | None = Field(
        default=None,
        description="Grid position of its tray's front left cell, counted from 0; null to let the service place it.",
    )
    near: Name | None = Field(default=None, description="Name of the item to place it next to.")
    fixed: bool = Field(
        default=False, strict=True, description="Keep its printed tray where it is; needs a previous manifest."
    )
    stack: bool | None = Field(
        default=None,
        strict=True,
        description="Whether its tray may be over or under others. null: stacked only if access is rarely; and where "
        "things would have no place, over trays that are used no more often, or under one that is lifted out unless "
        "access is often.",
    )
    id: HouseholdId | None = Field(
        default=None,
        description="Id of the thing in the household (/v1/things). A service fills in the fields that are not given "
        "beside it when the job is submitted.",
    )

    @property
    def plain(self) -> PlainShape:
        """Its shape with dimensions; for a standard item, those of the catalogue.

        A tapered body that stands by itself, nests or is to stand is as wide as its thick end; a longer one lies.
        """
        shape = self.shape.entry.shape if isinstance(self.shape, Standard) else self.shape
        if isinstance(shape, Bundle | Coil):
            return shape.lying
        if isinstance(shape, Tapered):
            stands = shape.stands and self.pose in {None, "any"}
            kept = "upright" in {self.storage, self.pose} or self.nesting_step is not None or self.soft is not None
            return shape.standing if stands or kept else shape.lying
        if isinstance(self.shape, Standard) and isinstance(shape, Screw):
            return shape.model_copy(update={"length": self.shape.length})
        return shape

    @property
    def _rolls(self) -> bool:
        """Whether one that lies rolls away: a rod, a screw or a cone."""
        shape = self.shape.entry.shape if isinstance(self.shape, Standard) else self.shape
        plain = self.plain
        if isinstance(plain, Cylinder):
            return plain.length > plain.diameter
        return isinstance(plain, Screw) or isinstance(shape, Tapered)

    @property
    def nesting_step(self) -> float | None:
        """What one more adds to a pile, mm: as given, else that of the catalogue; None: they do not nest."""
        if "nest" in self.model_fields_set or not isinstance(self.shape, Standard):
            return self.nest
        return None if self.storage not in {None, "rows"} or self.soft is not None else self.shape.entry.nest

    @property
    def stacks(self) -> bool:
        """Whether its tray may be stacked over or under others."""
        return self.stack if self.stack is not None else self.access == "rarely"

    @property
    def label_text(self) -> str | None:
        """Text of its label, or None."""
        if isinstance(self.label, str):
            return self.label
        return self.name if self.label else None

    @model_validator(mode="after")
    def _rules(self) -> Self:
        refusals = Refusals()
        if self.at is not None and self.near is not None:
            error = SpecError(
                "The item has both a position and a neighbour.",
                value=self.near, limit="at or near, not both", remedy="Remove one of them.",
            )  # fmt: skip
            refusals.add(error, "near")
        if self.near == self.name:
            error = SpecError(
                "An item cannot be placed next to itself.",
                value=self.near, limit="the name of another item", remedy="Name another item.",
            )  # fmt: skip
            refusals.add(error, "near")
        if self.storage == "pocket" and self.count > _MOST_POCKETS:
            error = SpecError(
                "The item needs too many pockets for one tray.",
                value=self.count, limit=f"at most {_MOST_POCKETS} in pockets", remedy="Use rows, or split the item.",
            )  # fmt: skip
            refusals.add(error, "count")
        self._check_handling(refusals)
        for name in ("at", "fixed", "stack") if self.storage == "lane" else ():
            if getattr(self, name):
                error = SpecError(
                    f"Things in a lane have no tray, so they have no `{name}`.",
                    value=getattr(self, name), limit=f"no `{name}` with the storage `lane`",
                    remedy=f"Remove `{name}`.",
                )  # fmt: skip
                refusals.add(error, name)
        if self.label is True and len(self.name) > _LONGEST_LABEL:
            limit = f"a name of at most {_LONGEST_LABEL} characters"
            error = SpecError(
                "The name is too long for a label.", value=True, limit=limit, remedy="Give a shorter text."
            )
            refusals.add(error, "label")
        refusals.settle()
        return self

    def _check_handling(self, refusals: Refusals) -> None:
        """Add an error for each of pose, nest and soft that contradicts another field."""
        lies, stands = {"flat"}, {"on_edge", "upright"}
        contrary = {"rows": stands, "upright": lies, "loose": lies | stands | {"as_given"}}
        if self.pose in contrary.get(self.storage or "", ()):
            error = SpecError(
                "The pose contradicts the storage.",
                value=self.pose, limit=f"a pose that `{self.storage}` allows, or null",
                remedy="Remove one of them.",
            )  # fmt: skip
            refusals.add(error, "pose")
        for name, others in (("nest", ("loose", "pocket")), ("soft", ("pocket",))):
            if getattr(self, name) is not None and self.storage in others:
                error = SpecError(
                    f"Things that are kept as `{self.storage}` have no `{name}`.",
                    value=self.storage, limit=f"rows, upright or null beside `{name}`", remedy="Remove one of them.",
                )  # fmt: skip
                refusals.add(error, "storage")
        if self.nest is not None and self.soft is not None:
            error = SpecError(
                "Things either nest or are soft.",
                value=self.nest, limit="nest or soft, not both", remedy="Remove one of them.",
            )  # fmt: skip
            refusals.add(error, "nest")
        if self.nest is not None:
            check_nesting(self.plain, self.nest, refusals)
        if self.soft is not None:
            check_softness(self.plain, self.soft, refusals)
        if self.engraved:
            check_engraving(self.storage, self.pose, self.count, refusals, rolls=self._rolls)
