"""The plan document: a job laid out in numbers, without files.

Lengths are in mm, areas in mm2, volumes in mm3, angles in degrees, file sizes in bytes; so are those of the manifest.
"""

from typing import Final, Literal

from pydantic import Field

from worker.spec.manifest.changes import Changes
from worker.spec.manifest.drawers import DrawerEntry, UnplacedEntry
from worker.spec.manifest.fields import MarkNumber, OutputModel, PartKind
from worker.spec.manifest.parts import PlannedPart
from worker.spec.manifest.runs import RunEntry, WorkEntry

#: Version of the plan document and of the manifest.
MANIFEST_VERSION: Final = "1"


class WarningEntry(OutputModel):
    """A problem that does not stop the job."""

    pointer: str
    """JSON Pointer into the spec."""
    message: str


class CautionEntry(OutputModel):
    """A safety notice that applies to what the spec asks for."""

    topic: str
    text: str


class PlanDocument(OutputModel):
    """A job laid out in numbers, without files."""

    plan: Literal["1"] = MANIFEST_VERSION
    name: str
    drawers: tuple[DrawerEntry, ...]
    parts: tuple[PlannedPart, ...]
    warnings: tuple[WarningEntry, ...]
    cautions: tuple[CautionEntry, ...]
    unplaced: tuple[UnplacedEntry, ...] = ()
    """Items that could not be placed."""
    changes: Changes | None = None
    """New, kept, moved and retired pieces against the previous manifest; null without one."""
    numbering: dict[str, MarkNumber] = Field(default={})
    """Highest number ever used with each letter of a mark, so that no mark is used twice."""
    made_for: str | None = None
    """The printer whose bed, lines and layers the parts are made for; null in a job of one printer."""
    made_for_kinds: dict[PartKind, str] = Field(default={})
    """The printers that kinds of parts are made for, where it is not that of `made_for`; `parts[].made_for` says for
    which bed each part is made."""
    runs: tuple[RunEntry, ...] = ()
    """Print runs in working order: the coupon, the floor, then trays by how often they are used."""
    work: WorkEntry | None = None
    """Totals over all print runs."""
