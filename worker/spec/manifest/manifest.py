"""What a caller gets: the plan document and the manifest.

Both are JSON. Lengths are millimetres, areas mm2, volumes mm3, angles degrees, file sizes bytes. The JSON Schema of the
manifest is published as ``openapi/manifest.schema.json``; `manifest_schema` makes it.
"""

from typing import Annotated, Any, Final, Literal, TypeAlias

from pydantic import AwareDatetime, BaseModel, ConfigDict, Field, WithJsonSchema

from worker.spec.drawer.tray import Tray
from worker.spec.items.item import Storage
from worker.spec.items.shape import PlainShape

MANIFEST_VERSION: Final = "1"

#: The media types of the files that a job writes.
STL_TYPE: Final = "model/stl"
THREEMF_TYPE: Final = "model/3mf"
JSON_TYPE: Final = "application/json"
ZIP_TYPE: Final = "application/zip"
SVG_TYPE: Final = "image/svg+xml"
PDF_TYPE: Final = "application/pdf"
GLB_TYPE: Final = "model/gltf-binary"
CSV_TYPE: Final = "text/csv"
CALENDAR_TYPE: Final = "text/calendar"

#: Media types that a job's file can have.
FILE_TYPES: Final = (
    STL_TYPE, THREEMF_TYPE, JSON_TYPE, ZIP_TYPE, SVG_TYPE, PDF_TYPE, GLB_TYPE, CSV_TYPE, CALENDAR_TYPE,
)  # fmt: skip

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
Quantity: TypeAlias = Annotated[int, Field(ge=1)]
Turn: TypeAlias = Literal[0, 90, 180, 270]
Amount: TypeAlias = Annotated[float, Field(ge=0, allow_inf_nan=False)]
Colour: TypeAlias = Annotated[str, Field(pattern=r"^#[0-9A-Fa-f]{6}$")]
RunNumber: TypeAlias = Annotated[int, Field(ge=1)]
#: The number of a mark has at most five digits.
MarkNumber: TypeAlias = Annotated[int, Field(ge=0, le=99_999)]
#: The contract spells these two out under their own names; what is written of them has lengths in mm.
WrittenTray: TypeAlias = Annotated[Tray, WithJsonSchema({"type": "object"})]
WrittenShape: TypeAlias = Annotated[PlainShape, Field(discriminator="kind"), WithJsonSchema({"type": "object"})]


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
    turn: Turn
    cell: Point2 | None = None
    """A tray's grid position, counted in cells from the grid's origin."""
    name: str | None = None
    """What the caller calls the tray that stands here; equal trays share a mark, and each keeps its name."""


class ContentEntry(_Entry):
    """Things of one item that lie in one tray."""

    item: str
    """The item's name."""
    pointer: str
    """JSON Pointer of the item in the spec."""
    count: Quantity
    """How many lie here."""
    capacity: Quantity
    """How many would have room here."""
    storage: Storage
    """How they lie."""
    shape: WrittenShape
    """The shape of one, as an item of a spec has it; a thing of the catalogue with its sizes."""
    placement: Count
    """The tray: an index into the drawer's placements."""
    at: Point3
    """Least corner of the box around them, in the drawer's frame."""
    size: Size3
    """That box."""
    label: str | None = None
    """What its label says; null: it has none."""


class SpaceEntry(_Entry):
    """A rectangle of cells with no tray on them."""

    at: Point2
    """Its front left cell, counted from the grid's origin."""
    cells: tuple[Positive, Positive]
    """Cells across and front to back."""


class DrawerEntry(_Entry):
    """One drawer: x left to right, y front to back, z up, origin at the front left corner of the usable area."""

    name: str
    copies: Quantity
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
    contents: tuple[ContentEntry, ...] = ()
    """What lies where, by item and tray."""
    spaces: tuple[SpaceEntry, ...] = ()
    """The free cells as rectangles, the largest first; none overlaps another."""


