"""The pipeline: turns a spec into checked files, a manifest and a bundle, independently of any queue."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from functools import partial
from hashlib import sha256
from types import MappingProxyType
from typing import Final

from worker.jobs.common.errors import JobCancelled
from worker.jobs.execution.job_documents import Document, documents_of, print_record, run_documents, with_runs
from worker.jobs.execution.run_file import read_bodies
from worker.jobs.files.part_cache import BuiltPart, PartCache, PartFile
from worker.jobs.records.models import BUNDLE_NAME, Progress, StoredFile
from worker.layout.items.filling.drawer_task import Spread, one_by_one
from worker.layout.model.plan import Plan
from worker.layout.model.shapes import Face, Part, Shape
from worker.output.bundle.bundle import write_bundle
from worker.output.bundle.manifest_writer import (
    GENERATOR,
    PartRecord,
    compose_manifest,
    file_entry,
    manifest_bytes,
    part_file_name,
    spec_digest,
)
from worker.output.checks.assembly_checks import check_assembly
from worker.output.checks.lettering_checks import ExpectedInlay
from worker.output.checks.part_checks import expected_of, inspect, require
from worker.output.meshes.stl import read_stl, write_stl
from worker.output.meshes.threemf import write_3mf
from worker.printing.part_printers import made_as
from worker.printing.printer_choice import lay_out_for_printers
from worker.solids import Mesh, build, digest, genus
from worker.solids.inlay import bare_of, inlay_body, inlays
from worker.spec import Printer, Spec
from worker.spec.manifest import THREEMF_TYPE, ZIP_TYPE, FileEntry

__all__ = ["JobResult", "run_pipeline"]

#: Steps after the parts.
_LAST_STEPS: Final = ("assembly", "estimates", "runs", "documents", "bundle")

#: Digits of the digest in a part file's metadata.
_SHORT: Final = 16


@dataclass(frozen=True, slots=True)
class JobResult:
    """The result of a job: the parts' files, which the part cache holds, and all other files as bytes."""

    files: tuple[StoredFile, ...]
    documents: tuple[Document, ...]
    manifest: bytes = field(repr=False)
    bundle: bytes = field(repr=False)


def run_pipeline(
    spec: Spec,
    *,
    part_store: PartCache,
    now: datetime,
    identity: str | None = None,
    report: Callable[[Progress], None] = lambda _: None,
    cancelled: Callable[[], bool] = lambda: False,
    spread: Spread = one_by_one,
    drawer_pages: Mapping[str, str] = MappingProxyType({}),
) -> JobResult:
    """Lay the job out, build the parts that are not cached, check everything, and compose manifest and bundle.

    Args:
        spec: the job.
        part_store: the part cache; only parts that passed their checks are kept.
        now: when the job was submitted; no run is scheduled earlier.
        identity: the job's id; by default the digest of its spec.
        report: called before each step, that is each part to build, each run, and each of the others.
        cancelled: called after each report; returns whether the job was cancelled.
        spread: runs the tasks of drawers, in this process or in several.
        drawer_pages: the URLs of drawers' pages by the drawers' names, for the codes on the label sheet.

    Raises:
        LayoutError: if the drawers cannot be laid out.
        CheckFailed: if a part or the assembled drawer fails a check; with the part and the measured value.
        JobCancelled: if ``cancelled`` returned true.
    """

    def step(done: int, now: str) -> None:
        report(Progress(done, total, now))
        if cancelled():
            raise JobCancelled

    total = 0
    step(0, "layout")
    plan = lay_out_for_printers(spec, "normal", spread)
    given, spec = spec, made_as(spec, plan)
    total = len(plan.parts) + len(_LAST_STEPS)
    last = {name: len(plan.parts) + place for place, name in enumerate(_LAST_STEPS)}
    built: dict[str, BuiltPart] = {}
    for done, part in enumerate(plan.parts):
        begin = partial(step, done, f"{part.kind} {part.mark}")
        printer = spec.printer_of(part.kind, part.made_for)
        built[part.mark] = _build_part(part, printer, part_store, spec.body_faces, begin)
    step(last["assembly"], "assembly")
    # these bytes were checked when the part was built, in this job or an earlier one
    meshes = {mark: read_stl(part.file("stl").data) for mark, part in built.items()}
    assembly = check_assembly(plan, meshes)
    require(assembly, "assembly")
    step(last["estimates"], "estimates")
    prints = print_record(spec, plan, meshes, now)
    step(last["runs"], "runs")
    files, records = _named(plan, built)
    manifest = compose_manifest(plan, records, assembly, digest_of_spec=spec_digest(given), prints=prints)
    runs: list[Document] = []
    bodies: Mapping[str, tuple[Mesh, ...]] = {mark: (mesh,) for mark, mesh in meshes.items()}
    if spec.body_faces:
        bodies = {mark: read_bodies(THREEMF_TYPE, part.file("3mf").data) for mark, part in built.items()}
    for document, checks in run_documents(spec, plan, manifest, bodies):
        runs.append(document)
        assembly = (*assembly, *checks)
        step(last["runs"], f"run {document.entry.run}")
    manifest = with_runs(manifest, runs).model_copy(update={"assembly": tuple(assembly)})
    step(last["documents"], "documents")
    identity = identity or manifest.spec_digest
    others = documents_of(plan, manifest, meshes, spec=spec, identity=identity, now=now, drawer_pages=drawer_pages)
    documents = [*runs, *others]
    manifest = manifest.model_copy(update={"documents": tuple(document.entry for document in documents)})
    step(last["bundle"], "bundle")
    data = {name: file.data for name, file in files.items()}
    data |= {document.entry.file.name: document.data for document in documents}
    bundle = write_bundle(manifest, data, given.to_json().encode())
    manifest = manifest.model_copy(update={"bundle": file_entry(BUNDLE_NAME, ZIP_TYPE, bundle)})
    return JobResult(tuple(file.stored for file in files.values()), tuple(documents), manifest_bytes(manifest), bundle)


