"""The print state of a job: how many pieces are printed, and all runs that it has or had."""

from collections import Counter
from collections.abc import Iterable, Sequence
from typing import Annotated, Any, Literal, Self, TypeAlias

from pydantic import BaseModel, ConfigDict, Field, model_validator

from worker.spec.manifest import Manifest, Mark, RunEntry, RunNumber

__all__ = ["PrintState", "RunRecord", "RunState", "begin", "marks_of"]

#: open: to be printed. replaced: its pieces were repacked into other runs; one already started may still be printed.
RunState: TypeAlias = Literal["open", "printed", "failed", "replaced"]

_Counts: TypeAlias = dict[Mark, Annotated[int, Field(ge=0)]]


class _Model(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class RunRecord(_Model):
    """One run that the job has or had.

    ``planned`` runs are the manifest's, others were repacked; ``failed`` counts the pieces that failed in the run.
    """

    run: RunEntry
    state: RunState = "open"
    planned: bool = True
    failed: _Counts = {}


class PrintState(_Model):
    """The print state of a job. Counts are by mark; a missing mark counts zero.

    ``printed`` counts the good pieces at hand and ``placed`` those of them in the drawer. ``failed`` counts all pieces
    that ever failed, ``laid`` all that ever used filament, good or not. ``clearances`` are what coupons showed, in mm,
    by the first name of each class of printers that are alike; "" stands for all, as in a job of one.
    """

    runs: tuple[RunRecord, ...]
    needed: _Counts
    printed: _Counts = {}
    placed: _Counts = {}
    failed: _Counts = {}
    laid: _Counts = {}
    next_run: RunNumber
    clearances: dict[str, Annotated[float, Field(gt=0)]] = {}

    @model_validator(mode="before")
    @classmethod
    def _without_clearance(cls, values: Any) -> Any:
        """Read old records: of the time when a job had one reading, or stored the greatest beside all."""
        if not (isinstance(values, dict) and "clearance" in values):
            return values
        clearance = values["clearance"]
        others = {name: value for name, value in values.items() if name != "clearance"}
        return others if clearance is None or others.get("clearances") else {**others, "clearances": {"": clearance}}

    @property
    def clearance(self) -> float | None:
        """The greatest clearance that a coupon showed, in mm; None until one is recorded."""
        return max(self.clearances.values(), default=None)

    def reading(self, printers: Sequence[str]) -> float | None:
        """Return the clearance that the coupon of these printers showed, in mm; None until it is recorded."""
        return self.clearances.get(printers[0] if printers else "", self.clearances.get(""))

    @property
    def left(self) -> Counter[str]:
        """The pieces still to print, by mark."""
        return Counter(self.needed) - Counter(self.printed)

    @property
    def done(self) -> bool:
        """Whether nothing is left to print."""
        return not self.left

    @property
    def open(self) -> tuple[RunEntry, ...]:
        """The runs to print, in the order of their numbers."""
        return tuple(record.run for record in self.runs if record.state == "open")

    def find(self, number: int) -> RunRecord | None:
        """Return the record of the run with this number, None when the job never had it."""
        return next((record for record in self.runs if record.run.number == number), None)

    def changed(self, number: int, **values: object) -> Self:
        """Return the state with these fields of one run's record changed."""
        runs = tuple(
            record.model_copy(update=values) if record.run.number == number else record for record in self.runs
        )
        return self.model_copy(update={"runs": runs})


def begin(manifest: Manifest) -> PrintState:
    """Return the print state of a job of which nothing is printed."""
    return PrintState(
        runs=tuple(RunRecord(run=run) for run in manifest.runs),
        needed=dict(sorted(marks_of(manifest.runs).items())),
        next_run=max((run.number for run in manifest.runs), default=0) + 1,
    )


def marks_of(runs: Iterable[RunEntry]) -> Counter[str]:
    """Count the pieces of the runs by mark."""
    return Counter(piece.mark for run in runs for piece in run.pieces)
