"""Polling of a service for batches that have ended."""

from dataclasses import dataclass, field
from datetime import datetime, timedelta
from itertools import islice
from typing import Final

from api.command.service.client import Client, ServiceRefused
from api.documents.batches import BatchOverview

__all__ = ["BatchPoller"]

#: Most batches that are polled.
_MAX_BATCHES: Final = 500


@dataclass(slots=True)
class BatchPoller:
    """Polls the batches of one service that were submitted within ``retention``."""

    client: Client
    retention: timedelta
    #: Batches seen and whether they had ended, None before the first poll.
    _ended: dict[str, bool] | None = field(default=None)
    #: Batches that ended, with an event still to be published.
    _unpublished: list[str] = field(default_factory=list)

    def poll(self, now: datetime) -> list[BatchOverview]:
        """Return the batches that ended since the last poll, the oldest first; none at the first poll.

        Raises:
            ServiceRefused, ServiceUnreachable: from the client; the next poll returns the same batches.
        """
        before = self._ended or {}
        running = {batch_id for batch_id, ended in before.items() if not ended}
        seen: dict[str, bool] = {}
        for batch in islice(self.client.batches(), _MAX_BATCHES):
            seen[batch.id] = batch.state == "ended"
            # older batches than this one had all ended at the last poll
            if batch.created < now - self.retention or (before.get(batch.id) and running <= seen.keys()):
                break
        if self._ended is not None:
            self._unpublished += [
                batch_id for batch_id in reversed(seen) if seen[batch_id] and not before.get(batch_id, False)
            ]
        recent = sorted((before.keys() - running) | seen.keys())[-_MAX_BATCHES:]
        self._ended = {batch_id: seen.get(batch_id, True) for batch_id in recent}
        return self._take_unpublished()

    def _take_unpublished(self) -> list[BatchOverview]:
        batches: list[BatchOverview] = []
        for batch_id in self._unpublished:
            try:
                batches.append(self.client.batch(batch_id))
            except ServiceRefused as refused:
                if not refused.is_client_error or refused.retryable:
                    raise
        self._unpublished.clear()
        return batches
