"""The summary: runs, filament, time and cost as lines of text."""

from collections import Counter
from collections.abc import Iterator, Sequence

from worker.output.filament_changes import filament_changes
from worker.printing.print_order import Stage, stage_of_run
from worker.printing.scheduling.finish_lines import finish_lines
from worker.spec.manifest import Manifest, PurchaseEntry, RunEntry, ScheduleEntry, WorkEntry

__all__ = ["summary"]


def summary(manifest: Manifest) -> Iterator[str]:
    """Yield the runs, the totals with their uncertainty, the timetable, and the filament to buy."""
    work = manifest.work
    if work is None:
        return
    if not manifest.runs:
        yield "There is nothing to print."
        return
    yield "Print the runs in this order. Each file holds all pieces of a run in their places on the bed."
    yield ""
    for run in manifest.runs:
        yield from _run(run)
    yield ""
    if stage_of_run(manifest.runs[0]) is Stage.TEST_PRINTS:
        several = len({run.printers for run in manifest.runs if stage_of_run(run) is Stage.TEST_PRINTS}) > 1
        where = " on each kind of printer" * several
        yield f"Print the coupon{where} first and try its plug in each socket. The label of the best fit is the"
        yield "clearance for this printer. If this job has another clearance, submit it again with that one."
        yield ""
    yield from _totals(work)
    if manifest.schedule is not None:
        yield from _dates(manifest.schedule)
    yield from _bought(manifest.purchases)


def _run(run: RunEntry) -> Iterator[str]:
    counts = Counter(piece.mark for piece in run.pieces)
    pieces = ", ".join(mark if count == 1 else f"{count} x {mark}" for mark, count in counts.items())
    yield f"{run.number:4d}  {run.file or '':12s} {_hours(run.seconds):>8s} {_grams(run.grams):>7s}  {_filament(run)}"
    yield f"      {pieces}"
    yield from (f"      {line}" for line in filament_changes(run))


def _totals(work: WorkEntry) -> Iterator[str]:
    cost = "" if work.cost is None else f", filament cost {work.cost:.2f}"
    yield (
        f"{work.pieces} pieces in {work.runs} runs (at least {work.least_runs} are needed): "
        f"{_hours(work.seconds)} of print time, {_grams(work.grams)}, {work.metres or 0.0:.0f} m{cost}."
    )
    yield (
        f"These are estimates: the print time may be off by {100.0 * (work.time_uncertainty or 0.0):.0f} %, "
        f"the filament by {100.0 * (work.filament_uncertainty or 0.0):.0f} %."
    )
    for name, factor in (("print times", work.calibrated_time), ("amounts of filament", work.calibrated_filament)):
        if factor != 1.0:
            yield f"All {name} are multiplied by {factor:g}, as calibrated by your own prints."
    if work.long_pieces:
        yield f"Pieces that exceed the time limit of a run and are printed alone: {', '.join(work.long_pieces)}."
    for alternative in work.alternatives:
        cost = "" if alternative.cost is None else f", {alternative.cost:.2f}"
        yield (
            f"With a layer height of {alternative.layer:g} mm: {alternative.runs} runs, {_hours(alternative.seconds)}, "
            f"{_grams(alternative.grams)}{cost}. The time assumes {alternative.assumes} and may be off by "
            f"{100.0 * (alternative.time_uncertainty or 0.0):.0f} %."
        )


def _dates(schedule: ScheduleEntry) -> Iterator[str]:
    yield ""
    for step in schedule.steps:
        yield (
            f"{step.begin:%a %Y-%m-%d %H:%M} to {step.end:%a %H:%M}  run {step.run} on {step.printer}; attend "
            f"until {step.attended_until:%H:%M}"
        )
        for swap in step.swaps:
            when = f"after about {swap.after_grams:.0f} g" if swap.after_grams else "before the start"
            yield f"      change to another spool of {swap.material} {when}"
    for caution in schedule.cautions:
        yield f"Caution: {caution}"
    for waiting in schedule.waiting:
        yield f"Run {waiting.run} is not scheduled: {waiting.reason}"
    yield from finish_lines(schedule)


def _bought(purchases: Sequence[PurchaseEntry]) -> Iterator[str]:
    yield ""
    for purchase in purchases:
        spools = (
            f"buy {purchase.spools} {'spool' if purchase.spools == 1 else 'spools'}"
            if purchase.spools
            else "nothing to buy"
        )
        cost = f" for {purchase.cost:.2f}" if purchase.spools and purchase.cost is not None else ""
        by = f" by {purchase.by:%a %Y-%m-%d}" if purchase.by is not None else ""
        needed, left = _grams(purchase.grams), _grams(purchase.left)
        yield f"{_filament(purchase)}: {needed} needed, {left} on spools: {spools}{cost}{by}."


def _filament(source: RunEntry | PurchaseEntry) -> str:
    return f"{source.material} {source.colour}" if source.colour else source.material


def _hours(seconds: float | None) -> str:
    """Return hours and minutes."""
    if seconds is None:
        return ""
    minutes = round(seconds / 60.0)
    return f"{minutes // 60}:{minutes % 60:02d} h"


def _grams(grams: float | None) -> str:
    return "" if grams is None else f"{grams:.0f} g"
