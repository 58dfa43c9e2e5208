"""Print runs and the total work of a job."""

from typing import Literal

from worker.spec.manifest.fields import (
    Amount,
    Colour,
    Count,
    FileName,
    Mark,
    OutputModel,
    Point2,
    Positive,
    Quantity,
    RunNumber,
)


class RunPiece(OutputModel):
    """Position of a piece on the bed: rotated counter-clockwise, then its front left corner moved to `at`."""

    mark: Mark
    at: Point2
    """Measured from the front left corner of the bed."""
    turn: Literal[0, 90]
    drawer: str | None
    """Drawer the piece is for; null for pieces of no drawer, such as the coupon."""


class RunEntry(OutputModel):
    """What is printed in one go on one bed."""

    number: RunNumber
    material: str
    colour: Colour | None
    layer: Positive
    line_width: Positive
    pieces: tuple[RunPiece, ...]
    seconds: Positive | None = None
    """Including heating; null without an estimate, as in documents of earlier versions."""
    grams: Positive | None = None
    metres: Positive | None = None
    cost: Amount | None = None
    file: FileName | None = None
    """3MF file with every piece in position."""


class AlternativeEntry(OutputModel):
    """Estimate of the same job with another layer height for all parts."""

    layer: Positive
    runs: Quantity
    grams: Positive
    metres: Positive
    cost: Amount | None
    seconds: Positive
    time_uncertainty: Amount | None = None
    """Relative uncertainty of the time; null in documents of earlier versions."""
    assumes: str = ""
    """Print settings that the time is for."""


class WorkEntry(OutputModel):
    """Totals over all print runs."""

    pieces: Count
    runs: Count
    least_runs: Count
    """Proven lower bound of the number of runs."""
    long_pieces: tuple[Mark, ...] = ()
    """Pieces that take longer than the longest run allowed; each is printed alone."""
    grams: Amount | None = None
    metres: Amount | None = None
    cost: Amount | None = None
    seconds: Amount | None = None
    """All runs one after another, including heating but not cooling."""
    time_uncertainty: Amount | None = None
    """Relative uncertainty of the times (0.1 is 10 %); null without an estimate."""
    filament_uncertainty: Amount | None = None
    calibrated_time: Positive = 1.0
    """Factor that the calibrations apply to every time."""
    calibrated_filament: Positive = 1.0
    alternatives: tuple[AlternativeEntry, ...] = ()
