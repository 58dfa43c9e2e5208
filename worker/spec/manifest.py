"""What a caller gets: the plan document and the manifest.

Both are JSON. Lengths are millimetres, areas mm2, volumes mm3, angles degrees, file sizes bytes. The JSON Schema of the
manifest is published as ``openapi/manifest.schema.json``; `manifest_schema` makes it.
"""

from typing import Annotated, Any, Final, Literal, TypeAlias

from pydantic import BaseModel, ConfigDict, Field

MANIFEST_VERSION: Final = "1"

#: The media types of the files that a job writes.
STL_TYPE: Final = "model/stl"
THREEMF_TYPE: Final = "model/3mf"
JSON_TYPE: Final = "application/json"
ZIP_TYPE: Final = "application/zip"

Mark: TypeAlias = Annotated[str, Field(pattern=r"^[A-Z][0-9]{1,5}$")]
Sha256: TypeAlias = Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]
FileName: TypeAlias = Annotated[str, Field(pattern=r"^[A-Za-z0-9][A-Za-z0-9._-]{0,63}$")]
Count: TypeAlias = Annotated[int, Field(ge=0)]
Positive: TypeAlias = Annotated[float, Field(gt=0, allow_inf_nan=False)]
Millimetres: TypeAlias = Annotated[float, Field(allow_inf_nan=False)]
Point2: TypeAlias = tuple[Millimetres, Millimetres]
Point3: TypeAlias = tuple[Millimetres, Millimetres, Millimetres]
Size3: TypeAlias = tuple[Positive, Positive, Positive]
PartKind: TypeAlias = Literal["tile", "tray", "key", "coupon", "plug"]


class _Entry(BaseModel):
    model_config = ConfigDict(
        extra="forbid", frozen=True, use_attribute_docstrings=True, json_schema_serialization_defaults_required=True
    )


class Generator(_Entry):
    """What made the files. The same spec gives the same bytes under the same three."""

    name: Literal["drawerwright"] = "drawerwright"
    version: str
    kernel: str
    """The geometry kernel and its version."""


class Cells(_Entry):
    """The count of a drawer's sockets."""

    whole: Count
    half: Count
    """Half and quarter cells."""
    across: tuple[Count, Count]
    """Whole cells along the longest row (x) and the longest column (y)."""


class PlacementEntry(_Entry):
    """Where one part stands in its drawer: turned about z, then the least corner of its box moved to ``at``."""

    mark: Mark
    at: Point3
    turn: Literal[0, 90, 180, 270]
    cell: Point2 | None = None
    """A tray's grid position, counted in cells from the grid's origin."""
    name: str | None = None
    """What the caller calls the tray that stands here; equal trays share a mark, and each keeps its name."""


class DrawerEntry(_Entry):
    """One drawer: x left to right, y front to back, z up, origin at the front left corner of the usable area."""

    name: str
    copies: Annotated[int, Field(ge=1)]
    size: Size3
    """Width, depth and height."""
    outline: tuple[tuple[Point2, ...], ...]
    """Rings of the usable area: the outer ring counter-clockwise, then holes clockwise; none is closed."""
    origin: Point2
    """Front left corner of the grid."""
    pitch: Positive
    cells: Cells
    leftover: Point2
    """What the whole cells leave of the drawer's width and depth."""
    free: Count
    """Half cells (quarters of a cell) with no tray on them."""
    placements: tuple[PlacementEntry, ...]


class PlannedPart(_Entry):
    """One shape, before its files. The same mark is the same shape."""

    mark: Mark
    kind: PartKind
    name: str
    quantity: Annotated[int, Field(ge=1)]
    """For all drawers and their copies."""
    size: Size3
    """The box as printed."""


class WarningEntry(_Entry):
    """Something the caller should know, that stops nothing."""

    pointer: str
    """JSON Pointer into the spec."""
    message: str


class CautionEntry(_Entry):
    """A safety line that is here because of what was asked."""

    topic: str
    text: str


class Check(_Entry):
    """One check: what was measured, and what it had to be."""

    name: str
    passed: bool
    value: float | int | str | None = None
    """The figure as measured."""
    limit: str
    """What the figure has to be, in words and numbers."""
    subject: str | None = None
    """What it was measured on, where that is not the part itself: a file, or the drawer and the two closest parts."""


class FileEntry(_Entry):
    """One file."""

    name: FileName
    media_type: str
    bytes: Annotated[int, Field(gt=0)]
    sha256: Sha256


class PartEntry(PlannedPart):
    """One shape with its checks and files."""

    triangles: Annotated[int, Field(ge=4)]
    volume: Positive
    area: Positive
    digest: Sha256
    """Of the part's own parameters and the kernel's version."""
    checks: tuple[Check, ...]
    files: tuple[FileEntry, ...]


class PlanDocument(_Entry):
    """A job laid out in numbers, with no files."""

    plan: Literal["1"] = MANIFEST_VERSION
    name: str
    drawers: tuple[DrawerEntry, ...]
    parts: tuple[PlannedPart, ...]
    warnings: tuple[WarningEntry, ...]
    cautions: tuple[CautionEntry, ...]


class Manifest(_Entry):
    """All that a job made."""

    manifest: Literal["1"] = MANIFEST_VERSION
    generator: Generator
    name: str
    spec_digest: Sha256
    """SHA-256 of the spec as canonical JSON (keys sorted, no spaces, UTF-8)."""
    drawers: tuple[DrawerEntry, ...]
    parts: tuple[PartEntry, ...]
    assembly: tuple[Check, ...]
    """Checks of the parts together, drawer by drawer."""
    warnings: tuple[WarningEntry, ...]
    cautions: tuple[CautionEntry, ...]
    bundle: FileEntry | None = None
    """All files as one archive; null in the manifest inside the bundle, which cannot know it."""


def manifest_schema() -> dict[str, Any]:
    """Return the manifest's JSON Schema (draft 2020-12), as it is written and not as it may be read."""
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "Drawerwright manifest",
        **{k: v for k, v in Manifest.model_json_schema(mode="serialization").items() if k != "title"},
    }
