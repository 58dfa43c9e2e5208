"""Patience: a connection whose next request does not arrive is closed, so that slow clients hold nothing for long."""

import asyncio
from typing import Any

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol

__all__ = ["patient"]


def patient(seconds: float) -> type[asyncio.Protocol]:
    """Return the server's protocol, which waits this long, or at most twice as long, for the head of a request."""

    class Patient(H11Protocol):
        """Looks from time to time whether it still waits for the same head."""

        _look: asyncio.TimerHandle | None = None
        _waited_after: Any = None
        _waits = False

        def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override] # as the server's own
            """Begin to wait."""
            super().connection_made(transport)
            self._waits = True
            self._look = self.loop.call_later(seconds, self._is_it_there)

        def connection_lost(self, exc: Exception | None) -> None:
            """Stop waiting."""
            if self._look is not None:
                self._look.cancel()
            super().connection_lost(exc)

        def _is_it_there(self) -> None:
            idle = self.cycle is None or self.cycle.response_complete
            waits = idle and self.conn.their_state is h11.IDLE
            if waits and self._waits and self._waited_after is self.cycle:
                self.transport.close()
                return
            self._waits, self._waited_after = waits, self.cycle
            self._look = self.loop.call_later(seconds, self._is_it_there)

    return Patient
