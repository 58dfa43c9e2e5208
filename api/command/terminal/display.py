"""What a person sees: tables, progress, problems. Results go to standard output, everything else to standard error."""

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
from worker.spec import Box, CatalogueEntry, Cylinder, Screw
from worker.spec.manifest.manifest import (
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
    """Say something beside the result."""
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
            note(f"    at     {fault['pointer']}")
        for label, field in (("part", "part"), ("got", "value"), ("limit", "limit"), ("remedy", "remedy")):
            if fault.get(field) is not None:
                note(f"    {label:<6} {fault[field]}")


class Watcher:
    """Shows how far a job and its download are."""

    def __init__(self, progress: Progress) -> None:
        """Show it as a bar of this progress."""
        self._progress = progress
        self._task = progress.add_task("waits", total=None)

    def job(self, job: "JobDocument") -> None:
        """Show a job's progress."""
        state = {"queued": "waits", "running": job.progress.now or "builds"}.get(job.state, job.state)
        self._progress.update(
            self._task, description=_line(state), completed=job.progress.done, total=job.progress.total or None
        )

    def files(self, done: int, total: int) -> None:
        """Show how many files are there."""
        self._progress.update(self._task, description="downloads", completed=done, total=total)


@contextmanager
def watching(*, quiet: bool) -> Iterator[Watcher]:
    """Show progress while this lasts."""
    columns = (
        TextColumn("{task.description}", markup=False),
        BarColumn(),
        MofNCompleteColumn(),
        TimeElapsedColumn(),
    )
    shown = _notes.is_terminal and not quiet  # a bar in a file is noise
    with Progress(*columns, console=_notes, disable=not shown, transient=True) as progress:
        yield Watcher(progress)


def show_plan(plan: PlanDocument) -> None:
    """Print a plan."""
    _drawers(plan.drawers)
    _parts(plan.parts, ())
    _things(plan)
    _runs(plan)
    _lines(plan.warnings, plan.cautions)


def show_manifest(manifest: Manifest) -> None:
    """Print what a job made."""
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
        _results.print(_plain(f"Checks of the parts together: {passed}/{len(manifest.assembly)} passed."))
    _lines(manifest.warnings, manifest.cautions)


def show_catalogue(things: Sequence[CatalogueEntry]) -> None:
    """Print standard things."""
    table = Table(box=SIMPLE_HEAD, header_style="bold")
    table.add_column("id", no_wrap=True)
    table.add_column("name", overflow="fold")
    table.add_column("category", overflow="fold")
    table.add_column("size, mm", overflow="fold")
    for thing in things:
        table.add_row(*(_plain(cell) for cell in (thing.id, thing.name, thing.category, _size(thing))))
    _results.print(table)


def show_keys(keys: Sequence[Mapping[str, Any]]) -> None:
    """Print keys."""
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
            return " x ".join(f"{side:g}" for side in size)
        case Cylinder(diameter=diameter, length=length):
            return f"{diameter:g} round x {length:g}"
        case Screw(head_diameter=head, head_height=height):
            return f"head {head:g} round x {height:g}, any length"
        case prism:
            across, back = zip(*prism.points, strict=True)
            return f"{max(across) - min(across):g} x {max(back) - min(back):g} x {prism.height:g}"


def _drawers(drawers: Sequence[DrawerEntry]) -> None:
    for drawer in drawers:
        cells, (left, back) = drawer.cells, drawer.leftover
        copies = f" ({drawer.copies} times)" if drawer.copies > 1 else ""
        halves = f" and {cells.half} half cells" if cells.half else ""
        grid = f"{cells.across[0]} x {cells.across[1]} cells of {drawer.pitch:g} mm, {cells.whole} in all{halves}"
        rest = f"{left:.1f} x {back:.1f} mm left over, {drawer.free / 4:g} cells free"
        _results.print(_plain(f"{drawer.name}{copies}: {grid}; {rest}"), soft_wrap=True)


def _things(told: PlanDocument | Manifest) -> None:
    """Print where things lie, which have no place, and what changes of what is printed."""
    places = [(drawer, one) for drawer in told.drawers for one in drawer.contents]
    if places:
        table = Table(box=SIMPLE_HEAD, header_style="bold")
        table.add_column("things", overflow="fold")
        table.add_column("count", justify="right")
        table.add_column("drawer", overflow="fold")
        table.add_column("tray", no_wrap=True)
        table.add_column("cell", no_wrap=True)
        for drawer, one in places:
            place = drawer.placements[one.placement]
            cell = "" if place.cell is None else f"{place.cell[0]:g}, {place.cell[1]:g}"
            table.add_row(*(_plain(text) for text in (one.item, f"{one.count}", drawer.name, place.mark, cell)))
        _results.print(table)
    for lost in told.unplaced:
        text = " ".join(filter(None, (f"No place for {lost.count} x {lost.item}: {lost.reason}", lost.remedy)))
        _results.print(_plain(text), style="red", soft_wrap=True)
    if told.changes is not None:
        moved = sum(one.count for one in told.changes.moved)
        new, kept, retired = (
            sum(one.count for one in found) for found in (told.changes.new, told.changes.kept, told.changes.retired)
        )
        text = f"Of what is printed {kept} stay, {moved} move and {retired} are no longer needed; {new} are new."
        _results.print(_plain(text), soft_wrap=True)


def _runs(told: PlanDocument | Manifest) -> None:
    """Print the runs, what all of them take, when all is printed and what to buy."""
    work = told.work
    if work is None or not told.runs:
        return
    timed = work.seconds is not None
    table = Table(box=SIMPLE_HEAD, header_style="bold")
    table.add_column("run", justify="right")
    table.add_column("filament", overflow="fold")
    table.add_column("layer", justify="right", no_wrap=True)
    table.add_column("pieces", overflow="fold")
    for title in ("h:min", "g") if timed else ():
        table.add_column(title, justify="right", no_wrap=True)
    for run in told.runs:
        counts = Counter(piece.mark for piece in run.pieces)
        pieces = ", ".join(mark if count == 1 else f"{count} x {mark}" for mark, count in counts.items())
        filament = f"{run.material} {run.colour or ''}".rstrip()
        figures = (_clock(run.seconds or 0.0), f"{run.grams or 0.0:.0f}") if timed else ()
        cells = (f"{run.number}", filament, f"{run.layer:g}", pieces, *figures)
        table.add_row(*(_plain(cell) for cell in cells))
    _results.print(table)
    least = "no packing has fewer" if work.least_runs == work.runs else f"at least {work.least_runs} are needed"
    _results.print(_plain(f"{work.pieces} pieces in {work.runs} runs; {least}."), soft_wrap=True)
    if timed:
        _results.print(_plain(_sums(work)), soft_wrap=True)
    if isinstance(told, Manifest):
        _outlook(told)


def _sums(work: WorkEntry) -> str:
    """Return what all runs take, and how sure that is."""
    cost = "" if work.cost is None else f", filament for {work.cost:.2f}"
    time, filament = (100.0 * (part or 0.0) for part in (work.time_uncertainty, work.filament_uncertainty))
    return (
        f"{_clock(work.seconds or 0.0)} hours (within {time:.0f} %), {work.grams or 0.0:.0f} g or "
        f"{work.metres or 0.0:.0f} m (within {filament:.0f} %){cost}."
    )


def _outlook(manifest: Manifest) -> None:
    """Print what other layers would take, when all is printed, and what to buy."""
    if manifest.work is not None:
        for other in manifest.work.alternatives:
            text = (
                f"Layers of {other.layer:g} mm: {other.runs} runs, {_clock(other.seconds)} hours, {other.grams:.0f} g."
            )
            _results.print(_plain(text), soft_wrap=True)
    if manifest.schedule is not None:
        _steps(manifest.schedule.steps)
        if manifest.schedule.finish is not None:
            finish = f"{manifest.schedule.finish:%a %Y-%m-%d %H:%M} ({manifest.schedule.timezone})"
            _results.print(_plain(f"All is printed by {finish} at the earliest."), soft_wrap=True)
        for one in manifest.schedule.waiting:
            _results.print(_plain(f"Run {one.run} has no time: {one.reason}"), style="yellow", soft_wrap=True)
    for bought in manifest.purchases:
        if bought.spools:
            text = f"To buy: {bought.spools} x {bought.material} {bought.colour or ''}".rstrip()
            _results.print(_plain(f"{text}."), soft_wrap=True)


def _steps(steps: Sequence[StepEntry]) -> None:
    """Print when which run is printed, until when somebody watches it, and where a spool runs out."""
    if not steps:
        return
    table = Table(box=SIMPLE_HEAD, header_style="bold")
    table.add_column("run", justify="right")
    table.add_column("printer", overflow="fold")
    for title in ("begins", "be there to", "ends", "bed free"):
        table.add_column(title, no_wrap=True)
    table.add_column("new spool at", overflow="fold")
    for step in steps:
        swaps = ", ".join(f"{swap.after_grams:.0f} g" for swap in step.swaps)
        times = (f"{step.begin:%a %d %b %H:%M}", f"{step.attended_until:%H:%M}", *_later(step))
        table.add_row(*(_plain(cell) for cell in (f"{step.run}", step.printer, *times, swaps)))
    _results.print(table)


def _later(step: StepEntry) -> tuple[str, str]:
    """Return when a run ends and when its bed is free, each with the weekday where that is another."""
    days = (step.begin.date(), step.end.date(), step.free.date())
    end = f"{step.end:%H:%M}" if days[1] == days[0] else f"{step.end:%a %H:%M}"
    return end, f"{step.free:%H:%M}" if days[2] == days[0] else f"{step.free:%a %H:%M}"


def _clock(seconds: float) -> str:
    """Return hours and minutes."""
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
        _results.print(_plain(f"Warning, {warning.pointer}: {warning.message}"), style="yellow", soft_wrap=True)
    for caution in cautions:
        _results.print(_plain(f"Caution, {caution.topic}: {caution.text}"), soft_wrap=True)
