"""The standing: how many pieces of a job are printed, and which runs it has and had."""

from collections import Counter
from collections.abc import Iterable
from typing import Annotated, Literal, Self, TypeAlias

from pydantic import BaseModel, ConfigDict, Field

from worker.spec.manifest.manifest import Manifest, Mark, RunEntry, RunNumber

__all__ = ["RunRecord", "RunState", "Standing", "begin", "marks_of"]

#: open: to be printed. replaced: its pieces were packed afresh; it may be printed all the same, if it was begun.
RunState: TypeAlias = Literal["open", "printed", "failed", "replaced"]

_Counts: TypeAlias = dict[Mark, Annotated[int, Field(ge=0)]]


class _Fact(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class RunRecord(_Fact):
    """One run that the job has or had; ``failed`` are those of its pieces that failed in it."""

    run: RunEntry
    state: RunState = "open"
    planned: bool = True
    failed: _Counts = {}


class Standing(_Fact):
    """Where a job stands. Counts are by mark; a mark that is missing has none.

    ``printed`` are good pieces that there are, ``placed`` those of them in the drawer, ``failed`` all pieces that ever
    failed, ``laid`` all that ever took filament, good or not.
    """

    runs: tuple[RunRecord, ...]
    needed: _Counts
    printed: _Counts = {}
    placed: _Counts = {}
    failed: _Counts = {}
    laid: _Counts = {}
    next_run: RunNumber

    @property
    def left(self) -> Counter[str]:
        """Pieces that are to be printed, by mark."""
        return Counter(self.needed) - Counter(self.printed)

    @property
    def done(self) -> bool:
        """Whether nothing is left to be printed."""
        return not self.left

    @property
    def open(self) -> tuple[RunEntry, ...]:
        """The runs to be printed, by number."""
        return tuple(one.run for one in self.runs if one.state == "open")

    def find(self, number: int) -> RunRecord | None:
        """Return the run of this number, if the job ever had it."""
        return next((one for one in self.runs if one.run.number == number), None)

    def changed(self, number: int, **values: object) -> Self:
        """Return the standing with one run changed."""
        runs = tuple(one.model_copy(update=values) if one.run.number == number else one for one in self.runs)
        return self.model_copy(update={"runs": runs})


def begin(manifest: Manifest) -> Standing:
    """Return the standing of a job of which nothing is printed."""
    return Standing(
        runs=tuple(RunRecord(run=run) for run in manifest.runs),
        needed=dict(sorted(marks_of(manifest.runs).items())),
        next_run=max((run.number for run in manifest.runs), default=0) + 1,
    )


def marks_of(runs: Iterable[RunEntry]) -> Counter[str]:
    """Return how many pieces of each mark the runs have."""
    return Counter(one.mark for run in runs for one in run.pieces)
