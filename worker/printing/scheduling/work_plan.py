"""The work: what of a job is to be printed, in which runs, and in which order. Times are seconds."""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final, Protocol, Self, TypeAlias

from worker.layout.floor.print_bed import Bed
from worker.layout.model.plan import Plan
from worker.printing.estimating.process_settings import Correction, layer_of, line_width_of, material_of
from worker.printing.packing.pieces import Group, Piece, Run, Runs
from worker.printing.packing.run_packer import pack_runs
from worker.spec import Spec
from worker.spec.items.item import Access
from worker.spec.manifest.manifest import EstimateEntry, PartKind, RunEntry, RunPiece, WorkEntry

__all__ = ["FILAMENT_DECIMALS", "SECONDS_DECIMALS", "Need", "access_of", "needs_of", "pack_needs", "runs_of"]

#: Decimals of grams, metres and money, and of seconds.
FILAMENT_DECIMALS: Final = 4
SECONDS_DECIMALS: Final = 1

_HOUR: Final = 3600.0

#: In the order of work; a tray that holds no listed things is wanted as often as most.
_RANKS: Final[dict[Access, int]] = {"often": 0, "sometimes": 1, "rarely": 2}
_FLOOR: Final[frozenset[PartKind]] = frozenset({"tile", "key"})
_TRIAL: Final[frozenset[PartKind]] = frozenset({"coupon", "plug"})

#: What is wanted how often: by mark and the name of the drawer.
Wanted: TypeAlias = Mapping[tuple[str, str | None], Access]


class Shaped(Protocol):
    """A part of a plan, of its document or of a manifest."""

    @property
    def mark(self) -> str:
        """Its mark."""

    @property
    def kind(self) -> PartKind:
        """Its kind."""

    @property
    def size(self) -> tuple[float, float, float]:
        """Its box as printed."""


class _Placed(Protocol):
    @property
    def mark(self) -> str: ...


class _Stored(Protocol):
    @property
    def placement(self) -> int: ...
    @property
    def pointer(self) -> str: ...


class Furnished(Protocol):
    """A drawer of a plan, of its document or of a manifest."""

    @property
    def name(self) -> str:
        """Its name."""

    @property
    def copies(self) -> int:
        """How many there are."""

    @property
    def placements(self) -> Sequence[_Placed]:
        """What stands in it."""

    @property
    def contents(self) -> Sequence[_Stored]:
        """What lies in it."""


@dataclass(frozen=True, slots=True)
class Need:
    """Pieces of one mark that are to be printed for one copy of one drawer; without a name for none."""

    mark: str
    drawer: str | None
    count: int = 1
    copy: int = 0


def runs_of(
    spec: Spec, plan: Plan, estimates: Mapping[str, EstimateEntry] | None
) -> tuple[tuple[RunEntry, ...], WorkEntry]:
    """Return the runs of a job in the order of work, and all of them in numbers.

    The coupon and its plug come first, for what they show decides on all else; then the runs with pieces of the floor;
    then trays, those first that are wanted most often. Where a previous layout is printed, only new pieces are.

    Args:
        spec: the job.
        plan: the job laid out.
        estimates: by mark; without them runs have no times and are not split by ``printing.max_run_hours``.
    """
    return pack_needs(spec, plan.parts, needs_of(plan), access_of(spec, plan.drawers), estimates)


def pack_needs(
    spec: Spec,
    parts: Iterable[Shaped],
    needs: Iterable[Need],
    wanted: Wanted,
    estimates: Mapping[str, EstimateEntry] | None,
) -> tuple[tuple[RunEntry, ...], WorkEntry]:
    """Return the runs that print so much, in the order of work, and all of them in numbers.

    Args:
        spec: the job: its printer and how it is printed.
        parts: those that are needed, and maybe others.
        needs: what is to be printed.
        wanted: see `access_of`.
        estimates: see `runs_of`.
    """
    of_mark = {part.mark: part for part in parts}
    copies: dict[tuple[str | None, int], int] = {}
    drawers: list[str | None] = []
    ways: dict[Group, _Way] = {}
    trial: list[Piece] = []
    rest: list[Piece] = []
    for need in needs:
        part = of_mark[need.mark]
        place: int | None = None
        if need.drawer is not None:
            place = copies.setdefault((need.drawer, need.copy), len(copies))
            drawers += [need.drawer] * (place == len(drawers))
        way = _Way.of(spec, part, estimates)
        ways.setdefault(way.group, way)
        piece = Piece(need.mark, *part.size, quantity=need.count, group=way.group, drawer=place)
        (trial if part.kind in _TRIAL else rest).append(piece)
    packed = [_packed(spec, pieces, estimates) for pieces in (trial, rest)]

    def order(run: Run) -> tuple[bool, int, float]:
        if any(of_mark[one.mark].kind in _FLOOR for one in run.pieces):
            return False, 0, 0.0
        keys = [(one.mark, None if one.drawer is None else drawers[one.drawer]) for one in run.pieces]
        ranks = [_RANKS[wanted.get(key, "sometimes")] for key in keys]
        return True, min(ranks), sum(ranks) / len(ranks)

    def plug_alone(run: Run) -> bool:
        return all(of_mark[one.mark].kind == "plug" for one in run.pieces)

    in_order = [*sorted(packed[0].runs, key=plug_alone), *sorted(packed[1].runs, key=order)]
    runs = tuple(
        _entry(replace(run, index=number), ways[run.group], drawers, estimates)
        for number, run in enumerate(in_order, start=1)
    )
    return runs, _work(spec, runs, packed, timed=estimates is not None)


