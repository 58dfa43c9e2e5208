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
from worker.printing.print_order import is_test_print, stage_of_run
from worker.printing.progress.print_state import PrintState, RunRecord, begin, marks_of
from worker.printing.scheduling.work_plan import FILAMENT_DECIMALS, SECONDS_DECIMALS, Need, access_of, pack_needs
from worker.spec import Spec
from worker.spec.errors import PrintRefused
from worker.spec.manifest import EstimateEntry, Manifest, RunEntry, WorkEntry
from worker.spec.requests.print_event import PrintEvent

__all__ = ["PrintState", "begin", "follow", "remaining_work", "used_filament"]

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
    read = state if event.clearance is None else _after_reading(state, event, event.clearance, manifest)
    if event.outcome == "measured":
        return read
    counted = _after_run(read, event, event.run) if event.run is not None else _after_mark(read, event)
    return _repacked(counted, manifest, spec)


def used_filament(
    state: PrintState, counts: Mapping[str, int], manifest: Manifest
) -> dict[tuple[str, str | None], float] | None:
    """Return the grams of these pieces by material and colour; None when a part of the job has no estimate.

    Args:
        state: the job's.
        counts: pieces by mark.
        manifest: the job's, with the estimates.
    """
    used: dict[tuple[str, str | None], float] = {}
    estimates = _estimates(manifest, state.needed)
    if estimates is None:
        return None
    letterings = {piece.mark: run.lettering for run in reversed(manifest.runs) for piece in run.pieces}
    for mark, count in counts.items():
        estimate, lettering = estimates[mark], letterings.get(mark)
        second = lettering_grams(estimate, lettering)
        amounts = [((estimate.material, estimate.colour), estimate.grams - second)]
        if lettering is not None:
            amounts.append(((lettering.material, lettering.colour), second))
        for key, grams in amounts:
            used[key] = round(used.get(key, 0.0) + count * grams, FILAMENT_DECIMALS)
    return used


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
    )


def _after_reading(state: PrintState, event: PrintEvent, clearance: float, manifest: Manifest) -> PrintState:
    """Return the state after a clearance was read from the coupon."""
    kinds = {part.mark: part.kind for part in manifest.parts}
    record = None if event.run is None else state.find(event.run)
    if event.mark is not None:
        marks = [event.mark]
    elif record is not None:
        marks = [piece.mark for piece in record.run.pieces]
    else:
        marks = list(state.needed)
    tests = [mark for mark in marks if mark in kinds and is_test_print(kinds[mark])]
    if not tests:
        raise PrintRefused(
            "A clearance is read from the coupon, and this is none.",
            pointer="/clearance", value=clearance, limit="an event of the coupon or its plug",
            remedy="Record it with the coupon's run, or remove it.",
        )  # fmt: skip
    if event.outcome == "measured" and (unprinted := [mark for mark in tests if state.left[mark]]):
        raise PrintRefused(
            "The coupon is not printed yet.",
            pointer="/clearance", value=clearance, limit=f"after {' and '.join(unprinted)}", part=unprinted[0],
            remedy='Record its run with the clearance: {"outcome": "printed", "run": 1, "clearance": 0.25}.',
        )  # fmt: skip
    return state.model_copy(update={"clearance": clearance})


