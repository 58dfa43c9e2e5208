"""Polling of a service for silhouettes that changed."""

from dataclasses import dataclass, field
from datetime import datetime, timedelta
from itertools import islice
from typing import Final

from api.command.service.client import Client
from api.documents.silhouettes import SilhouetteDocument

__all__ = ["SilhouettePoller"]

#: Most silhouettes that are read in a poll.
_MOST: Final = 200

#: A change can become visible this long after its time: clocks differ, and transactions take time.
_MAX_DELAY: Final = timedelta(seconds=10)

#: How long the state of a silhouette is published again after a change.
_RECENT: Final = timedelta(hours=1)


@dataclass(slots=True)
class SilhouettePoller:
    """Polls the silhouettes of one service."""

    client: Client
    #: Those that changed within the last hour.
    recent: dict[str, SilhouetteDocument] = field(default_factory=dict)
    _since: datetime | None = field(default=None)

    def poll(self, now: datetime) -> list[SilhouetteDocument]:
        """Return the silhouettes that changed since the last poll, the earliest first; none at the first poll.

        Raises:
            ServiceRefused, ServiceUnreachable: from the client; the next poll returns the same silhouettes.
        """
        since = self._since or now
        listed = self.client.silhouettes(changed_after=since - _MAX_DELAY)
        seen = sorted(islice(listed, _MOST), key=lambda silhouette: silhouette.updated)
        changed = [silhouette for silhouette in seen if self.recent.get(silhouette.id) != silhouette]
        first = self._since is None
        self._since = max([since, *(silhouette.updated for silhouette in seen)])
        every = self.recent | {silhouette.id: silhouette for silhouette in seen}
        self.recent = {name: silhouette for name, silhouette in every.items() if silhouette.updated > now - _RECENT}
        return [] if first else changed