@dataclass(frozen=True, slots=True)
class _Named:
    """A part's file with its name in the job."""

    stored: StoredFile
    data: bytes


def _named(plan: Plan, built: Mapping[str, BuiltPart]) -> tuple[dict[str, _Named], dict[str, PartRecord]]:
    """Return the parts' files by name and the parts' records by mark."""
    files: dict[str, _Named] = {}
    records: dict[str, PartRecord] = {}
    for part in plan.parts:
        made = built[part.mark]
        entries: list[FileEntry] = []
        for file in made.files:
            entry = file_entry(part_file_name(part.mark, part.kind, file.suffix), file.media_type, file.data)
            stored = StoredFile(entry.name, entry.media_type, entry.bytes, entry.sha256, made.key(file))
            files[entry.name] = _Named(stored, file.data)
            entries.append(entry)
        records[part.mark] = PartRecord(
            made.digest, made.triangles, made.volume, made.area, made.checks, tuple(entries), made.printability
        )
    return files, records


def _build_part(
    part: Part, printer: Printer, store: PartCache, faces: Sequence[Face], begin: Callable[[], None]
) -> BuiltPart:
    """Return the part from the cache, or build, write, read back, check and keep it.

    Args:
        part: the part.
        printer: the printer with the settings for this kind of part.
        store: the part cache.
        faces: those on which lettering is a body of its own.
        begin: called before a part is built; one in the cache is no step, each of which is a write to the database.
    """
    letters = inlays(part.shape, faces)
    name, limits = _name(part.shape, faces if letters else ()), _limits(printer)
    cached = store.find(name, limits)
    if cached is not None:
        return cached
    begin()
    solid = build(part.shape)
    # the files contain nothing specific to the job, so that other jobs can share them
    stl = write_stl(solid, f"drawerwright {part.kind} {name[:_SHORT]} mm")
    bare, lettering = (bare_of(part.shape, solid, faces), inlay_body(letters)) if letters else (solid, None)
    threemf = write_3mf(bare, name=f"{part.kind} {name[:_SHORT]}", part_number=name[:_SHORT], lettering=lettering)
    expected = expected_of(part, solid, genus(part.shape))
    if lettering is not None:
        expected = replace(expected, inlay=ExpectedInlay.of(part.shape, letters, bare.volume))
    inspection = inspect(stl, threemf, expected, printer)
    require(inspection.checks, part.mark)
    mesh = read_stl(stl)
    files = (PartFile.of("stl", stl), PartFile.of("3mf", threemf))
    made = BuiltPart(
        name, limits, len(mesh.triangles), mesh.volume, mesh.area, inspection.checks, files, inspection.printability
    )
    store.keep(made)
    return made


def _name(shape: Shape, faces: Sequence[Face]) -> str:
    """Return the digest of a part with lettering as a body on these faces, none of them if it has one body."""
    plain = digest(shape)
    return sha256(f"{plain} lettering {' '.join(sorted(faces))}".encode()).hexdigest() if faces else plain


def _limits(printer: Printer) -> str:
    """Return the digest of everything but the part that its checks depend on."""
    own = printer.model_dump_json(exclude={"name", "materials", "cost_per_hour"})
    return sha256(f"{GENERATOR.version} {own}".encode()).hexdigest()
