"""Field types and the base model of the documents that the service writes."""

from typing import Annotated, Literal, TypeAlias

from pydantic import BaseModel, ConfigDict, Field, WithJsonSchema

from worker.spec.drawer.tray import Tray
from worker.spec.items.shape import PlainShape

Mark: TypeAlias = Annotated[str, Field(pattern=r"^[A-Z][0-9]{1,5}$")]
Sha256: TypeAlias = Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]
FileName: TypeAlias = Annotated[str, Field(pattern=r"^[A-Za-z0-9][A-Za-z0-9._-]{0,63}$")]
Count: TypeAlias = Annotated[int, Field(ge=0)]
Positive: TypeAlias = Annotated[float, Field(gt=0, allow_inf_nan=False)]
Millimetres: TypeAlias = Annotated[float, Field(allow_inf_nan=False)]
Point2: TypeAlias = tuple[Millimetres, Millimetres]
Point3: TypeAlias = tuple[Millimetres, Millimetres, Millimetres]
Size3: TypeAlias = tuple[Positive, Positive, Positive]
PartKind: TypeAlias = Literal["tile", "tray", "key", "coupon", "plug", "panel", "shoe", "clip"]
Quantity: TypeAlias = Annotated[int, Field(ge=1)]
Turn: TypeAlias = Literal[0, 90, 180, 270]
Amount: TypeAlias = Annotated[float, Field(ge=0, allow_inf_nan=False)]
Colour: TypeAlias = Annotated[str, Field(pattern=r"^#[0-9A-Fa-f]{6}$")]
RunNumber: TypeAlias = Annotated[int, Field(ge=1)]
#: The number of a mark has at most five digits.
MarkNumber: TypeAlias = Annotated[int, Field(ge=0, le=99_999)]
#: The published schema describes these two as plain objects: the spec's schema has them in full, and lengths are
#: written in mm.
WrittenTray: TypeAlias = Annotated[Tray, WithJsonSchema({"type": "object"})]
WrittenShape: TypeAlias = Annotated[PlainShape, Field(discriminator="kind"), WithJsonSchema({"type": "object"})]


class OutputModel(BaseModel):
    """A frozen model of a document that the service writes; attribute docstrings describe its fields in the schema."""

    model_config = ConfigDict(
        extra="forbid", frozen=True, use_attribute_docstrings=True, json_schema_serialization_defaults_required=True
    )
