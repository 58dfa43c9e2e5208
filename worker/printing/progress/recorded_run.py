"""A recorded run of a printer."""

from dataclasses import dataclass

__all__ = ["RecordedRun"]


@dataclass(frozen=True, slots=True)
class RecordedRun:
    """A recorded run: whether any of its pieces failed, and measured over estimated time, if it was measured."""

    printer: str
    failed: bool
    ratio: float | None = None
