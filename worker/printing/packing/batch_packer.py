"""The runs of a batch: jobs with equal printers and print settings share beds."""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from worker.printing.part_printers import made_as
from worker.printing.print_order import is_test_print
from worker.printing.runs.demand import Need, access_of
from worker.printing.runs.work_plan import pack_needs
from worker.printing.scheduling.spools import purchases
from worker.spec import Spec
from worker.spec.manifest import EstimateEntry, Manifest, PartEntry, PartKind, PurchaseEntry, RunEntry
from worker.spec.manifest.batch_manifest import BatchBeds, BatchPiece, BatchRun
from worker.spec.printer.material import Material

if TYPE_CHECKING:
    from worker.spec.items.item import Access

__all__ = ["BatchJob", "BatchWork", "pack_batch"]

#: A mark's number has at most five digits, and every part of the batch gets a mark of its own while it is packed.
_MOST_MARKS: Final = 99_999


@dataclass(frozen=True, slots=True)
class BatchJob:
    """A job that succeeded: its index in the batch, its spec and its manifest."""

    entry: int
    spec: Spec
    manifest: Manifest


@dataclass(frozen=True, slots=True)
class BatchWork:
    """The runs of all jobs of a batch, the beds they share, and the filament to buy."""

    runs: tuple[BatchRun, ...]
    beds: tuple[BatchBeds, ...]
    purchases: tuple[PurchaseEntry, ...]


@dataclass(frozen=True, slots=True)
class _BatchPart:
    """A part under a mark that is unique in the batch; ``size`` is its bounding box in mm."""

    mark: str
    kind: PartKind
    size: tuple[float, float, float]


def pack_batch(jobs: Sequence[BatchJob]) -> BatchWork:
    """Return the runs of a batch, numbered from 1.

    Jobs share beds when their printers and print settings are equal. Test prints of equal shape are printed once.

    Raises:
        ValueError: when the jobs of one group have more than 99,999 parts.
    """
    groups: dict[tuple[str, ...], list[BatchJob]] = {}
    for job in jobs:
        settings = job.spec.printing.model_dump_json(exclude={"compare"})
        made = made_as(job.spec, job.manifest)
        printers = [printer.model_dump_json() for printer in (made.printer, *made.printers)]
        kinds = [f"{kind} {name}" for kind, name in sorted(made.made_for_kinds.items())]
        groups.setdefault((settings, *printers, *kinds), []).append(job)
    runs: list[BatchRun] = []
    beds: list[BatchBeds] = []
    for group in groups.values():
        own, shared = _JobGroup(group).pack(len(runs))
        runs += own
        beds.append(shared)
    return BatchWork(tuple(runs), tuple(beds), purchases(runs, _materials(jobs)))


class _JobGroup:
    """Jobs with equal printers and print settings."""

    def __init__(self, jobs: Sequence[BatchJob]) -> None:
        """Give each part a mark that is unique in the group."""
        self._jobs = jobs
        self._parts: list[_BatchPart] = []
        self._job_marks: dict[str, tuple[int, str]] = {}
        self._drawers: dict[str, str] = {}
        self._needs: list[Need] = []
        self._access: dict[tuple[str, str | None], Access] = {}
        self._estimates: dict[str, EstimateEntry] = {}
        self._others: dict[str, dict[str, EstimateEntry]] = {}
        test_prints: set[str] = set()
        for job in jobs:
            self._add(job, test_prints)

    def pack(self, last_number: int) -> tuple[list[BatchRun], BatchBeds]:
        """Return the group's runs, numbered from ``last_number + 1``, and their totals."""
        timed = all(part.mark in self._estimates for part in self._parts)
        spec = made_as(self._jobs[0].spec, self._jobs[0].manifest)
        estimates = self._estimates if timed else None
        packed, work = pack_needs(
            spec, self._parts, self._needs, self._access, estimates, others=self._others, exact=True
        )
        runs = [self._run(run, last_number + run.number) for run in packed]
        long = tuple(dict.fromkeys(self._job_marks[mark][1] for mark in work.long_pieces))
        x, y, z = spec.printer.bed
        return runs, BatchBeds(
            bed=(x, y, z),
            entries=tuple(job.entry for job in self._jobs),
            runs=tuple(run.number for run in runs),
            work=work.model_copy(update={"long_pieces": long}),
        )

    def _add(self, job: BatchJob, test_prints: set[str]) -> None:
        """Add a job's parts, except the test prints whose digest is in ``test_prints`` already."""
        marks: dict[str, str] = {}
        for part in job.manifest.parts:
            if is_test_print(part.kind):
                if part.digest in test_prints:
                    continue
                test_prints.add(part.digest)
            if len(self._parts) >= _MOST_MARKS:
                raise ValueError(f"The jobs that share beds have more than {_MOST_MARKS} parts.")
            mark = marks[part.mark] = f"{part.mark[0]}{len(self._parts)}"
            self._parts.append(_BatchPart(mark, part.kind, part.size))
            self._job_marks[mark] = job.entry, part.mark
            self._add_estimates(part, mark)
        for (mark, drawer), count in _pieces(job.manifest.runs).items():
            if mark in marks:
                self._needs.append(Need(marks[mark], self._drawer(job, drawer), count))
        for (mark, drawer), access in access_of(job.spec, job.manifest.drawers).items():
            if mark in marks:
                self._access[marks[mark], self._drawer(job, drawer)] = access

    def _add_estimates(self, part: PartEntry, mark: str) -> None:
        if part.estimate is not None:
            self._estimates[mark] = part.estimate
        for entry in part.other_estimates:
            self._others.setdefault(entry.printers[0], {})[mark] = entry.estimate

    def _drawer(self, job: BatchJob, name: str | None) -> str | None:
        if name is None:
            return None
        unique = f"{job.entry} {name}"
        self._drawers[unique] = name
        return unique

    def _run(self, run: RunEntry, number: int) -> BatchRun:
        pieces = tuple(
            BatchPiece(
                entry=self._job_marks[piece.mark][0],
                mark=self._job_marks[piece.mark][1],
                at=piece.at,
                turn=piece.turn,
                drawer=None if piece.drawer is None else self._drawers[piece.drawer],
            )
            for piece in run.pieces
        )
        fields = {name: getattr(run, name) for name in RunEntry.model_fields}
        return BatchRun(**{**fields, "number": number, "pieces": pieces, "file": f"run-{number:02d}.3mf"})


def _pieces(runs: Iterable[RunEntry]) -> Counter[tuple[str, str | None]]:
    """Count the pieces of the runs by mark and drawer."""
    return Counter((piece.mark, piece.drawer) for run in runs for piece in run.pieces)


def _materials(jobs: Iterable[BatchJob]) -> tuple[Material, ...]:
    """Return each filament once, as the first job that uses it describes it."""
    materials: dict[tuple[str, str | None], Material] = {}
    for job in jobs:
        for material in job.spec.materials_of(part.kind for part in job.manifest.parts):
            materials.setdefault((material.name, material.colour), material)
    return tuple(materials.values())
