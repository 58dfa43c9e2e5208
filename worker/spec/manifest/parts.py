"""Parts with their files, checks and estimates."""

from typing import Annotated, Literal

from pydantic import Field

from worker.spec.manifest.fields import (
    Amount,
    Colour,
    Count,
    FileName,
    Mark,
    OutputModel,
    PartKind,
    Point2,
    Positive,
    Quantity,
    Sha256,
    Size3,
    WrittenTray,
)
from worker.spec.manifest.printability import PrintabilityEntry


class TrayPieceEntry(OutputModel):
    """Which piece of a jointed tray a part is."""

    number: Quantity
    """Counted from 1 in the order in which the pieces are joined."""
    of: Quantity
    """Number of the tray's pieces."""
    at: Point2
    """Minimum corner of the piece's bounding box in the tray's frame."""
    tray_size: Size3
    """Bounding box of the joined tray."""


class PlannedPart(OutputModel):
    """A part before its files are made. Parts with the same mark have the same shape."""

    mark: Mark
    kind: PartKind
    name: str
    quantity: Quantity
    """Total for all drawers and their copies."""
    size: Size3
    """Bounding box in print orientation."""
    shape: Sha256 | None = None
    """Fingerprint of the shape without its mark. A later layout recognises printed parts by it."""
    tray: WrittenTray | None = None
    """The tray as in a spec, without position and quantity; null for every other kind of part."""
    piece: TrayPieceEntry | None = None
    """For a piece of a jointed tray, which one; `tray` is then the whole tray."""
    made_for: str | None = None
    """The printer whose bed the part is made for; null in a job of one printer."""


class Check(OutputModel):
    """Result of one check: the measured value and its limit."""

    name: str
    passed: bool
    value: float | int | str | None = None
    """Measured value."""
    limit: str
    """What the value has to be."""
    subject: str | None = None
    """What was measured if not the part itself: a file, or the drawer and the two closest parts."""


class FileEntry(OutputModel):
    """One file."""

    name: FileName
    media_type: str
    bytes: Annotated[int, Field(gt=0)]
    sha256: Sha256


class LetteringBand(OutputModel):
    """Layers of one piece that lettering in a second filament lies in."""

    face: Literal["top", "bottom", "floor", "ledge", "front"]
    low: Amount
    """Bottom of the first of these layers."""
    high: Positive
    """Top of the last."""
    letterings: Count
    """Number of letterings; 0 where the piece only shares the layers with those of other pieces."""
    grams: Amount
    """Of the second filament: that of the letters, or with a pause of all lines in these layers."""
    seconds_below: Amount = 0.0
    """The part of the piece's `laying_seconds` below these layers."""
    seconds_within: Amount = 0.0
    """The part in these layers."""


class EstimateEntry(OutputModel):
    """Time, filament and cost of printing one piece, calibrated if the spec has calibrations."""

    material: str
    colour: Colour | None
    layer: Positive
    line_width: Positive
    grams: Positive
    metres: Positive
    """Length of filament, 1.75 mm in diameter."""
    cost: Amount | None
    """In the currency of the material's price; null without a price."""
    seconds: Positive
    """Printed alone, including heating."""
    laying_seconds: Positive
    """The part of `seconds` spent extruding the piece's own lines; these add up when pieces share a run."""
    layers: Quantity
    lettering: tuple[LetteringBand, ...] = ()
    """Layers with a second filament; empty without one."""


class PrinterEstimateEntry(OutputModel):
    """Time, filament and cost of printing one piece on printers other than the one it is made for."""

    printers: tuple[str, ...]
    """Names of printers that are alike."""
    estimate: EstimateEntry


class PartEntry(PlannedPart):
    """A part with its checks and files."""

    triangles: Annotated[int, Field(ge=4)]
    volume: Positive
    area: Positive
    digest: Sha256
    """SHA-256 of the part's own parameters and the version of the geometry kernel."""
    estimate: EstimateEntry | None = None
    """Time, filament and cost of printing one piece."""
    other_estimates: tuple[PrinterEstimateEntry, ...] = ()
    """The same on each other kind of printer that can print it; empty in a job of one printer."""
    checks: tuple[Check, ...]
    printability: tuple[PrintabilityEntry, ...] = ()
    """How well the part prints, one entry a figure; a figure beyond its limit carries a caution."""
    files: tuple[FileEntry, ...]
