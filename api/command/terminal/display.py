"""Tables, progress and problems on the terminal. Results go to standard output, everything else to standard error."""

from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any, Final

from rich.box import SIMPLE_HEAD
from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn
from rich.table import Table

from api.command.terminal.tables import line as _line
from api.command.terminal.tables import plain as _plain
from api.command.terminal.tables import results as _results
from worker.printing.scheduling.finish_lines import finish_lines
from worker.spec import Box, Bundle, CatalogueEntry, Coil, Cylinder, Screw, Tapered
from worker.spec.manifest import (
    CautionEntry,
    DrawerEntry,
    Manifest,
    PlanDocument,
    StepEntry,
    WarningEntry,
    WorkEntry,
)

if TYPE_CHECKING:  # the routes come along with it
    from api.documents.jobs import JobDocument

__all__ = ["Watcher", "note", "show_catalogue", "show_keys", "show_manifest", "show_plan", "show_problem", "watching"]

_notes: Final = Console(stderr=True, highlight=False)


def note(text: str, style: str = "") -> None:
    """Print a line on standard error."""
    _notes.print(_plain(text), style=style, soft_wrap=True)


def show_problem(problem: Mapping[str, Any]) -> None:
    """Print a problem document, field by field."""
    errors = problem.get("errors") or ()
    if len(errors) != 1:
        note(str(problem.get("detail", problem.get("title", "Something went wrong."))), "bold red")
    for fault in errors or [problem]:
        if errors:
            where = fault.get("pointer") or fault.get("parameter")
            note(f"  {where}: {fault.get('detail')}" if where else f"  {fault.get('detail')}", "red")
        elif fault.get("pointer"):
            note(f"    {'at':<7} {fault['pointer']}")
        for label, field in (("part", "part"), ("value", "value"), ("allowed", "limit"), ("remedy", "remedy")):
            if fault.get(field) is not None:
                note(f"    {label:<7} {fault[field]}")


class Watcher:
    """Progress bar of a job and of its download."""

    def __init__(self, progress: Progress) -> None:
        """Add a bar to this display."""
        self._progress = progress
        self._task = progress.add_task("waiting", total=None)

    def job(self, job: "JobDocument") -> None:
        """Show a job's state, current step and finished steps."""
        state = {"queued": "waiting", "running": job.progress.now or "building"}.get(job.state, job.state)
        self._progress.update(
            self._task, description=_line(state), completed=job.progress.done, total=job.progress.total or None
        )

    def files(self, done: int, total: int) -> None:
        """Show how many files have been transferred."""
        self._progress.update(self._task, description="files", completed=done, total=total)


@contextmanager
def watching(*, quiet: bool) -> Iterator[Watcher]:
    """Show a progress bar on standard error inside the context, if that is a terminal and not ``quiet``."""
    columns = (
        TextColumn("{task.description}", markup=False),
        BarColumn(),
        MofNCompleteColumn(),
        TimeElapsedColumn(),
    )
    shown = _notes.is_terminal and not quiet  # a progress bar in a log file is noise
    with Progress(*columns, console=_notes, disable=not shown, transient=True) as progress:
        yield Watcher(progress)


def show_plan(plan: PlanDocument) -> None:
    """Print a plan: drawers, parts, items, print runs, warnings and cautions."""
    _drawers(plan.drawers)
    _parts(plan.parts, ())
    _things(plan)
    _runs(plan)
    _lines(plan.warnings, plan.cautions)


def show_manifest(manifest: Manifest) -> None:
    """Print a manifest: as a plan, with the parts' volumes and the results of the checks."""
    _drawers(manifest.drawers)
    _parts(
        manifest.parts,
        (
            ("cm3", lambda part: f"{part.volume / 1000.0:.1f}"),
            ("checks", lambda part: f"{sum(check.passed for check in part.checks)}/{len(part.checks)}"),
        ),
    )
    _things(manifest)
    _runs(manifest)
    if manifest.assembly:
        passed = sum(check.passed for check in manifest.assembly)
        _results.print(_plain(f"Assembly checks: {passed} of {len(manifest.assembly)} passed."))
    _lines(manifest.warnings, manifest.cautions)


def show_catalogue(things: Sequence[CatalogueEntry]) -> None:
    """Print a table of standard items with their sizes in mm."""
    table = Table(box=SIMPLE_HEAD, header_style="bold")
    table.add_column("id", no_wrap=True)
    table.add_column("name", overflow="fold")
    table.add_column("category", overflow="fold")
    table.add_column("size, mm", overflow="fold")
    for thing in things:
        table.add_row(*(_plain(cell) for cell in (thing.id, thing.name, thing.category, _size(thing))))
    _results.print(table)


