"""How many event streams may be open at a time, and how long one may last."""

from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field

from worker.jobs.common.errors import QuotaReached

__all__ = ["StreamQuota"]


@dataclass
class StreamQuota:
    """Counts the open streams of this process by owner."""

    #: Seconds without an event after which a comment is sent.
    heartbeat: float = 15.0
    #: Seconds that a stream lasts; a client that connects again is authenticated again.
    max_seconds: float = 900.0
    max_open: int = 100
    max_open_per_owner: int = 20
    open: Counter[str] = field(default_factory=Counter)

    @contextmanager
    def slot(self, owner: str) -> Iterator[None]:
        """Count one more stream of this owner while this lasts.

        Raises:
            QuotaReached: when the owner, or all together, have too many.
        """
        if self.open[owner] >= self.max_open_per_owner or self.open.total() >= self.max_open:
            error = QuotaReached(
                "Too many streams are open.",
                value=self.open[owner],
                limit=f"{self.max_open_per_owner} per key, {self.max_open} in total",
                remedy="Close one, or wait for each job with Prefer: wait.",
            )
            error.wait = 10
            raise error
        self.open[owner] += 1
        try:
            yield
        finally:
            self.open[owner] -= 1
            self.open += Counter()  # drops owners without a stream
