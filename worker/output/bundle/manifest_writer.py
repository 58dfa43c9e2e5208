"""The manifest writer: all results of a job in one JSON document."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from hashlib import sha256
from importlib.metadata import version
from typing import Any, Final

import orjson
from pydantic import BaseModel

from worker.layout.model.plan import Plan
from worker.layout.model.plan_document import plan_document
from worker.layout.model.shapes import Kind
from worker.solids.kernel import KERNEL
from worker.spec.manifest import (
    Check,
    EstimateEntry,
    FileEntry,
    Generator,
    Manifest,
    PartEntry,
    PrintabilityEntry,
    PrinterEstimateEntry,
    PurchaseEntry,
    RunEntry,
    ScheduleEntry,
    WorkEntry,
)

#: This program; its version is read from the package's metadata, which takes 0.4 ms.
GENERATOR: Final = Generator(version=version("drawerwright"), kernel=KERNEL)


@dataclass(frozen=True, slots=True)
class PartRecord:
    """A part whose files passed all checks; triangles, volume (mm3) and area (mm2) are of the STL as read back."""

    digest: str
    triangles: int
    volume: float
    area: float
    checks: tuple[Check, ...]
    files: tuple[FileEntry, ...]
    printability: tuple[PrintabilityEntry, ...] = ()


@dataclass(frozen=True, slots=True)
class PrintRecord:
    """The printing of a job: estimates by mark, runs and their totals, timetable, filament to buy, more estimates."""

    estimates: Mapping[str, EstimateEntry]
    runs: tuple[RunEntry, ...]
    work: WorkEntry
    schedule: ScheduleEntry | None
    purchases: tuple[PurchaseEntry, ...]
    other_estimates: Mapping[str, tuple[PrinterEstimateEntry, ...]] = field(default_factory=dict)


def compose_manifest(
    plan: Plan,
    records: Mapping[str, PartRecord],
    assembly: Sequence[Check],
    *,
    digest_of_spec: str,
    prints: PrintRecord | None = None,
) -> Manifest:
    """Return the manifest of a job.

    Args:
        plan: the job laid out.
        records: by mark, one for each part of the plan.
        assembly: the checks of the assembled drawers.
        digest_of_spec: see `spec_digest`.
        prints: the runs and estimates; None when they are unknown.

    Raises:
        KeyError: when a part has no record or no estimate.
    """
    document = plan_document(plan)
    manifest = Manifest(
        generator=GENERATOR,
        name=document.name,
        spec_digest=digest_of_spec,
        drawers=document.drawers,
        parts=tuple(
            PartEntry(
                **dict(part),
                triangles=record.triangles,
                volume=round(record.volume, 3),
                area=round(record.area, 3),
                digest=record.digest,
                estimate=None if prints is None else prints.estimates[part.mark],
                other_estimates=() if prints is None else prints.other_estimates.get(part.mark, ()),
                checks=record.checks,
                printability=record.printability,
                files=record.files,
            )
            for part in document.parts
            for record in (records[part.mark],)
        ),
        assembly=tuple(assembly),
        warnings=document.warnings,
        cautions=document.cautions,
        unplaced=document.unplaced,
        changes=document.changes,
        numbering=document.numbering,
        made_for=document.made_for,
        made_for_kinds=document.made_for_kinds,
    )
    if prints is None:
        return manifest
    fields = {"runs": prints.runs, "work": prints.work, "schedule": prints.schedule, "purchases": prints.purchases}
    return manifest.model_copy(update=fields)


def manifest_bytes(manifest: Manifest) -> bytes:
    """Return the manifest as indented JSON with sorted keys, in UTF-8: the same bytes for the same manifest."""
    document = manifest.model_dump(mode="json")
    return orjson.dumps(document, option=orjson.OPT_SORT_KEYS | orjson.OPT_INDENT_2 | orjson.OPT_APPEND_NEWLINE)


def canonical_json(document: Any) -> bytes:
    """Return canonical JSON, the input of digests: sorted keys, no spaces, UTF-8."""
    return orjson.dumps(document, option=orjson.OPT_SORT_KEYS)


def spec_digest(spec: BaseModel) -> str:
    """Return the SHA-256 of a spec's canonical JSON, with defaults filled in and lengths in mm, as hexadecimal."""
    return sha256(canonical_json(spec.model_dump(mode="json"))).hexdigest()


def part_file_name(mark: str, kind: Kind, suffix: str) -> str:
    """Return a part's file name, from its mark and kind only: no text of the caller gets into it."""
    return f"{mark}-{kind}.{suffix}"


def file_entry(name: str, media_type: str, data: bytes) -> FileEntry:
    """Return the manifest's entry of a file: its size and SHA-256."""
    return FileEntry(name=name, media_type=media_type, bytes=len(data), sha256=sha256(data).hexdigest())
