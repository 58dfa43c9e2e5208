"""Runs over several jobs: what is printed alike on printers that are alike shares beds."""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final, TypeAlias

from worker.printing.scheduling.spools import purchases
from worker.printing.scheduling.work_plan import Need, access_of, pack_needs
from worker.spec import Spec
from worker.spec.items.item import Access
from worker.spec.manifest.manifest import EstimateEntry, Manifest, PartKind, PurchaseEntry, RunEntry
from worker.spec.printer.material import Material
from worker.spec.requests.batch import BatchBeds, BatchPiece, BatchRun

__all__ = ["BatchJob", "BatchWork", "pack_batch"]

_Wanted: TypeAlias = dict[tuple[str, str | None], Access]

#: Test prints: of those with one shape a single one is enough.
_TRIAL: Final[frozenset[PartKind]] = frozenset({"coupon", "plug"})

#: The most marks that can be told apart while they are packed together.
_MOST_MARKS: Final = 99_999


@dataclass(frozen=True, slots=True)
class BatchJob:
    """A job that succeeded: its index in the batch, its spec and its manifest."""

    entry: int
    spec: Spec
    manifest: Manifest


@dataclass(frozen=True, slots=True)
class BatchWork:
    """The runs of all jobs together."""

    runs: tuple[BatchRun, ...]
    beds: tuple[BatchBeds, ...]
    purchases: tuple[PurchaseEntry, ...]


@dataclass(frozen=True, slots=True)
class _Shape:
    """A part under a mark that no other job's part has."""

    mark: str
    kind: PartKind
    size: tuple[float, float, float]


def pack_batch(jobs: Sequence[BatchJob]) -> BatchWork:
    """Return the runs that print these jobs, numbered from 1.

    Jobs share beds where their printers and their ways of printing are the same. Test prints of the same shape are
    printed once.

    Raises:
        ValueError: when there are more marks than can be told apart.
    """
    groups: dict[tuple[str, str], list[BatchJob]] = {}
    for job in jobs:
        way = job.spec.printing.model_dump_json(exclude={"compare"})
        groups.setdefault((job.spec.printer.model_dump_json(), way), []).append(job)
    runs: list[BatchRun] = []
    beds: list[BatchBeds] = []
    for group in groups.values():
        more, packed = _Group(group).pack(len(runs))
        runs += more
        beds.append(packed)
    return BatchWork(tuple(runs), tuple(beds), purchases(runs, _materials(jobs)))


class _Group:
    """Jobs that are printed alike."""

    def __init__(self, jobs: Sequence[BatchJob]) -> None:
        """Give each part a mark of its own."""
        self._jobs = jobs
        self._shapes: list[_Shape] = []
        self._real: dict[str, tuple[int, str]] = {}
        self._drawers: dict[str, str] = {}
        self._needs: list[Need] = []
        self._wanted: _Wanted = {}
        self._estimates: dict[str, EstimateEntry] = {}
        tried: set[str] = set()
        for job in jobs:
            self._take(job, tried)

    def pack(self, before: int) -> tuple[list[BatchRun], BatchBeds]:
        """Return the group's runs, numbered after those before, and what they come to."""
        timed = all(one.mark in self._estimates for one in self._shapes)
        spec = self._jobs[0].spec
        found, work = pack_needs(spec, self._shapes, self._needs, self._wanted, self._estimates if timed else None)
        runs = [self._run(run, before + run.number) for run in found]
        long = tuple(dict.fromkeys(self._real[mark][1] for mark in work.long_pieces))
        x, y, z = spec.printer.bed
        return runs, BatchBeds(
            bed=(x, y, z),
            entries=tuple(job.entry for job in self._jobs),
            runs=tuple(run.number for run in runs),
            work=work.model_copy(update={"long_pieces": long}),
        )

    def _take(self, job: BatchJob, tried: set[str]) -> None:
        marks: dict[str, str] = {}
        for part in job.manifest.parts:
            if part.kind in _TRIAL:
                if part.digest in tried:
                    continue
                tried.add(part.digest)
            if len(self._shapes) >= _MOST_MARKS:
                raise ValueError("There are too many marks.")
            mark = marks[part.mark] = f"{part.mark[0]}{len(self._shapes)}"
            self._shapes.append(_Shape(mark, part.kind, part.size))
            self._real[mark] = job.entry, part.mark
            if part.estimate is not None:
                self._estimates[mark] = part.estimate
        for (mark, drawer), count in _pieces(job.manifest.runs).items():
            if mark in marks:
                self._needs.append(Need(marks[mark], self._drawer(job, drawer), count))
        for (mark, drawer), access in access_of(job.spec, job.manifest.drawers).items():
            if mark in marks:
                self._wanted[marks[mark], self._drawer(job, drawer)] = access

    def _drawer(self, job: BatchJob, name: str | None) -> str | None:
        if name is None:
            return None
        own = f"{job.entry} {name}"
        self._drawers[own] = name
        return own

    def _run(self, run: RunEntry, number: int) -> BatchRun:
        pieces = tuple(
            BatchPiece(
                entry=self._real[one.mark][0],
                mark=self._real[one.mark][1],
                at=one.at,
                turn=one.turn,
                drawer=None if one.drawer is None else self._drawers[one.drawer],
            )
            for one in run.pieces
        )
        told = {name: getattr(run, name) for name in RunEntry.model_fields}
        return BatchRun(**{**told, "number": number, "pieces": pieces, "file": f"run-{number:02d}.3mf"})


def _pieces(runs: Iterable[RunEntry]) -> Counter[tuple[str, str | None]]:
    return Counter((one.mark, one.drawer) for run in runs for one in run.pieces)


def _materials(jobs: Iterable[BatchJob]) -> tuple[Material, ...]:
    """Return each filament once, as the first job describes it."""
    found: dict[tuple[str, str | None], Material] = {}
    for job in jobs:
        for part in job.manifest.parts:
            material = job.spec.material_of(part.kind)
            found.setdefault((material.name, material.colour), material)
    return tuple(found.values())
