"""The runs of printers that are alike: pieces on equal beds, in the order of printing. Times are in seconds."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final, Self

from worker.layout.floor.print_bed import Bed
from worker.printing.estimating.filament import length
from worker.printing.estimating.process_settings import Correction, layer_of, line_width_of, material_of, process_of
from worker.printing.lettering_changes import LetteredPiece, pause_times, run_lettering
from worker.printing.packing.pieces import Group, Piece, Run, Runs
from worker.printing.packing.run_packer import pack_runs
from worker.printing.print_order import DEFAULT_ACCESS, is_test_print, run_order
from worker.printing.runs.demand import AccessByTray, Need, PartSize
from worker.spec import Spec
from worker.spec.manifest import EstimateEntry, RunEntry, RunLettering, RunPiece, WorkEntry
from worker.spec.printer.material import Material

__all__ = ["FILAMENT_DECIMALS", "SECONDS_DECIMALS", "known_sum", "pack_alike"]

#: Decimals of grams, metres and money, and of seconds.
FILAMENT_DECIMALS: Final = 4
SECONDS_DECIMALS: Final = 1

_HOUR: Final = 3600.0

#: How often runs are packed again because changes of filament make one too long, and hours within rounding.
_MOST_REPACKINGS: Final = 5
_ROUNDED: Final = 1e-4


def pack_alike(
    spec: Spec,
    parts: Iterable[PartSize],
    needs: Iterable[Need],
    access: AccessByTray,
    estimates: Mapping[str, EstimateEntry] | None,
    *,
    exact: bool = False,
    effort: int | None = None,
) -> tuple[tuple[RunEntry, ...], WorkEntry]:
    """Return the runs that meet these needs, in the order of `worker.printing.print_order`, and their totals.

    Test prints share no run with other parts, because the other parts wait for what they show.

    Args:
        spec: the job: its printer and its print settings.
        parts: at least those that are needed.
        needs: the pieces to print.
        access: see `access_of`.
        estimates: by mark; without them runs have no times and are not split by ``printing.max_run_hours``.
        exact: see `pack_runs`.
        effort: see `pack_runs`.

    Raises:
        LayoutError: when a piece does not fit the bed.
    """
    parts_by_mark = {part.mark: part for part in parts}
    copies: dict[tuple[str | None, int], int] = {}
    drawers: list[str | None] = []
    settings: dict[Group, _RunSettings] = {}
    test_prints: list[Piece] = []
    others: list[Piece] = []
    for need in needs:
        part = parts_by_mark[need.mark]
        index: int | None = None
        if need.drawer is not None:
            index = copies.setdefault((need.drawer, need.copy), len(copies))
            drawers += [need.drawer] * (index == len(drawers))
        own = _RunSettings.of(spec, part, estimates)
        settings.setdefault(own.group, own)
        piece = Piece(need.mark, *part.size, quantity=need.count, group=own.group, drawer=index)
        (test_prints if is_test_print(part.kind) else others).append(piece)

    def seconds(run: Run) -> float:
        return _entry(spec, run, settings[run.group], drawers, (estimates, parts_by_mark)).seconds or 0.0

    packed = [
        _packed_with_changes(spec, pieces, estimates, seconds, exact=exact, effort=effort)
        for pieces in (test_prints, others)
    ]
    kinds = {mark: part.kind for mark, part in parts_by_mark.items()}

    def order(run: Run) -> tuple[int, float, float]:
        keys = [(piece.mark, None if piece.drawer is None else drawers[piece.drawer]) for piece in run.pieces]
        return run_order(run, kinds, [access.get(key, DEFAULT_ACCESS) for key in keys])

    runs = tuple(
        _entry(spec, replace(run, index=number), settings[run.group], drawers, (estimates, parts_by_mark))
        for number, run in enumerate(sorted((run for part in packed for run in part.runs), key=order), start=1)
    )
    return runs, _totals(spec, runs, packed, timed=estimates is not None)


@dataclass(frozen=True, slots=True)
class _RunSettings:
    """The settings that all pieces of a run share: filament, layer height and line width."""

    material: str
    colour: str | None
    layer: float
    line_width: float

    @classmethod
    def of(cls, spec: Spec, part: PartSize, estimates: Mapping[str, EstimateEntry] | None) -> Self:
        if estimates is not None:
            estimate = estimates[part.mark]
            return cls(estimate.material, estimate.colour, estimate.layer, estimate.line_width)
        kind, material = part.kind, material_of(spec, part.kind)
        return cls(material.name, material.colour, layer_of(spec, kind), line_width_of(spec, kind))

    @property
    def group(self) -> Group:
        """The group of the run packer: one group to a run."""
        return self.material, (self.colour or "").upper(), f"{self.layer:g}", f"{self.line_width:g}"


def _packed_with_changes(
    spec: Spec,
    pieces: Sequence[Piece],
    estimates: Mapping[str, EstimateEntry] | None,
    seconds: Callable[[Run], float],
    *,
    exact: bool,
    effort: int | None,
) -> Runs:
    """Return the runs, which with their changes of filament take no longer than ``printing.max_run_hours``.

    How many changes a run has, only its pieces together tell. Where one takes too long, all are packed again with as
    much less time, a few times, then with the most that changes can take.

    Args:
        spec: the job.
        pieces: the pieces.
        estimates: by mark.
        seconds: returns the time of a run with its changes.
        exact: see `pack_runs`.
        effort: see `pack_runs`.
    """
    most = spec.printing.max_run_hours
    runs = first = _packed(spec, pieces, estimates, exact=exact, effort=effort, limit=most)
    if most is None or estimates is None or spec.printing.lettering is None:
        return runs
    limit, changes = most, 0.0
    for attempt in range(_MOST_REPACKINGS):
        over = max((seconds(run) / _HOUR - most for run in runs.runs if len(run.pieces) > 1), default=0.0)
        if over <= _ROUNDED:
            break
        changes = max(changes, *(seconds(run) / _HOUR - (run.hours or 0.0) for run in runs.runs))
        limit = limit - over if attempt < _MOST_REPACKINGS - 1 else most - 2.0 * changes
        runs = _packed(spec, pieces, estimates, exact=exact, effort=effort, limit=max(limit, _ROUNDED))
    alone = [run for run in runs.runs if len(run.pieces) == 1 and seconds(run) / _HOUR > most + _ROUNDED]
    long = tuple(dict.fromkeys(run.pieces[0].mark for run in alone))
    return Runs(runs.runs, first.lower_bound, long)


def _packed(
    spec: Spec,
    pieces: Sequence[Piece],
    estimates: Mapping[str, EstimateEntry] | None,
    *,
    exact: bool,
    effort: int | None,
    limit: float | None,
) -> Runs:
    bed, spacing = Bed.of_printer(spec.printer), spec.printing.spacing
    if estimates is None:
        return pack_runs(pieces, bed, spacing=spacing, exact=exact, effort=effort)
    by_mark = estimates  # not None in the lambdas either
    return pack_runs(
        pieces,
        bed,
        spacing=spacing,
        hours=lambda mark: by_mark[mark].laying_seconds / _HOUR,
        setup=lambda mark: _setup(by_mark[mark]) / _HOUR,
        max_run_hours=limit,
        exact=exact,
        effort=effort,
    )


def _setup(estimate: EstimateEntry) -> float:
    """Return the seconds that a run spends on heating and layer changes, whatever else is on the bed."""
    return estimate.seconds - estimate.laying_seconds


def _entry(
    spec: Spec,
    run: Run,
    settings: _RunSettings,
    drawers: Sequence[str | None],
    of_parts: tuple[Mapping[str, EstimateEntry] | None, Mapping[str, PartSize]],
) -> RunEntry:
    estimates, parts = of_parts
    pieces = tuple(
        RunPiece(
            mark=piece.mark,
            at=(round(piece.x, 3), round(piece.y, 3)),
            turn=piece.turn,
            drawer=None if piece.drawer is None else drawers[piece.drawer],
        )
        for piece in run.pieces
    )
    entry = RunEntry(
        number=run.index,
        material=settings.material,
        colour=settings.colour,
        layer=settings.layer,
        line_width=settings.line_width,
        pieces=pieces,
    )
    if estimates is None:
        return entry
    own = [estimates[piece.mark] for piece in pieces]
    seconds = max(map(_setup, own)) + sum(estimate.laying_seconds for estimate in own)
    plain = entry.model_copy(
        update={
            "seconds": round(seconds, SECONDS_DECIMALS),
            "grams": round(sum(estimate.grams for estimate in own), FILAMENT_DECIMALS),
            "metres": round(sum(estimate.metres for estimate in own), FILAMENT_DECIMALS),
            "cost": known_sum((estimate.cost for estimate in own), FILAMENT_DECIMALS),
        }
    )
    kind = parts[pieces[0].mark].kind
    lettered = [LetteredPiece(estimate, parts[piece.mark].size[2]) for piece, estimate in zip(pieces, own, strict=True)]
    process = process_of(spec, kind, settings.layer)
    lettering = run_lettering(spec, lettered, process.first_layer)
    if lettering is not None:
        lettering = pause_times(lettering, lettered, process, Correction.of_time(spec).factor)
    entry = plain if lettering is None else _with_lettering(spec, plain, lettering, spec.material_of(kind))
    if entry.cost is None or not spec.printer.cost_per_hour:
        return entry
    printing = (entry.seconds or 0.0) / _HOUR * spec.printer.cost_per_hour
    return entry.model_copy(update={"cost": round(entry.cost + printing, FILAMENT_DECIMALS)})


def _with_lettering(spec: Spec, run: RunEntry, lettering: RunLettering, own: Material) -> RunEntry:
    """Return the run with its lettering, and with time, filament and cost of the changes."""
    second = lettering.material, lettering.colour
    material = next(each for each in spec.materials_of(()) if (each.name, each.colour) == second)
    grams, half = run.grams or 0.0, lettering.waste / 2.0
    cost = None
    if run.cost is not None and own.cost_per_kg is not None and material.cost_per_kg is not None:
        # the pieces' costs are at the price of their own filament
        dearer = lettering.grams * material.cost_per_kg + (half - (lettering.grams - half)) * own.cost_per_kg
        cost = round(run.cost + dearer / 1000.0, FILAMENT_DECIMALS)
    wasted = half / own.density + half / material.density
    return run.model_copy(
        update={
            "seconds": round((run.seconds or 0.0) + lettering.seconds, SECONDS_DECIMALS),
            "grams": round(grams + lettering.waste, FILAMENT_DECIMALS),
            "metres": round((run.metres or 0.0) + length(1000.0 * wasted), FILAMENT_DECIMALS),
            "cost": cost,
            "lettering": lettering,
        }
    )


def _totals(spec: Spec, runs: Sequence[RunEntry], packed: Sequence[Runs], *, timed: bool) -> WorkEntry:
    work = WorkEntry(
        pieces=sum(len(run.pieces) for run in runs),
        runs=len(runs),
        least_runs=sum(part.lower_bound for part in packed),
        long_pieces=tuple(mark for part in packed for mark in part.too_long),
    )
    if not timed:
        return work
    time, filament = Correction.of_time(spec), Correction.of_filament(spec)
    return work.model_copy(
        update={
            "grams": round(sum(run.grams or 0.0 for run in runs), FILAMENT_DECIMALS),
            "metres": round(sum(run.metres or 0.0 for run in runs), FILAMENT_DECIMALS),
            "cost": known_sum((run.cost for run in runs), FILAMENT_DECIMALS),
            "seconds": round(sum(run.seconds or 0.0 for run in runs), SECONDS_DECIMALS),
            "time_uncertainty": time.uncertainty,
            "filament_uncertainty": filament.uncertainty,
            "calibrated_time": time.factor,
            "calibrated_filament": filament.factor,
        }
    )


def known_sum(amounts: Iterable[float | None], decimals: int) -> float | None:
    """Return the rounded sum; None when an amount is unknown."""
    total = 0.0
    for amount in amounts:
        if amount is None:
            return None
        total += amount
    return round(total, decimals)