def show_keys(keys: Sequence[Mapping[str, Any]]) -> None:
    """Print a table of API keys."""
    table = Table(box=SIMPLE_HEAD, header_style="bold")
    table.add_column("id", no_wrap=True)
    for title in ("name", "state", "scopes", "expires", "last used"):
        table.add_column(title, overflow="fold")
    for key in keys:
        expires, used = (str(key[name] or "never")[:10] for name in ("expires", "last_used"))
        cells = (key["id"], key["name"], key["state"], ", ".join(key["scopes"]), expires, used)
        table.add_row(*(_plain(cell) for cell in cells))
    _results.print(table)


def _size(thing: CatalogueEntry) -> str:
    match thing.shape:
        case Box(size=size):
            text = " x ".join(f"{side:g}" for side in size)
        case Cylinder(diameter=diameter, length=length):
            text = f"diameter {diameter:g} x {length:g}"
        case Screw(head_diameter=head, head_height=height):
            text = f"head diameter {head:g} x {height:g}, any length"
        case Tapered(diameter=diameter, end_diameter=end, length=length):
            text = f"diameter {diameter:g} to {end:g} x {length:g}"
        case Bundle(diameter=diameter, length=length, rods=rods):
            text = f"{rods} of diameter {diameter:g} x {length:g}"
        case Coil(cable=cable, length=length, diameter=diameter):
            text = f"{length:g} of diameter {cable:g} in a coil of diameter {diameter:g}"
        case prism:
            across, back = zip(*prism.points, strict=True)
            text = f"{max(across) - min(across):g} x {max(back) - min(back):g} x {prism.height:g}"
    return text


def _drawers(drawers: Sequence[DrawerEntry]) -> None:
    for drawer in drawers:
        cells, (left, back) = drawer.cells, drawer.leftover
        copies = f" ({drawer.copies} copies)" if drawer.copies > 1 else ""
        halves = f" and {cells.half} half cells" if cells.half else ""
        grid = f"{cells.across[0]} x {cells.across[1]} cells of {drawer.pitch:g} mm, {cells.whole} in total{halves}"
        rest = f"{left:.1f} x {back:.1f} mm left over, {drawer.free / 4:g} cells free"
        text = f"{grid}; {rest}" if cells.whole or cells.half else "no floor"
        count = len(drawer.panels)
        text += f", {count} panel{'s' if count > 1 else ''}" if count else ""
        _results.print(_plain(f"{drawer.name}{copies}: {text}"), soft_wrap=True)


def _things(document: PlanDocument | Manifest) -> None:
    """Print where each item lies, which items are not placed, and what a re-layout changes."""
    places = [(drawer, content) for drawer in document.drawers for content in drawer.contents]
    if places:
        table = Table(box=SIMPLE_HEAD, header_style="bold")
        table.add_column("item", overflow="fold")
        table.add_column("count", justify="right")
        table.add_column("drawer", overflow="fold")
        table.add_column("tray", no_wrap=True)
        table.add_column("cell", no_wrap=True)
        for drawer, content in places:
            place = None if content.placement is None else drawer.placements[content.placement]
            cell = "" if place is None or place.cell is None else f"{place.cell[0]:g}, {place.cell[1]:g}"
            mark = drawer.lanes[content.lane or 0].name if place is None else place.mark
            table.add_row(*(_plain(text) for text in (content.item, f"{content.count}", drawer.name, mark, cell)))
        _results.print(table)
    for lost in document.unplaced:
        text = " ".join(filter(None, (f"Not placed: {lost.count} x {lost.item}: {lost.reason}", lost.remedy)))
        _results.print(_plain(text), style="red", soft_wrap=True)
    if document.changes is not None:
        moved = sum(change.count for change in document.changes.moved)
        new, kept, retired = (
            sum(change.count for change in changes)
            for changes in (document.changes.new, document.changes.kept, document.changes.retired)
        )
        text = f"Printed pieces: {kept} stay, {moved} move, {retired} are no longer needed. Pieces to print: {new}."
        _results.print(_plain(text), soft_wrap=True)


def _runs(document: PlanDocument | Manifest) -> None:
    """Print the runs with their totals; of a manifest also alternatives, timetable and spools to buy."""
    work = document.work
    if work is None or not document.runs:
        return
    timed = work.seconds is not None
    table = Table(box=SIMPLE_HEAD, header_style="bold")
    table.add_column("run", justify="right")
    table.add_column("filament", overflow="fold")
    table.add_column("layer, mm", justify="right", no_wrap=True)
    table.add_column("pieces", overflow="fold")
    for title in ("h:min", "g") if timed else ():
        table.add_column(title, justify="right", no_wrap=True)
    for run in document.runs:
        counts = Counter(piece.mark for piece in run.pieces)
        pieces = ", ".join(mark if count == 1 else f"{count} x {mark}" for mark, count in counts.items())
        filament = f"{run.material} {run.colour or ''}".rstrip()
        figures = (_clock(run.seconds or 0.0), f"{run.grams or 0.0:.0f}") if timed else ()
        cells = (f"{run.number}", filament, f"{run.layer:g}", pieces, *figures)
        table.add_row(*(_plain(cell) for cell in cells))
    _results.print(table)
    least = f"at least {work.least_runs} are needed"
    _results.print(_plain(f"{work.pieces} pieces in {work.runs} runs ({least})."), soft_wrap=True)
    if timed:
        _results.print(_plain(_sums(work)), soft_wrap=True)
    if isinstance(document, Manifest):
        _outlook(document)