def needs_of(plan: Plan) -> tuple[Need, ...]:
    """Return what of a plan is to be printed: all of it, or what is new against the previous layout."""
    standing: Counter[tuple[str, str | None, int]] = Counter()
    if plan.changes is None:
        for drawer in plan.drawers:
            for place in drawer.placements:
                for copy in range(drawer.copies):
                    standing[place.mark, drawer.name, copy] += 1
        left = {part.mark: part.quantity for part in plan.parts}
    else:
        for piece in plan.changes.new:
            for name, count in piece.drawers:
                standing[piece.mark, name, 0] += count
        left = {piece.mark: piece.count for piece in plan.changes.new}
    for (mark, _, _), count in standing.items():
        left[mark] -= count
    # what stands in no drawer: the coupon and its plug
    standing += Counter({(mark, None, 0): count for mark, count in left.items() if count > 0})
    return tuple(Need(mark, name, count, copy) for (mark, name, copy), count in standing.items())


def access_of(spec: Spec, drawers: Iterable[Furnished]) -> dict[tuple[str, str | None], Access]:
    """Return how often the things in the trays of each mark and drawer are wanted: of several the most often."""
    found: dict[tuple[str, str | None], Access] = {}
    for drawer in drawers:
        for one in drawer.contents:
            key = drawer.placements[one.placement].mark, drawer.name
            access = _access(spec, one.pointer)
            found[key] = min(found.get(key, access), access, key=_RANKS.__getitem__)
    return found


def _access(spec: Spec, pointer: str) -> Access:
    """Return the access of an item: ``/items/<index>`` or ``/drawers/<index>/items/<index>``."""
    steps = pointer.split("/")[1:]
    items = spec.items if steps[0] == "items" else spec.drawers[int(steps[1])].items
    return items[int(steps[-1])].access


@dataclass(frozen=True, slots=True)
class _Way:
    """What pieces of one run share: filament, layer and line."""

    material: str
    colour: str | None
    layer: float
    line_width: float

    @classmethod
    def of(cls, spec: Spec, part: Shaped, estimates: Mapping[str, EstimateEntry] | None) -> Self:
        if estimates is not None:
            told = estimates[part.mark]
            return cls(told.material, told.colour, told.layer, told.line_width)
        kind, material = part.kind, material_of(spec, part.kind)
        return cls(material.name, material.colour, layer_of(spec, kind), line_width_of(spec, kind))

    @property
    def group(self) -> Group:
        """As the packing has it."""
        return self.material, (self.colour or "").upper(), f"{self.layer:g}", f"{self.line_width:g}"


def _packed(spec: Spec, pieces: Sequence[Piece], estimates: Mapping[str, EstimateEntry] | None) -> Runs:
    bed, spacing = Bed.of_printer(spec.printer), spec.printing.spacing
    if estimates is None:
        return pack_runs(pieces, bed, spacing=spacing)
    known = estimates
    return pack_runs(
        pieces,
        bed,
        spacing=spacing,
        hours=lambda mark: known[mark].laying_seconds / _HOUR,
        start=lambda mark: _start(known[mark]) / _HOUR,
        max_run_hours=spec.printing.max_run_hours,
    )


def _start(estimate: EstimateEntry) -> float:
    """Return the seconds of heating and of layer changes."""
    return estimate.seconds - estimate.laying_seconds


def _entry(
    run: Run, way: _Way, drawers: Sequence[str | None], estimates: Mapping[str, EstimateEntry] | None
) -> RunEntry:
    pieces = tuple(
        RunPiece(
            mark=one.mark,
            at=(round(one.x, 3), round(one.y, 3)),
            turn=one.turn,
            drawer=None if one.drawer is None else drawers[one.drawer],
        )
        for one in run.pieces
    )
    entry = RunEntry(
        number=run.index,
        material=way.material,
        colour=way.colour,
        layer=way.layer,
        line_width=way.line_width,
        pieces=pieces,
    )
    if estimates is None:
        return entry
    told = [estimates[one.mark] for one in pieces]
    seconds = max(_start(one) for one in told) + sum(one.laying_seconds for one in told)
    return entry.model_copy(
        update={
            "seconds": round(seconds, SECONDS_DECIMALS),
            "grams": round(sum(one.grams for one in told), FILAMENT_DECIMALS),
            "metres": round(sum(one.metres for one in told), FILAMENT_DECIMALS),
            "cost": _sum(one.cost for one in told),
        }
    )


def _work(spec: Spec, runs: Sequence[RunEntry], packed: Sequence[Runs], *, timed: bool) -> WorkEntry:
    work = WorkEntry(
        pieces=sum(len(run.pieces) for run in runs),
        runs=len(runs),
        least_runs=sum(one.lower_bound for one in packed),
        long_pieces=tuple(mark for one in packed for mark in one.too_long),
    )
    if not timed:
        return work
    time, filament = Correction.of_time(spec), Correction.of_filament(spec)
    return work.model_copy(
        update={
            "grams": round(sum(run.grams or 0.0 for run in runs), FILAMENT_DECIMALS),
            "metres": round(sum(run.metres or 0.0 for run in runs), FILAMENT_DECIMALS),
            "cost": _sum(run.cost for run in runs),
            "seconds": round(sum(run.seconds or 0.0 for run in runs), SECONDS_DECIMALS),
            "time_uncertainty": time.uncertainty,
            "filament_uncertainty": filament.uncertainty,
            "calibrated_time": time.factor,
            "calibrated_filament": filament.factor,
        }
    )


def _sum(costs: Iterable[float | None]) -> float | None:
    """Return what all cost together; None when the price of one is not known."""
    total = 0.0
    for one in costs:
        if one is None:
            return None
        total += one
    return round(total, FILAMENT_DECIMALS)
