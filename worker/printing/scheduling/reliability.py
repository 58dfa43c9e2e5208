"""How far a timetable can be trusted: uncertain print times, and runs that fail."""

from dataclasses import dataclass

__all__ = ["Reliability"]


@dataclass(frozen=True, slots=True)
class Reliability:
    """The relative uncertainty of print times, the share of runs that may fail, and time factors by printer name."""

    time_uncertainty: float
    failure_rate: float
    time_factors: tuple[tuple[str, float], ...] = ()
