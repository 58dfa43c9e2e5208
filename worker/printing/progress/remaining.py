"""The remaining work: the pieces and runs still to print, from the planned runs and the print events so far.

The print state is a fold over the events: `begin` returns the initial state, `follow` the state after one more event.
Run numbers are never reused, so a number always means the same pieces.
"""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from typing import TypeAlias

from worker.layout.floor.print_bed import Bed
from worker.printing.lettering_changes import lettering_grams
from worker.printing.packing.bed_surface import Surface
from worker.printing.packing.lower_bound import least_runs
from worker.printing.part_printers import made_as
from worker.printing.print_order import is_test_print, stage_of_run
from worker.printing.printer_estimates import estimates_of
from worker.printing.progress.event_counts import after_event, recounted
from worker.printing.progress.print_state import PrintState, RunRecord, begin, marks_of
from worker.printing.runs.alike_runs import FILAMENT_DECIMALS, SECONDS_DECIMALS
from worker.printing.runs.calendar_runs import with_run_hours
from worker.printing.runs.demand import Need, access_of
from worker.printing.runs.printer_shares import least_shares, printer_work
from worker.printing.runs.work_plan import pack_needs
from worker.spec import Spec
from worker.spec.manifest import EstimateEntry, Manifest, RunEntry, RunLettering, WorkEntry
from worker.spec.requests.print_event import PrintEvent

__all__ = ["PrintState", "begin", "follow", "remaining_work", "used_filament", "withdraw"]

#: The pieces of one mark for one drawer.
_MarkAndDrawer: TypeAlias = tuple[str, str | None]


def follow(state: PrintState, event: PrintEvent, manifest: Manifest, spec: Spec) -> PrintState:
    """Return the print state after an event.

    An open run stays as it is while all its pieces are needed. Pieces that no open run covers are packed into new runs;
    the runs of earlier repacking are packed with them where that saves runs.

    A failed piece is needed again. Failures reported by mark first cancel pieces reported as printed, so that too many
    pieces are printed rather than too few.

    Raises:
        PrintRefused: when the event contradicts the state: an unknown run or mark, or more pieces than are needed.
    """
    counted = after_event(state, event, manifest)
    return counted if event.outcome == "measured" else _repacked(counted, manifest, spec)


def withdraw(state: PrintState, kept: Mapping[int, PrintEvent], manifest: Manifest, spec: Spec) -> PrintState:
    """Return the print state with some of its events taken back.

    A run that is no longer recorded is open again; runs that were packed for an event that is taken back are replaced
    unless their pieces are still needed.

    Args:
        state: the state after all events.
        kept: the events that still count by number, in order.
        manifest: the job's.
        spec: the job's.

    Raises:
        PrintRefused: when a kept event contradicts the state without the others.
    """
    return _repacked(recounted(state, kept, manifest), manifest, spec)


def used_filament(
    state: PrintState, counts: Mapping[str, int], manifest: Manifest, *, failed: bool = False
) -> dict[tuple[str, str | None], float] | None:
    """Return the grams of these pieces by material and colour; None when a part of the job has no estimate.

    Pieces of recorded runs count as on the printers of these, others as on the one that they are made for.

    Args:
        state: the job's.
        counts: pieces by mark.
        manifest: the job's, with the estimates.
        failed: whether the pieces are those that failed.
    """
    used: dict[tuple[str, str | None], float] = {}
    estimates = _estimates(manifest, state.needed)
    if estimates is None:
        return None
    letterings = {piece.mark: run.lettering for run in reversed(manifest.runs) for piece in run.pieces}
    elsewhere = _on_others(state, manifest, failed=failed)
    for mark, count in counts.items():
        left = count
        for estimate, pieces in (*elsewhere.get(mark, ()), (estimates[mark], count)):
            here = min(left, pieces)
            left -= here
            for key, grams in _grams_of(estimate, letterings.get(mark)).items():
                used[key] = round(used.get(key, 0.0) + here * grams, FILAMENT_DECIMALS)
    return used


def _grams_of(estimate: EstimateEntry, lettering: RunLettering | None) -> dict[tuple[str, str | None], float]:
    """Return the grams of a piece by material and colour."""
    second = lettering_grams(estimate, lettering)
    amounts = {(estimate.material, estimate.colour): estimate.grams - second}
    if lettering is not None:
        key = lettering.material, lettering.colour
        amounts[key] = amounts.get(key, 0.0) + second
    return amounts


def _on_others(state: PrintState, manifest: Manifest, *, failed: bool) -> dict[str, list[tuple[EstimateEntry, int]]]:
    """Return, by mark, the estimates and numbers of pieces that other printers than the one they are made for took."""
    estimates = {
        (part.mark, name): entry.estimate
        for part in manifest.parts
        for entry in part.other_estimates
        for name in entry.printers
    }
    laid: dict[str, list[tuple[EstimateEntry, int]]] = {}
    for record in state.runs:
        if record.state in {"printed", "failed"} and record.run.printers:
            for mark, count in (record.failed if failed else marks_of([record.run])).items():
                estimate = estimates.get((mark, record.run.printers[0]))
                if estimate is not None:
                    laid.setdefault(mark, []).append((estimate, count))
    return laid