class PlannedPart(_Entry):
    """One shape, before its files. The same mark is the same shape."""

    mark: Mark
    kind: PartKind
    name: str
    quantity: Quantity
    """For all drawers and their copies."""
    size: Size3
    """The box as printed."""
    shape: Sha256 | None = None
    """Digest of the shape without its mark: by this a later layout knows what is printed already."""
    tray: WrittenTray | None = None
    """A tray as a spec has it, without its place and quantity; for every other kind null."""


class UnplacedEntry(_Entry):
    """Things that found no place."""

    item: str
    """The item's name."""
    pointer: str
    """JSON Pointer of the item in the spec."""
    drawer: str | None
    """The drawer that they were for; null: any of the job."""
    count: Quantity
    """How many found no place."""
    reason: str
    """Why."""
    remedy: str | None
    """The cheapest way to give them one."""


class PiecesEntry(_Entry):
    """Printed pieces of one mark."""

    mark: Mark
    kind: PartKind
    name: str
    count: Quantity


class StandEntry(_Entry):
    """Where a piece stands: as in a drawer's placements."""

    drawer: str
    at: Point3
    turn: Turn
    cell: Point2 | None = None


class MoveEntry(_Entry):
    """A printed piece that goes elsewhere."""

    mark: Mark
    kind: PartKind
    name: str
    count: Quantity
    """How many: copies of a drawer move alike."""
    before: StandEntry
    now: StandEntry


class Changes(_Entry):
    """What a new layout changes of what is printed: new, kept and moved pieces are all that is needed now."""

    new: tuple[PiecesEntry, ...]
    """To be printed."""
    kept: tuple[PiecesEntry, ...]
    """Stay where they are."""
    moved: tuple[MoveEntry, ...]
    """Serve on in another place."""
    retired: tuple[PiecesEntry, ...]
    """No longer needed; their marks and names are those of the previous manifest."""


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


class EstimateEntry(_Entry):
    """What one piece takes, by its geometry; calibrated where the spec has calibrations."""

    material: str
    colour: Colour | None
    layer: Positive
    line_width: Positive
    grams: Positive
    metres: Positive
    """Filament 1.75 mm thick."""
    cost: Amount | None
    """In the currency of the material's price; null without one."""
    seconds: Positive
    """Alone on its bed, with heating."""
    laying_seconds: Positive
    """Of these, the laying of its own lines: what adds up when pieces share a run."""
    layers: Quantity


class RunPiece(_Entry):
    """One piece in a run: its footprint turned counter-clockwise, then its front left corner moved to ``at``."""

    mark: Mark
    at: Point2
    """From the bed's own front left corner."""
    turn: Literal[0, 90]
    drawer: str | None
    """The drawer that it is for; null: none, as the coupon."""


class RunEntry(_Entry):
    """What is printed in one go on one bed."""

    number: RunNumber
    material: str
    colour: Colour | None
    layer: Positive
    line_width: Positive
    pieces: tuple[RunPiece, ...]
    seconds: Positive | None = None
    """With heating; null in a plan, which has no meshes to judge by."""
    grams: Positive | None = None
    metres: Positive | None = None
    cost: Amount | None = None
    file: FileName | None = None
    """The 3MF with every piece in its place."""


class AlternativeEntry(_Entry):
    """The same job with another layer height for all parts."""

    layer: Positive
    runs: Quantity
    grams: Positive
    metres: Positive
    cost: Amount | None
    seconds: Positive


class WorkEntry(_Entry):
    """All that is to be printed, in numbers."""

    pieces: Count
    runs: Count
    least_runs: Count
    """No packing has fewer: proved."""
    long_pieces: tuple[Mark, ...] = ()
    """Take longer than a run may, each alone."""
    grams: Amount | None = None
    metres: Amount | None = None
    cost: Amount | None = None
    seconds: Amount | None = None
    """All runs one after another, with heating and without cooling."""
    time_uncertainty: Amount | None = None
    """Part by which the times may be off; null in a plan."""
    filament_uncertainty: Amount | None = None
    calibrated_time: Positive = 1.0
    """What the calibrations made of every time: a factor."""
    calibrated_filament: Positive = 1.0
    alternatives: tuple[AlternativeEntry, ...] = ()


