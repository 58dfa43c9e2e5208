"""What print events say about a job's pieces: how many are printed, placed and failed, before any run is repacked."""

from collections import Counter
from collections.abc import Mapping, Sequence

from worker.printing.print_order import is_test_print
from worker.printing.progress.print_state import PrintState, RunRecord, marks_of
from worker.spec.errors import PrintRefused
from worker.spec.manifest import Manifest
from worker.spec.requests.print_event import PrintEvent

__all__ = ["after_event", "recounted"]


def after_event(state: PrintState, event: PrintEvent, manifest: Manifest) -> PrintState:
    """Return the state with the pieces of an event counted and its run recorded; open runs stay as they are.

    Raises:
        PrintRefused: when the event contradicts the state: an unknown run or mark, or more pieces than are needed.
    """
    read = state if event.clearance is None else _after_reading(state, event, event.clearance, manifest)
    if event.outcome == "measured":
        return read
    return _after_run(read, event, event.run) if event.run is not None else _after_mark(read, event)


def recounted(state: PrintState, events: Mapping[int, PrintEvent], manifest: Manifest) -> PrintState:
    """Return the state with its pieces counted anew from these events alone.

    A run that none of them names is open, but for runs of earlier repacking that were replaced: those stay so.

    Args:
        state: the state after all events.
        events: events by number, in order.
        manifest: the job's.

    Raises:
        PrintRefused: when an event contradicts the state after those before it.
    """
    runs = tuple(
        record if record.state == "replaced" and not record.planned
        else RunRecord(run=record.run, planned=record.planned)
        for record in state.runs
    )  # fmt: skip
    counted = PrintState(runs=runs, needed=state.needed, next_run=state.next_run)
    for number, event in events.items():
        try:
            counted = after_event(counted, event, manifest)
        except PrintRefused as error:
            raise PrintRefused(
                "A later event rests on this one.",
                pointer="/event", limit=f"event {number} without it: {error.message}",
                remedy=f"Withdraw event {number} first.",
            ) from error  # fmt: skip
    return counted


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
    printers = _tested_printers(state, event, tests)
    if event.outcome == "measured" and (unprinted := _unprinted(state, tests, printers)):
        raise PrintRefused(
            "The coupon is not printed yet.",
            pointer="/clearance", value=clearance, limit=f"after {' and '.join(unprinted)}", part=unprinted[0],
            remedy='Record its run, which may have a new number, with the clearance: '
            f'{{"outcome": "printed", "run": ..., "clearance": {clearance:g}}}.',
        )  # fmt: skip
    clearances = {**state.clearances, printers[0] if printers else "": clearance}
    return state.model_copy(update={"clearances": dict(sorted(clearances.items()))})


def _tested_printers(state: PrintState, event: PrintEvent, tests: Sequence[str]) -> tuple[str, ...]:
    """Return the names of the printers, all alike, whose coupon was read; none in a job of one printer.

    Raises:
        PrintRefused: when there are coupons of several printers and the event does not say which.
    """
    every = list(dict.fromkeys(record.run.printers for record in _test_runs(state, tests)))
    record = None if event.run is None else state.find(event.run)
    if record is not None:
        return record.run.printers
    if len(every) == 1:
        return every[0]
    own = [names for names in every if event.printer is None or event.printer in names]
    if len(own) == 1:
        return own[0]
    raise PrintRefused(
        "Each kind of printer has a coupon of its own." if event.printer is None else
        "No coupon is printed on this printer.",
        pointer="/printer", value=event.printer, limit=" or ".join(name for names in every for name in names),
        remedy="Name the printer whose coupon was read.",
    )  # fmt: skip


def _unprinted(state: PrintState, tests: Sequence[str], printers: tuple[str, ...]) -> list[str]:
    """Return which test prints of these printers are not printed yet."""
    missing = [mark for mark in tests if state.left[mark]]
    printed = {
        piece.mark
        for record in _test_runs(state, tests)
        if record.state == "printed" and record.run.printers == printers
        for piece in record.run.pieces
    }
    return [mark for mark in missing if not printers or mark not in printed]


def _test_runs(state: PrintState, tests: Sequence[str]) -> list[RunRecord]:
    return [record for record in state.runs if any(piece.mark in tests for piece in record.run.pieces)]


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
