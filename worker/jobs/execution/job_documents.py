"""Documents: the files of a job that belong to no part, such as print runs, maps and the calendar."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Final, Literal

from worker.jobs.execution.run_file import bed_object, write_run_file
from worker.jobs.records.models import run_file_name, sheet_file_name
from worker.layout.model.plan import Plan
from worker.output.bundle.bill_of_materials import write_bill
from worker.output.bundle.calendar_feed import write_feed
from worker.output.bundle.manifest_writer import PrintRecord, file_entry
from worker.output.drawings.group_tints import groups_of
from worker.output.drawings.labels import write_labels
from worker.output.drawings.map import write_map_pdf, write_map_svg
from worker.output.drawings.run_sheet import write_run_sheet
from worker.output.meshes.scene import write_glb
from worker.output.preview.drawer_picture import draw_drawer, picture_title
from worker.printing.estimating.part_estimates import compare, price_parts, price_parts_on_others
from worker.printing.estimating.process_settings import Correction
from worker.printing.part_printers import printer_of
from worker.printing.printer_estimates import entries_of
from worker.printing.progress.coupon_gate import gate_of
from worker.printing.progress.printer_history import histories_of, reliability_of
from worker.printing.runs.work_plan import runs_of
from worker.printing.scheduling.reliability import Reliability
from worker.printing.scheduling.spools import purchases
from worker.printing.scheduling.timetable import make_timetable
from worker.solids import Mesh
from worker.spec import Spec
from worker.spec.manifest import (
    CALENDAR_TYPE,
    CSV_TYPE,
    GLB_TYPE,
    PDF_TYPE,
    PNG_TYPE,
    SVG_TYPE,
    THREEMF_TYPE,
    Check,
    DocumentEntry,
    Manifest,
)

__all__ = ["Document", "documents_of", "print_record", "run_documents", "with_runs"]


#: Paper sizes of the label sheets.
_PAGES: Final[tuple[Literal["A4", "Letter"], ...]] = ("A4", "Letter")


@dataclass(frozen=True, slots=True)
class Document:
    """A document's bytes and its manifest entry."""

    entry: DocumentEntry
    data: bytes = field(repr=False)


def print_record(spec: Spec, plan: Plan, meshes: Mapping[str, Mesh], now: datetime) -> PrintRecord:
    """Return the printing of a job: estimates, runs, timetable and purchases."""
    estimates = price_parts(spec, plan, meshes)
    others = price_parts_on_others(spec, plan, meshes, estimates) if spec.printers else {}
    runs, work = runs_of(spec, plan, estimates, others=others, exact=True)
    work = work.model_copy(update={"alternatives": compare(spec, plan, meshes)})
    materials = spec.materials_of(part.kind for part in plan.parts)
    schedule = (
        None
        if spec.calendar is None
        else make_timetable(
            spec.calendar, runs, materials, now, gate=gate_of(spec, runs, None), reliability=_reliability(spec)
        )
    )
    bought = purchases(runs, materials, steps=() if schedule is None else schedule.steps, schedule=spec.calendar)
    return PrintRecord(estimates, runs, work, schedule, bought, entries_of(spec, others))


def _reliability(spec: Spec) -> Reliability:
    """Return the reliability of printers of which nothing is recorded yet."""
    printers = () if spec.calendar is None else spec.calendar.printers
    return reliability_of(histories_of((), [own.name for own in printers], Correction.of_time(spec).uncertainty))


def with_runs(manifest: Manifest, documents: Sequence[Document]) -> Manifest:
    """Return the manifest with each run's file name."""
    names = {document.entry.run: document.entry.file.name for document in documents}
    runs = tuple(run.model_copy(update={"file": names[run.number]}) for run in manifest.runs)
    return manifest.model_copy(update={"runs": runs})


