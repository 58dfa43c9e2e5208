"""What remains: from the runs as planned and what was said of prints, the pieces and runs that are still to come.

Everything here is a fold: `begin` makes the standing of a job of which nothing is printed, `follow` the standing after
one more event. Numbers of runs go on counting, and a number always means the same pieces.
"""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from typing import TypeAlias

from worker.layout.floor.print_bed import Bed
from worker.printing.packing.bed_surface import Surface
from worker.printing.packing.lower_bound import least_runs
from worker.printing.progress.print_state import RunRecord, Standing, begin, marks_of
from worker.printing.scheduling.work_plan import FILAMENT_DECIMALS, SECONDS_DECIMALS, Need, access_of, pack_needs
from worker.spec import Spec
from worker.spec.errors import PrintRefused
from worker.spec.manifest.manifest import EstimateEntry, Manifest, RunEntry, WorkEntry
from worker.spec.requests.print_event import PrintEvent

__all__ = ["Standing", "begin", "follow", "remaining_work", "used_filament"]

_Key: TypeAlias = tuple[str, str | None]

_TRIAL = frozenset({"coupon", "plug"})
_FLOOR = frozenset({"tile", "key"})


def follow(standing: Standing, event: PrintEvent, manifest: Manifest, spec: Spec) -> Standing:
    """Return the standing after an event.

    Runs that are not printed stay as they are while each of their pieces is still needed. What no run covers any more
    is packed afresh; where that takes fewer runs, so are the runs that were packed afresh before.

    A failed piece is needed again. Of a mark, pieces that were said to be printed are taken back first, so that rather
    too many are printed than too few.

    Raises:
        PrintRefused: when the event cannot be so: the run or mark is unknown, or more pieces than are needed.
    """
    counted = _of_run(standing, event, event.run) if event.run is not None else _of_mark(standing, event)
    return _packed(counted, manifest, spec)


def used_filament(
    standing: Standing, counts: Mapping[str, int], manifest: Manifest
) -> dict[tuple[str, str | None], float] | None:
    """Return the grams of so many pieces by material and colour; None where parts have no estimate."""
    used: dict[tuple[str, str | None], float] = {}
    estimates = _estimates(manifest, standing.needed)
    if estimates is None:
        return None
    for mark, count in counts.items():
        told = estimates[mark]
        key = told.material, told.colour
        used[key] = round(used.get(key, 0.0) + count * told.grams, FILAMENT_DECIMALS)
    return used


def remaining_work(standing: Standing, manifest: Manifest, spec: Spec) -> tuple[tuple[RunEntry, ...], WorkEntry]:
    """Return the runs to be printed in the order of work, and all of them in numbers."""
    kinds = {part.mark: part.kind for part in manifest.parts}

    def stage(run: RunEntry) -> int:
        found = {kinds[one.mark] for one in run.pieces}
        return 0 if found & _TRIAL else 1 if found & _FLOOR else 2

    runs = tuple(sorted(standing.open, key=lambda run: (stage(run), run.number)))
    whole = manifest.work or WorkEntry(pieces=0, runs=0, least_runs=0)
    timed = all(run.seconds is not None for run in runs)
    costs = [run.cost for run in runs]
    left = set(standing.left)
    return runs, WorkEntry(
        pieces=sum(len(run.pieces) for run in runs),
        runs=len(runs),
        least_runs=_least(runs, manifest, spec),
        long_pieces=tuple(mark for mark in whole.long_pieces if mark in left),
        grams=round(sum(run.grams or 0.0 for run in runs), FILAMENT_DECIMALS) if timed else None,
        metres=round(sum(run.metres or 0.0 for run in runs), FILAMENT_DECIMALS) if timed else None,
        cost=round(sum(one or 0.0 for one in costs), FILAMENT_DECIMALS) if timed and None not in costs else None,
        seconds=round(sum(run.seconds or 0.0 for run in runs), SECONDS_DECIMALS) if timed else None,
        time_uncertainty=whole.time_uncertainty,
        filament_uncertainty=whole.filament_uncertainty,
        calibrated_time=whole.calibrated_time,
        calibrated_filament=whole.calibrated_filament,
    )


def _of_run(standing: Standing, event: PrintEvent, number: int) -> Standing:
    record = standing.find(number)
    if record is None:
        known = (
            f"a run of this job, 1 to {standing.next_run - 1}" if standing.runs else "no run: all was printed before"
        )
        raise PrintRefused("The job has no such run.", pointer="/run", value=number, limit=known)
    pieces = marks_of([record.run])
    if record.state == "printed" and event.outcome == "placed" and not event.failed:
        return _place_run(standing, record, number, pieces)
    if record.state in ("printed", "failed"):
        raise PrintRefused(
            f"Run {number} was recorded as {record.state} before.",
            pointer="/run", value=number, limit="a run that was not recorded yet",
            remedy='Say what changed by mark: a piece that turned out bad is {"outcome": "failed", "mark": ...}.',
        )  # fmt: skip
    failed = pieces if event.outcome == "failed" else Counter(event.failed)
    for mark, count in failed.items():
        if count > pieces[mark]:
            limit = f"at most {pieces[mark]}, which is what the run has"
            raise PrintRefused("The run has fewer.", pointer=f"/failed/{mark}", value=count, limit=limit, part=mark)
    good = pieces - failed
    for mark, count in good.items():
        if count > (left := standing.left[mark]):
            raise PrintRefused(
                f"Run {number} has more pieces of {mark} than are needed still.",
                pointer="/run", value=number, limit=f"{left} of {mark} left to print", part=mark,
                remedy="Record its other pieces by mark.",
            )  # fmt: skip
    after = standing.changed(number, state="printed" if good else "failed", failed=dict(sorted(failed.items())))
    return _added(
        after, printed=good, placed=good if event.outcome == "placed" else Counter(), failed=failed, laid=pieces
    )