def _sums(work: WorkEntry) -> str:
    """Return time, filament and cost of all runs with their uncertainty in percent."""
    cost = "" if work.cost is None else f", filament cost {work.cost:.2f}"
    time, filament = (100.0 * (part or 0.0) for part in (work.time_uncertainty, work.filament_uncertainty))
    return (
        f"Total: {_clock(work.seconds or 0.0)} h:min (±{time:.0f} %), {work.grams or 0.0:.0f} g or "
        f"{work.metres or 0.0:.0f} m of filament (±{filament:.0f} %){cost}."
    )


def _outlook(manifest: Manifest) -> None:
    """Print the totals at other layer heights, the timetable, and the spools to buy."""
    if manifest.work is not None:
        for other in manifest.work.alternatives:
            text = (
                f"With a layer height of {other.layer:g} mm: {other.runs} runs, {_clock(other.seconds)} h:min "
                f"(±{100.0 * (other.time_uncertainty or 0.0):.0f} %), {other.grams:.0f} g."
            )
            _results.print(_plain(text), soft_wrap=True)
    if manifest.schedule is not None:
        _steps(manifest.schedule.steps)
        for line in finish_lines(manifest.schedule):
            _results.print(_plain(line), soft_wrap=True)
        for delay in manifest.schedule.waiting:
            _results.print(_plain(f"Run {delay.run} is not scheduled: {delay.reason}"), style="yellow", soft_wrap=True)
    for bought in manifest.purchases:
        if bought.spools:
            text = f"Spools to buy: {bought.spools} x {bought.material} {bought.colour or ''}".rstrip()
            _results.print(_plain(f"{text}."), soft_wrap=True)


def _steps(steps: Sequence[StepEntry]) -> None:
    """Print the timetable: start, attended time, end and free bed of each run, and where to change spools."""
    if not steps:
        return
    table = Table(box=SIMPLE_HEAD, header_style="bold")
    table.add_column("run", justify="right")
    table.add_column("printer", overflow="fold")
    for title in ("start", "attend until", "end", "bed free"):
        table.add_column(title, no_wrap=True)
    table.add_column("change spool at", overflow="fold")
    for step in steps:
        swaps = ", ".join(f"{swap.after_grams:.0f} g" for swap in step.swaps)
        times = (f"{step.begin:%a %d %b %H:%M}", f"{step.attended_until:%H:%M}", *_later(step))
        table.add_row(*(_plain(cell) for cell in (f"{step.run}", step.printer, *times, swaps)))
    _results.print(table)


def _later(step: StepEntry) -> tuple[str, str]:
    """Return the times at which a run ends and its bed is free, with the weekday where it differs from the start's."""
    days = (step.begin.date(), step.end.date(), step.free.date())
    end = f"{step.end:%H:%M}" if days[1] == days[0] else f"{step.end:%a %H:%M}"
    return end, f"{step.free:%H:%M}" if days[2] == days[0] else f"{step.free:%a %H:%M}"


def _clock(seconds: float) -> str:
    """Return a duration as ``h:min``."""
    minutes = round(seconds / 60.0)
    return f"{minutes // 60}:{minutes % 60:02d}"


def _parts(parts: Sequence[Any], more: Sequence[tuple[str, Callable[[Any], str]]]) -> None:
    table = Table(box=SIMPLE_HEAD, header_style="bold")  # fits 80 columns
    table.add_column("mark", no_wrap=True)
    table.add_column("kind")
    table.add_column("name", overflow="fold")
    table.add_column("pieces", justify="right")
    table.add_column("size, mm", justify="right", no_wrap=True)
    for title, _ in more:
        table.add_column(title, justify="right", no_wrap=True)
    for part in parts:
        size = " x ".join(f"{side:.1f}" for side in part.size)
        cells = (part.mark, part.kind, part.name, f"{part.quantity}", size, *(say(part) for _, say in more))
        table.add_row(*(_plain(cell) for cell in cells))
    _results.print(table)


def _lines(warnings: Sequence[WarningEntry], cautions: Sequence[CautionEntry]) -> None:
    for warning in warnings:
        _results.print(_plain(f"Warning ({warning.pointer}): {warning.message}"), style="yellow", soft_wrap=True)
    for caution in cautions:
        _results.print(_plain(f"Caution ({caution.topic}): {caution.text}"), soft_wrap=True)
