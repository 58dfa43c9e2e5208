"""The summary: runs, filament, time and money as lines of text."""

from collections import Counter
from collections.abc import Iterator, Sequence

from worker.printing.print_order import Stage, stage_of_run
from worker.spec.manifest import Manifest, PurchaseEntry, RunEntry, ScheduleEntry, WorkEntry

__all__ = ["summary"]


def summary(manifest: Manifest) -> Iterator[str]:
    """Yield what is printed in which run, what all takes and how sure that is, when it is done and what to buy."""
    work = manifest.work
    if work is None:
        return
    if not manifest.runs:
        yield "Nothing is to be printed."
        return
    yield "Print the runs in this order. Each file has all its pieces in their places on the bed."
    yield ""
    for run in manifest.runs:
        yield from _run(run)
    yield ""
    if stage_of_run(manifest.runs[0]) is Stage.TEST_PRINTS:
        yield "Print the coupon first and try its plug in each socket: the name beside the one in which it sits as you"
        yield "wish is the clearance that this printer needs. If that is another, ask for the job anew with it."
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


def _totals(work: WorkEntry) -> Iterator[str]:
    cost = "" if work.cost is None else f", filament for {work.cost:.2f}"
    yield (
        f"{work.pieces} pieces in {work.runs} runs (no packing has fewer than {work.least_runs}): "
        f"{_hours(work.seconds)} of printing, {_grams(work.grams)}, {work.metres or 0.0:.0f} m{cost}."
    )
    yield (
        f"These are estimates: the time may be off by {100.0 * (work.time_uncertainty or 0.0):.0f} %, the filament by "
        f"{100.0 * (work.filament_uncertainty or 0.0):.0f} %."
    )
    for name, factor in (("times", work.calibrated_time), ("amounts of filament", work.calibrated_filament)):
        if factor != 1.0:
            yield f"By your own prints all {name} are multiplied by {factor:g}."
    if work.long_pieces:
        yield f"Longer than a run may take, each alone: {', '.join(work.long_pieces)}."
    for one in work.alternatives:
        cost = "" if one.cost is None else f", {one.cost:.2f}"
        yield f"With layers of {one.layer:g} mm: {one.runs} runs, {_hours(one.seconds)}, {_grams(one.grams)}{cost}."


def _dates(schedule: ScheduleEntry) -> Iterator[str]:
    yield ""
    for step in schedule.steps:
        yield (
            f"{step.begin:%a %Y-%m-%d %H:%M} to {step.end:%a %H:%M}  run {step.run} on {step.printer}; watch it until "
            f"{step.attended_until:%H:%M}"
        )
        for swap in step.swaps:
            yield f"      have the next spool of {swap.material} ready after {swap.after_grams:.0f} g"
    for one in schedule.waiting:
        yield f"Run {one.run} has no time: {one.reason}"
    if schedule.finish is not None:
        yield f"All is printed by {schedule.finish:%a %Y-%m-%d %H:%M} ({schedule.timezone}) at the earliest."


def _bought(purchases: Sequence[PurchaseEntry]) -> Iterator[str]:
    yield ""
    for one in purchases:
        spools = f"buy {one.spools} {'spool' if one.spools == 1 else 'spools'}" if one.spools else "nothing to buy"
        cost = f" for {one.cost:.2f}" if one.spools and one.cost is not None else ""
        yield f"{_filament(one)}: {_grams(one.grams)} needed, {_grams(one.left)} on spools: {spools}{cost}."


def _filament(one: RunEntry | PurchaseEntry) -> str:
    return f"{one.material} {one.colour}" if one.colour else one.material


def _hours(seconds: float | None) -> str:
    """Return hours and minutes."""
    if seconds is None:
        return ""
    minutes = round(seconds / 60.0)
    return f"{minutes // 60}:{minutes % 60:02d} h"


def _grams(grams: float | None) -> str:
    return "" if grams is None else f"{grams:.0f} g"
