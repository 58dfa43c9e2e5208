"""The pipeline: from a spec to checked files, a manifest and a bundle. It knows no queue and can be called anywhere."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from hashlib import sha256
from importlib.metadata import version
from typing import Final

from worker.jobs.job import BUNDLE_NAME, Progress, StoredFile
from worker.jobs.parts import BuiltPart, PartFile, PartStore
from worker.layout import lay_out
from worker.layout.parts import Part
from worker.layout.plan import Plan
from worker.output.assembly import check_assembly
from worker.output.bundle import write_bundle
from worker.output.inspection import expected_of, inspect, require
from worker.output.manifest import (
    PartRecord,
    compose_manifest,
    file_entry,
    manifest_bytes,
    part_file_name,
    spec_digest,
)
from worker.output.stl import read_stl, write_stl
from worker.output.threemf import write_3mf
from worker.solids import build, digest, genus
from worker.spec import Printer, Spec
from worker.spec.errors import JobCancelled
from worker.spec.manifest import ZIP_TYPE, Check, FileEntry

__all__ = ["JobResult", "run_pipeline"]

#: Steps after the parts: the assembly's checks, the manifest and the bundle.
_LAST_STEPS: Final = 2

#: Digits of a digest that a file carries.
_SHORT: Final = 16


@dataclass(frozen=True, slots=True)
class JobResult:
    """What a job made. ``files`` are the parts' files, which the part store has; manifest and bundle are bytes."""

    files: tuple[StoredFile, ...]
    manifest: bytes = field(repr=False)
    bundle: bytes = field(repr=False)


def run_pipeline(
    spec: Spec,
    *,
    part_store: PartStore,
    report: Callable[[Progress], None] = lambda _: None,
    cancelled: Callable[[], bool] = lambda: False,
) -> JobResult:
    """Lay the job out, build what the store does not have, check everything, and put the results together.

    Args:
        spec: the job.
        part_store: keeps parts from job to job; only what passed its checks gets there.
        report: told before each step.
        cancelled: asked after each report.

    Raises:
        LayoutError: when the drawers cannot be laid out.
        CheckFailed: when a part, or the assembled drawer, does not pass; with the part and the figure.
        JobCancelled: when `cancelled` said so.
    """

    def step(done: int, now: str) -> None:
        report(Progress(done, total, now))
        if cancelled():
            raise JobCancelled

    total = 0
    step(0, "layout")
    plan = lay_out(spec)
    total = len(plan.parts) + _LAST_STEPS
    limits = _limits(spec.printer)
    built: dict[str, BuiltPart] = {}
    for done, part in enumerate(plan.parts):
        step(done, f"{part.kind} {part.mark}")
        built[part.mark] = _part(part, spec.printer, limits, part_store)
    step(len(plan.parts), "assembly")
    # the STL was read back and passed; what holds for these bytes holds in every later job
    assembly = check_assembly(plan, {mark: read_stl(part.file("stl").data) for mark, part in built.items()})
    require(assembly, "assembly")
    step(len(plan.parts) + 1, "bundle")
    return _results(spec, plan, built, assembly)


def _results(spec: Spec, plan: Plan, built: Mapping[str, BuiltPart], assembly: Sequence[Check]) -> JobResult:
    """Name the files by their marks, and put manifest and bundle together."""
    data: dict[str, bytes] = {}
    files: list[StoredFile] = []
    records: dict[str, PartRecord] = {}
    for part in plan.parts:
        made = built[part.mark]
        entries: list[FileEntry] = []
        for one in made.files:
            entry = file_entry(part_file_name(part.mark, part.kind, one.suffix), one.media_type, one.data)
            data[entry.name] = one.data
            files.append(StoredFile(entry.name, entry.media_type, entry.bytes, entry.sha256, made.key(one)))
            entries.append(entry)
        records[part.mark] = PartRecord(
            made.digest, made.triangles, made.volume, made.area, made.checks, tuple(entries)
        )
    manifest = compose_manifest(plan, records, assembly, digest_of_spec=spec_digest(spec))
    bundle = write_bundle(manifest, data)
    manifest = manifest.model_copy(update={"bundle": file_entry(BUNDLE_NAME, ZIP_TYPE, bundle)})
    return JobResult(tuple(files), manifest_bytes(manifest), bundle)


def _part(part: Part, printer: Printer, limits: str, store: PartStore) -> BuiltPart:
    """Return the part from the store, or build, write, read back, check and keep it."""
    name = digest(part.shape)
    found = store.find(name, limits)
    if found is not None:
        return found
    solid = build(part.shape)
    # nothing of the job's own goes into the files, so that the next job can have them too
    stl = write_stl(solid, f"drawerwright {part.kind} {name[:_SHORT]} mm")
    threemf = write_3mf(solid, name=f"{part.kind} {name[:_SHORT]}", part_number=name[:_SHORT])
    checks = inspect(stl, threemf, expected_of(part, solid, genus(part.shape)), printer)
    require(checks, part.mark)
    mesh = read_stl(stl)
    files = (PartFile.of("stl", stl), PartFile.of("3mf", threemf))
    made = BuiltPart(name, limits, len(mesh.triangles), mesh.volume, mesh.area, checks, files)
    store.keep(made)
    return made


def _limits(printer: Printer) -> str:
    """Return the digest of all that a part's checks depend on beside the part."""
    return sha256(f"{version('drawerwright')} {printer.model_dump_json()}".encode()).hexdigest()
