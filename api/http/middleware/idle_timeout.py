"""Idle timeout: a connection whose next request does not arrive is closed.

The server's own ``timeout_keep_alive`` begins only after a response: a client that sends no request, or half of the
head of one, could hold its connection indefinitely.
"""

import asyncio
from typing import Any

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol

__all__ = ["idle_timeout_protocol"]


def idle_timeout_protocol(seconds: float) -> type[asyncio.Protocol]:
    """Return the server's protocol with a limit, of once to twice this time, for the head of a request to arrive."""

    class IdleTimeoutProtocol(H11Protocol):
        """Checks at this interval whether it is still waiting for the same head."""

        _timer: asyncio.TimerHandle | None = None
        _last_cycle: Any = None
        _was_waiting = False

        def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override] # as the server's own
            """Start the timer."""
            super().connection_made(transport)
            self._was_waiting = True
            self._timer = self.loop.call_later(seconds, self._check)

        def connection_lost(self, exc: Exception | None) -> None:
            """Stop the timer."""
            if self._timer is not None:
                self._timer.cancel()
            super().connection_lost(exc)

        def _check(self) -> None:
            idle = self.cycle is None or self.cycle.response_complete
            waiting = idle and self.conn.their_state is h11.IDLE
            if waiting and self._was_waiting and self._last_cycle is self.cycle:
                self.transport.close()
                return
            self._was_waiting, self._last_cycle = waiting, self.cycle
            self._timer = self.loop.call_later(seconds, self._check)

    return IdleTimeoutProtocol