def run_documents(
    spec: Spec, plan: Plan, manifest: Manifest, bodies: Mapping[str, Sequence[Mesh]]
) -> Iterator[tuple[Document, tuple[Check, ...]]]:
    """Yield each run's file with the checks that it passed.

    ``bodies`` are those of each part by its mark, see `worker.jobs.execution.run_file.read_bodies`.

    Raises:
        CheckFailed: if a file, as read back, does not match its run.
    """
    names = {part.mark: part.name for part in plan.parts}
    for run in manifest.runs:
        objects = [
            bed_object(run, piece, bodies[piece.mark], number=piece.mark, name=names[piece.mark])
            for piece in run.pieces
        ]
        title = f"{spec.name}, run {run.number} of {len(manifest.runs)}"
        name = run_file_name(run.number)
        data, checks = write_run_file(run, objects, spec, manifest.generator, name=name, title=title)
        entry = DocumentEntry(role="run", title=title, run=run.number, file=file_entry(name, THREEMF_TYPE, data))
        yield Document(entry, data), checks


def documents_of(
    plan: Plan,
    manifest: Manifest,
    meshes: Mapping[str, Mesh],
    *,
    spec: Spec,
    identity: str,
    now: datetime,
    drawer_pages: Mapping[str, str],
) -> Iterator[Document]:
    """Yield all other documents.

    Args:
        plan: the job laid out.
        manifest: with the file names of the runs, without these documents.
        meshes: by mark.
        spec: the job, whose printers' beds the sheets of runs show.
        identity: unique to the job; the UIDs of calendar events contain it.
        now: when the job was submitted.
        drawer_pages: the URLs of drawers' pages by the drawers' names.
    """
    colours = {
        part.mark: part.estimate.colour
        for part in manifest.parts
        if part.estimate is not None and part.estimate.colour is not None
    }
    yield from _run_sheets(manifest, spec)
    groups = groups_of(spec)
    for number, place in enumerate(plan.drawers, start=1):
        for suffix, kind, data in (
            ("svg", SVG_TYPE, write_map_svg(plan, number - 1, manifest.runs, groups)),
            ("pdf", PDF_TYPE, write_map_pdf(plan, number - 1, manifest.runs, groups)),
        ):
            file = file_entry(f"map-{number}.{suffix}", kind, data)
            yield Document(DocumentEntry(role="map", title=f"Map of {place.name}", drawer=place.name, file=file), data)
    for page in _PAGES:
        sheet = write_labels(manifest, page, drawer_pages)
        if sheet is not None:
            file = file_entry(f"labels-{page.lower()}.pdf", PDF_TYPE, sheet)
            yield Document(DocumentEntry(role="labels", title=f"Labels on {page}", file=file), sheet)
    for number, drawer in enumerate(plan.drawers, start=1):
        for role, title, suffix, kind, data in (
            ("model", f"{drawer.name} in 3-D", "glb", GLB_TYPE, write_glb(drawer, meshes, colours)),
            ("picture", picture_title(drawer), "png", PNG_TYPE, draw_drawer(drawer, meshes, colours)),
        ):
            file = file_entry(f"drawer-{number}.{suffix}", kind, data)
            yield Document(DocumentEntry(role=role, title=title, drawer=drawer.name, file=file), data)
    data = write_bill(manifest)
    yield Document(DocumentEntry(role="bill", title="Bill of parts", file=file_entry("bill.csv", CSV_TYPE, data)), data)
    if manifest.schedule is not None:
        data = write_feed(manifest.schedule, manifest.runs, name=manifest.name, uid_base=identity, made=now)
        file = file_entry("schedule.ics", CALENDAR_TYPE, data)
        yield Document(DocumentEntry(role="calendar", title="Print runs as a calendar", file=file), data)


def _run_sheets(manifest: Manifest, spec: Spec) -> Iterator[Document]:
    """Yield the sheet of each run, with its dates if the job has a schedule."""
    steps = {} if manifest.schedule is None else {step.run: step for step in manifest.schedule.steps}
    for run in manifest.runs:
        data = write_run_sheet(manifest, run, printer_of(spec, run), steps.get(run.number))
        file = file_entry(sheet_file_name(run.number), PDF_TYPE, data)
        yield Document(DocumentEntry(role="sheet", title=f"Sheet of run {run.number}", run=run.number, file=file), data)