def remaining_work(state: PrintState, manifest: Manifest, spec: Spec) -> tuple[tuple[RunEntry, ...], WorkEntry]:
    """Return the runs still to print, by the stages of `worker.printing.print_order`, and their totals."""
    runs = tuple(sorted(state.open, key=lambda run: (stage_of_run(run), run.number)))
    whole = manifest.work or WorkEntry(pieces=0, runs=0, least_runs=0)
    timed = all(run.seconds is not None for run in runs)
    costs = [run.cost for run in runs]
    left = set(state.left)
    return runs, WorkEntry(
        pieces=sum(len(run.pieces) for run in runs),
        runs=len(runs),
        least_runs=_least(runs, manifest, spec),
        long_pieces=tuple(mark for mark in whole.long_pieces if mark in left),
        grams=round(sum(run.grams or 0.0 for run in runs), FILAMENT_DECIMALS) if timed else None,
        metres=round(sum(run.metres or 0.0 for run in runs), FILAMENT_DECIMALS) if timed else None,
        cost=round(sum(cost or 0.0 for cost in costs), FILAMENT_DECIMALS) if timed and None not in costs else None,
        seconds=round(sum(run.seconds or 0.0 for run in runs), SECONDS_DECIMALS) if timed else None,
        time_uncertainty=whole.time_uncertainty,
        filament_uncertainty=whole.filament_uncertainty,
        calibrated_time=whole.calibrated_time,
        calibrated_filament=whole.calibrated_filament,
        calendar_run_hours=whole.calendar_run_hours,
        printers=printer_work(runs),
    )


def _repacked(state: PrintState, manifest: Manifest, spec: Spec) -> PrintState:
    """Return the state with the open runs whose pieces are all needed, and new runs for all other pieces."""
    uncovered, kept, replaced = state.left, list[RunEntry](), list[int]()
    repacked = {record.run.number for record in state.runs if not record.planned}
    for run in state.open:
        pieces = marks_of([run])
        if pieces <= uncovered:
            uncovered -= pieces
            kept.append(run)
        else:
            replaced.append(run.number)
    new_runs: tuple[RunEntry, ...] = ()
    if uncovered:
        new_runs = _pack(uncovered, kept, state, manifest, spec)
        planned = [run for run in kept if run.number not in repacked]
        kept_repacked = len(kept) - len(planned)
        if kept_repacked:
            pool = uncovered + marks_of(run for run in kept if run.number in repacked)
            together = _pack(pool, planned, state, manifest, spec)
            if len(together) < kept_repacked + len(new_runs):
                replaced += [run.number for run in kept if run.number in repacked]
                new_runs = together
    records = [
        record.model_copy(update={"state": "replaced"}) if record.run.number in replaced else record
        for record in state.runs
    ]
    for number, run in enumerate(new_runs, start=state.next_run):
        records.append(RunRecord(run=run.model_copy(update={"number": number}), planned=False))
    return state.model_copy(update={"runs": tuple(records), "next_run": state.next_run + len(new_runs)})


def _pack(
    pool: Counter[str], kept: Iterable[RunEntry], state: PrintState, manifest: Manifest, spec: Spec
) -> tuple[RunEntry, ...]:
    """Return runs of these pieces, for the drawers that the kept runs do not serve: equal pieces fit any drawer."""
    planned = [record.run for record in state.runs if record.planned]
    unserved = Counter(_pieces(planned)) - Counter(_pieces(kept))
    drawers: dict[str, list[str | None]] = {}
    for (mark, drawer), count in unserved.items():
        drawers.setdefault(mark, []).extend([drawer] * count)
    needs = Counter((mark, drawer) for mark, count in pool.items() for drawer in drawers[mark][-count:])
    hours = None if manifest.work is None else manifest.work.calendar_run_hours
    runs, _ = pack_needs(
        with_run_hours(made_as(spec, manifest), hours),
        manifest.parts,
        [Need(mark, drawer, count) for (mark, drawer), count in needs.items()],
        access_of(spec, manifest.drawers),
        _estimates(manifest, pool),
        others=estimates_of(manifest.parts),
    )
    return runs


def _least(runs: Iterable[RunEntry], manifest: Manifest, spec: Spec) -> int:
    """Return the lower bound of the runs for these pieces, by their footprints alone."""
    parts = {part.mark: part for part in manifest.parts}
    if spec.printers:
        made = made_as(spec, manifest)
        return least_shares(made, parts, _estimates(manifest, parts), marks_of(runs))
    surface = Surface.of(Bed.of_printer(spec.printer), spec.printing.spacing)
    groups: dict[tuple[object, ...], list[str]] = {}
    for run in runs:
        for piece in run.pieces:
            shared = run.material, (run.colour or "").upper(), run.layer, run.line_width
            groups.setdefault((*shared, is_test_print(parts[piece.mark].kind)), []).append(piece.mark)
    return sum(
        least_runs([(surface.grown(*parts[mark].size[:2]), 0.0) for mark in marks], surface, None)
        for marks in groups.values()
    )


def _estimates(manifest: Manifest, marks: Iterable[str]) -> dict[str, EstimateEntry] | None:
    """Return the estimates of these parts by mark, None when one of them is missing."""
    needed = set(marks)
    by_mark = {part.mark: part.estimate for part in manifest.parts if part.mark in needed and part.estimate is not None}
    return by_mark if by_mark.keys() == needed else None


def _pieces(runs: Iterable[RunEntry]) -> Iterator[_MarkAndDrawer]:
    """Yield the mark and drawer of every piece."""
    for run in runs:
        for piece in run.pieces:
            yield piece.mark, piece.drawer