def _after_run(state: PrintState, event: PrintEvent, number: int) -> PrintState:
    """Return the state after an event that names a run, before repacking."""
    record = state.find(number)
    if record is None:
        limit = f"a run of this job, 1 to {state.next_run - 1}" if state.runs else "none: the job prints nothing"
        raise PrintRefused(
            "The job has no such run.",
            pointer="/run",
            value=number,
            limit=limit,
            remedy="Give the number of one of its runs.",
        )  # fmt: skip
    pieces = marks_of([record.run])
    if record.state == "printed" and event.outcome == "placed" and not event.failed:
        return _place_run(state, record, number, pieces)
    if record.state in ("printed", "failed"):
        raise PrintRefused(
            f"Run {number} is already recorded as {record.state}.",
            pointer="/run", value=number, limit="a run that has not been recorded",
            remedy='Record changes by mark: a piece that turned out bad is {"outcome": "failed", "mark": ...}.',
        )  # fmt: skip
    failed = pieces if event.outcome == "failed" else Counter(event.failed)
    for mark, count in failed.items():
        if count > pieces[mark]:
            raise PrintRefused(
                f"Run {number} has fewer pieces of {mark}.",
                pointer=f"/failed/{mark}", value=count, limit=f"at most {pieces[mark]}", part=mark,
                remedy="Count only the pieces of this run.",
            )  # fmt: skip
    good = pieces - failed
    for mark, count in good.items():
        if count > (left := state.left[mark]):
            raise PrintRefused(
                f"Run {number} has more pieces of {mark} than are still needed.",
                pointer="/run", value=number, limit=f"{left} of {mark} left to print", part=mark,
                remedy="Record its other pieces by mark.",
            )  # fmt: skip
    after = state.changed(number, state="printed" if good else "failed", failed=dict(sorted(failed.items())))
    return _added(
        after, printed=good, placed=good if event.outcome == "placed" else Counter(), failed=failed, laid=pieces
    )


def _place_run(state: PrintState, record: RunRecord, number: int, pieces: Counter[str]) -> PrintState:
    """Return the state with all good pieces of a printed run placed."""
    unplaced = Counter(state.printed) - Counter(state.placed)
    placed = (pieces - Counter(record.failed)) & unplaced
    if not placed:
        raise PrintRefused(
            f"All good pieces of run {number} are already placed.",
            pointer="/run", value=number, limit="a run with pieces that are not placed",
            remedy="Nothing remains to be recorded for this run.",
        )  # fmt: skip
    return _added(state, placed=placed)


def _after_mark(state: PrintState, event: PrintEvent) -> PrintState:
    """Return the state after an event that names a mark, before repacking."""
    mark, count = event.mark or "", event.count
    needed = state.needed.get(mark, 0)
    if not needed:
        marks = ", ".join(list(state.needed)[:20])
        raise PrintRefused(
            "The job prints no piece of this mark.",
            pointer="/mark", value=mark, limit=marks or None, remedy="Give the mark of a part that the job prints.",
        )  # fmt: skip
    printed, placed = state.printed.get(mark, 0), state.placed.get(mark, 0)
    most = {"printed": needed - printed, "placed": needed - placed, "failed": needed}[event.outcome]
    if count > most:
        raise PrintRefused(
            f"That is more pieces of {mark} than the job needs.",
            pointer="/count", value=count, limit=f"at most {most}: {needed} needed, {printed} printed, {placed} placed",
            remedy="If one of them turned out bad, record it as failed first." if event.outcome != "failed" else None,
            part=mark,
        )  # fmt: skip
    pieces = Counter({mark: count})
    match event.outcome:
        case "printed":
            return _added(state, printed=pieces, laid=pieces)
        case "placed":
            unreported = Counter({mark: max(0, placed + count - printed)})
            return _added(state, printed=unreported, placed=pieces, laid=unreported)
        case _:
            cancelled = min(count, printed)
            fewer = state.model_copy(
                update={
                    "printed": state.printed | {mark: printed - cancelled},
                    "placed": state.placed | {mark: min(placed, printed - cancelled)},
                }
            )
            return _added(fewer, failed=pieces, laid=Counter({mark: count - cancelled}))


def _added(state: PrintState, **counts: Counter[str]) -> PrintState:
    """Return the state with these counts added to its fields of the same names."""
    values = {name: Counter(getattr(state, name)) + added for name, added in counts.items()}
    return state.model_copy(update={name: dict(sorted(sums.items())) for name, sums in values.items()})


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
    runs, _ = pack_needs(
        spec,
        manifest.parts,
        [Need(mark, drawer, count) for (mark, drawer), count in needs.items()],
        access_of(spec, manifest.drawers),
        _estimates(manifest, pool),
    )
    return runs


def _least(runs: Iterable[RunEntry], manifest: Manifest, spec: Spec) -> int:
    """Return the lower bound of the runs for these pieces, by their footprints alone."""
    surface = Surface.of(Bed.of_printer(spec.printer), spec.printing.spacing)
    parts = {part.mark: part for part in manifest.parts}
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
