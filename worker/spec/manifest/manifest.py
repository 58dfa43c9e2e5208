"""The manifest: everything that a job made.

The JSON Schema is published as ``openapi/manifest.schema.json``; `manifest_schema` generates it.
"""

from typing import Any, Literal

from pydantic import Field

from worker.spec.manifest.changes import Changes
from worker.spec.manifest.drawers import DrawerEntry, UnplacedEntry
from worker.spec.manifest.fields import MarkNumber, OutputModel, PartKind, RunNumber, Sha256
from worker.spec.manifest.parts import Check, FileEntry, PartEntry
from worker.spec.manifest.plan_document import MANIFEST_VERSION, CautionEntry, WarningEntry
from worker.spec.manifest.runs import RunEntry, WorkEntry
from worker.spec.manifest.schedule import PurchaseEntry, ScheduleEntry


class Generator(OutputModel):
    """The software that made the files. The same spec, generator version and kernel give identical bytes."""

    name: Literal["drawerwright"] = "drawerwright"
    version: str
    kernel: str
    """Geometry kernel and its version."""


class DocumentEntry(OutputModel):
    """A file that belongs to no part: a run, its sheet, map, labels, 3-D model, picture, bill or calendar."""

    role: Literal["run", "sheet", "map", "labels", "model", "picture", "bill", "calendar"]
    title: str
    """What it is; of a picture, what it shows."""
    drawer: str | None = None
    run: RunNumber | None = None
    file: FileEntry


class Manifest(OutputModel):
    """Everything that a job made."""

    manifest: Literal["1"] = MANIFEST_VERSION
    generator: Generator
    name: str
    spec_digest: Sha256
    """SHA-256 of the spec as canonical JSON (keys sorted, no spaces, UTF-8)."""
    drawers: tuple[DrawerEntry, ...]
    parts: tuple[PartEntry, ...]
    assembly: tuple[Check, ...]
    """Checks of the assembled parts, drawer by drawer."""
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
    schedule: ScheduleEntry | None = None
    """When each run is printed; null if the spec has no schedule."""
    purchases: tuple[PurchaseEntry, ...] = ()
    """Filament to buy, by material and colour."""
    documents: tuple[DocumentEntry, ...] = ()
    """Files that belong to no part."""
    bundle: FileEntry | None = None
    """All files as one archive; null in the copy of the manifest inside the archive."""


def manifest_schema() -> dict[str, Any]:
    """Return the manifest's JSON Schema (draft 2020-12) in serialization mode."""
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "Drawerwright manifest",
        **{k: v for k, v in Manifest.model_json_schema(mode="serialization").items() if k != "title"},
    }
