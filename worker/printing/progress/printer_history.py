"""The history of a printer: how often its runs fail, and how long they take for each estimated second."""

from collections.abc import Iterable
from dataclasses import dataclass
from math import sqrt
from typing import Final

from worker.printing.estimating.process_settings import TIME_UNCERTAINTY, Correction
from worker.printing.progress.recorded_run import RecordedRun
from worker.printing.scheduling.reliability import Reliability

__all__ = ["PrinterHistory", "histories_of", "reliability_of"]

#: What is assumed before anything is recorded: about one run in twenty fails (common practice, from memory). It weighs
#: as much as 20 recorded runs.
_PRIOR_FAILED: Final = 1.0
_PRIOR_RUNS: Final = 20.0


@dataclass(frozen=True, slots=True)
class PrinterHistory:
    """How reliable a printer was.

    ``failure_rate`` is the mean of the beta distribution of a run's chance to fail, ``failure_uncertainty`` its
    standard deviation. ``time`` corrects the estimated times of its runs.
    """

    printer: str
    runs: int
    failed: int
    time: Correction

    @property
    def failure_rate(self) -> float:
        """The expected share of runs with a failed piece."""
        return (_PRIOR_FAILED + self.failed) / (_PRIOR_RUNS + self.runs)

    @property
    def failure_uncertainty(self) -> float:
        """The standard deviation of that share."""
        rate = self.failure_rate
        return sqrt(rate * (1.0 - rate) / (_PRIOR_RUNS + self.runs + 1.0))


def histories_of(
    records: Iterable[RecordedRun], printers: Iterable[str], stated: float | None = None
) -> tuple[PrinterHistory, ...]:
    """Return the history of each of these printers.

    Args:
        records: recorded runs of any printers.
        printers: their names.
        stated: the relative uncertainty of print times without measured runs; None for the estimates' own.
    """
    by_printer: dict[str, list[RecordedRun]] = {}
    for record in records:
        by_printer.setdefault(record.printer, []).append(record)
    uncertainty = TIME_UNCERTAINTY if stated is None else stated
    return tuple(
        PrinterHistory(
            name,
            runs=len(own),
            failed=sum(record.failed for record in own),
            time=Correction.of_ratios([record.ratio for record in own if record.ratio is not None], uncertainty),
        )
        for name in printers
        for own in (by_printer.get(name, []),)
    )


def reliability_of(histories: Iterable[PrinterHistory]) -> Reliability:
    """Return what the timetable takes from histories: the time factors, and the worst of the uncertainties."""
    own = tuple(histories)
    if not own:
        return Reliability(TIME_UNCERTAINTY, _PRIOR_FAILED / _PRIOR_RUNS)
    return Reliability(
        max(history.time.uncertainty for history in own),
        round(max(history.failure_rate + history.failure_uncertainty for history in own), 4),
        tuple((history.printer, history.time.factor) for history in own if history.time.factor != 1.0),
    )