def _place_run(standing: Standing, record: RunRecord, number: int, pieces: Counter[str]) -> Standing:
    """Place what of a printed run is not in the drawer yet."""
    there = Counter(standing.printed) - Counter(standing.placed)
    placed = (pieces - Counter(record.failed)) & there
    if not placed:
        raise PrintRefused(
            f"All good pieces of run {number} are in the drawer.",
            pointer="/run", value=number, limit="a run with pieces that were not placed yet",
        )  # fmt: skip
    return _added(standing, placed=placed)


def _of_mark(standing: Standing, event: PrintEvent) -> Standing:
    mark, count = event.mark or "", event.count
    needed = standing.needed.get(mark, 0)
    if not needed:
        known = ", ".join(list(standing.needed)[:20])
        raise PrintRefused(
            "No piece of this mark is printed in the job.", pointer="/mark", value=mark, limit=known or None
        )
    printed, placed = standing.printed.get(mark, 0), standing.placed.get(mark, 0)
    most = {"printed": needed - printed, "placed": needed - placed, "failed": needed}[event.outcome]
    if count > most:
        raise PrintRefused(
            f"That is more of {mark} than is needed.",
            pointer="/count", value=count, limit=f"at most {most}: {needed} needed, {printed} printed, {placed} placed",
            remedy="If one of them turned out bad, record it as failed first." if event.outcome != "failed" else None,
            part=mark,
        )  # fmt: skip
    this = Counter({mark: count})
    match event.outcome:
        case "printed":
            return _added(standing, printed=this, laid=this)
        case "placed":
            fresh = Counter({mark: max(0, placed + count - printed)})
            return _added(standing, printed=fresh, placed=this, laid=fresh)
        case _:
            back = min(count, printed)
            fewer = standing.model_copy(
                update={
                    "printed": standing.printed | {mark: printed - back},
                    "placed": standing.placed | {mark: min(placed, printed - back)},
                }
            )
            return _added(fewer, failed=this, laid=Counter({mark: count - back}))


def _added(standing: Standing, **more: Counter[str]) -> Standing:
    values = {name: Counter(getattr(standing, name)) + Counter(counts) for name, counts in more.items()}
    return standing.model_copy(update={name: dict(sorted(counts.items())) for name, counts in values.items()})


def _packed(standing: Standing, manifest: Manifest, spec: Spec) -> Standing:
    """Keep the open runs whose pieces are all needed, and pack afresh what no run covers."""
    left, kept, gone = standing.left, list[RunEntry](), list[int]()
    again = {one.run.number for one in standing.runs if not one.planned}
    for run in standing.open:
        pieces = marks_of([run])
        if pieces <= left:
            left -= pieces
            kept.append(run)
        else:
            gone.append(run.number)
    made: tuple[RunEntry, ...] = ()
    if left:
        made = _pack(left, kept, standing, manifest, spec)
        lasting = [run for run in kept if run.number not in again]
        before = len(kept) - len(lasting)
        if before:
            more = left + marks_of(run for run in kept if run.number in again)
            together = _pack(more, lasting, standing, manifest, spec)
            if len(together) < before + len(made):
                gone += [run.number for run in kept if run.number in again]
                made = together
    records = [one.model_copy(update={"state": "replaced"}) if one.run.number in gone else one for one in standing.runs]
    for number, run in enumerate(made, start=standing.next_run):
        records.append(RunRecord(run=run.model_copy(update={"number": number}), planned=False))
    return standing.model_copy(update={"runs": tuple(records), "next_run": standing.next_run + len(made)})


def _pack(
    pool: Counter[str], kept: Iterable[RunEntry], standing: Standing, manifest: Manifest, spec: Spec
) -> tuple[RunEntry, ...]:
    """Return runs of these pieces. Equal pieces serve any drawer; those of the runs kept have theirs."""
    planned = [run for one in standing.runs if one.planned for run in (one.run,)]
    free = Counter(_keys(planned)) - Counter(_keys(kept))
    drawers: dict[str, list[str | None]] = {}
    for (mark, drawer), count in free.items():
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
    """Return how many runs these pieces need at least, by their footprints."""
    surface = Surface.of(Bed.of_printer(spec.printer), spec.printing.spacing)
    parts = {part.mark: part for part in manifest.parts}
    groups: dict[tuple[object, ...], list[str]] = {}
    for run in runs:
        for one in run.pieces:
            way = run.material, (run.colour or "").upper(), run.layer, run.line_width
            groups.setdefault((*way, parts[one.mark].kind in _TRIAL), []).append(one.mark)
    return sum(
        least_runs([(surface.grown(*parts[mark].size[:2]), 0.0) for mark in marks], surface, None)
        for marks in groups.values()
    )


def _estimates(manifest: Manifest, marks: Iterable[str]) -> dict[str, EstimateEntry] | None:
    """Return the estimates of these parts, or None when one has none."""
    wanted = set(marks)
    found = {part.mark: part.estimate for part in manifest.parts if part.mark in wanted and part.estimate is not None}
    return found if found.keys() == wanted else None


def _keys(runs: Iterable[RunEntry]) -> Iterator[_Key]:
    for run in runs:
        for one in run.pieces:
            yield one.mark, one.drawer
