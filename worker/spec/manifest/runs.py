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


class PauseEntry(OutputModel):
    """Change of filament by hand: the print pauses at a height, and goes on with another filament."""

    height: Amount
    """Height of the layers that are printed by then; 0 is before the start."""
    layers: Count
    """Number of these layers."""
    material: str
    colour: Colour | None
    """Filament to change to."""
    seconds: Amount | None = None
    """Estimated print time from the start of the run to the pause; null in documents of earlier versions."""


class RunLettering(OutputModel):
    """Lettering of a run in a second filament."""

    material: str
    colour: Colour | None
    method: Literal["bodies", "pauses"]
    """bodies: the printer changes filaments by itself, and the letters are bodies of their own. pauses: somebody
    changes the filament, and all lines of some layers are in the second one."""
    changes: Count
    """Changes of filament, as few as the layers with lettering allow."""
    grams: Amount
    """Of the second filament, with its half of the waste; the rest of the run's grams is of its own."""
    waste: Amount
    """Grams of both filaments that the changes waste."""
    seconds: Amount
    """Time of the changes, counted in the run's."""
    pauses: tuple[PauseEntry, ...] = ()


class RunEntry(OutputModel):
    """What is printed in one go on one bed."""

    number: RunNumber
    material: str
    colour: Colour | None
    layer: Positive
    line_width: Positive
    pieces: tuple[RunPiece, ...]
    seconds: Positive | None = None
    """Including heating and changes of filament; null without an estimate, as in documents of earlier versions."""
    grams: Positive | None = None
    """Of all filaments, with what changes of filament waste."""
    metres: Positive | None = None
    cost: Amount | None = None
    """Of filament and printing hours; null where the filament has no price."""
    file: FileName | None = None
    """3MF file with every piece in position."""
    lettering: RunLettering | None = None
    """Null where no lettering is in a second filament."""
    printers: tuple[str, ...] = ()
    """Names of the printers whose bed and settings it is packed for; empty in a job of one printer."""

    @property
    def own_grams(self) -> float | None:
        """Grams of the run's own filament, without that of the lettering."""
        if self.grams is None or self.lettering is None:
            return self.grams
        return max(self.grams - self.lettering.grams, 0.0)


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


class PrinterWorkEntry(OutputModel):
    """What printers that are alike have to print."""

    printers: tuple[str, ...]
    """Their names."""
    pieces: Count
    runs: Count
    grams: Amount | None
    cost: Amount | None
    seconds: Amount | None
    """All of these runs one after another; null without an estimate."""


class WorkEntry(OutputModel):
    """Totals over all print runs."""

    pieces: Count
    runs: Count
    least_runs: Count
    """Proven lower bound of the number of runs."""
    long_pieces: tuple[Mark, ...] = ()
    """Pieces that take longer than the longest run allowed; each is printed alone."""
    calendar_run_hours: Positive | None = None
    """Longest run, in hours, for which the schedule's goal is met best; null where shorter runs gain nothing."""
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
    printers: tuple[PrinterWorkEntry, ...] = ()
    """Shares of the printers; empty in a job of one printer."""