class SwapEntry(_Entry):
    """A spool that runs out in a run: have the next one ready."""

    material: str
    colour: Colour | None
    after_grams: Amount
    """Grams into the run."""


class StepEntry(_Entry):
    """A run in the calendar."""

    run: RunNumber
    printer: str
    begin: AwareDatetime
    attended_until: AwareDatetime
    """Until then somebody watches: the first layer."""
    end: AwareDatetime
    free: AwareDatetime
    """When the bed is cooled down, cleared and free."""
    swaps: tuple[SwapEntry, ...] = ()


class PurchaseEntry(_Entry):
    """Filament of one material and colour: what is needed, and what must be bought."""

    material: str
    colour: Colour | None
    grams: Amount
    """Needed for all runs."""
    left: Amount
    """On spools that are there."""
    spools: Count
    """To buy."""
    cost: Amount | None
    """Of the spools to buy."""


class WaitingEntry(_Entry):
    """A run that finds no time."""

    run: RunNumber
    reason: str


class ScheduleEntry(_Entry):
    """When which run is printed on which printer. All times are in one time zone."""

    timezone: str
    begin: AwareDatetime | None
    finish: AwareDatetime | None
    """The end of the last run; null when none found a time."""
    steps: tuple[StepEntry, ...]
    waiting: tuple[WaitingEntry, ...] = ()


class DocumentEntry(_Entry):
    """A file that belongs to no part: a run, a map, a sheet of labels, a model, a list, a calendar."""

    role: Literal["run", "map", "labels", "model", "bill", "calendar"]
    title: str
    drawer: str | None = None
    run: RunNumber | None = None
    file: FileEntry


class PartEntry(PlannedPart):
    """One shape with its checks and files."""

    triangles: Annotated[int, Field(ge=4)]
    volume: Positive
    area: Positive
    digest: Sha256
    """Of the part's own parameters and the kernel's version."""
    estimate: EstimateEntry | None = None
    """What one piece takes to print."""
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
    unplaced: tuple[UnplacedEntry, ...] = ()
    """Things that found no place."""
    changes: Changes | None = None
    """What is new, kept, moved and retired against the previous manifest; null without one."""
    numbering: dict[str, MarkNumber] = {}
    """The highest number that each letter of a mark was ever given, so that none is given twice."""
    runs: tuple[RunEntry, ...] = ()
    """Print runs in the order of work: the coupon, then the floor, then trays by how often they are used."""
    work: WorkEntry | None = None
    """All runs together."""


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
    unplaced: tuple[UnplacedEntry, ...] = ()
    """Things that found no place."""
    changes: Changes | None = None
    """What is new, kept, moved and retired against the previous manifest; null without one."""
    numbering: dict[str, MarkNumber] = {}
    """The highest number that each letter of a mark was ever given, so that none is given twice."""
    runs: tuple[RunEntry, ...] = ()
    """Print runs in the order of work: the coupon, then the floor, then trays by how often they are used."""
    work: WorkEntry | None = None
    """All runs together."""
    schedule: ScheduleEntry | None = None
    """When which run is printed; null without a schedule in the spec."""
    purchases: tuple[PurchaseEntry, ...] = ()
    """Filament by material and colour."""
    documents: tuple[DocumentEntry, ...] = ()
    """Files that belong to no part."""
    bundle: FileEntry | None = None
    """All files as one archive; null in the manifest inside the bundle, which cannot know it."""


def manifest_schema() -> dict[str, Any]:
    """Return the manifest's JSON Schema (draft 2020-12), as it is written and not as it may be read."""
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "Drawerwright manifest",
        **{k: v for k, v in Manifest.model_json_schema(mode="serialization").items() if k != "title"},
    }
