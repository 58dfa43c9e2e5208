"""A queue for a number of turns in which owners, not requests, take turns."""

import asyncio
from collections import Counter, OrderedDict, deque
from collections.abc import Iterator
from contextlib import contextmanager

from api.http.problems.errors import PlansBusy

__all__ = ["FairQueue"]


class FairQueue:
    """Gives every waiting owner a turn before any of them gets a second one. Only the event loop uses it."""

    def __init__(self, turns: int, *, waiting_per_turn: int, waiting_in_all: int) -> None:
        """Hand out this many turns at a time.

        Args:
            turns: turns that can be held at a time.
            waiting_per_turn: requests of one owner that may wait, for each turn that it may hold.
            waiting_in_all: requests of all owners that may wait.
        """
        self._turns = turns
        self._per_turn = waiting_per_turn
        self._in_all = waiting_in_all
        self._held: Counter[str] = Counter()
        self._waiting: OrderedDict[str, deque[tuple[asyncio.Future[None], int]]] = OrderedDict()

    @property
    def waiting(self) -> int:
        """The number of requests that wait."""
        return sum(len(waiters) for waiters in self._waiting.values())

    @property
    def held(self) -> int:
        """The number of turns that are held."""
        return self._held.total()

    async def enter(self, owner: str, share: int, seconds: float) -> None:
        """Wait for a turn; `leave` ends it.

        Args:
            owner: the owner of the request.
            share: turns that the owner may hold at a time.
            seconds: how long to wait.

        Raises:
            PlansBusy: when too many wait, or no turn came in time.
        """
        if self._has_room(owner, share):
            self._held[owner] += 1
            return
        own = len(self._waiting.get(owner, ()))
        most = share * self._per_turn
        if own >= most or self.waiting >= self._in_all:
            raise PlansBusy(value=own, limit=f"at most {most} waiting per key, {self._in_all} in total")
        turn: asyncio.Future[None] = asyncio.get_running_loop().create_future()
        self._waiting.setdefault(owner, deque()).append((turn, share))
        try:
            async with asyncio.timeout(seconds):
                await turn
        except BaseException as error:
            if turn.done() and not turn.cancelled():  # it came at the same moment
                self.leave(owner)
            else:
                self._withdraw(owner, turn, share)
            if isinstance(error, TimeoutError):
                raise PlansBusy("No planner was free in time.", limit=f"{seconds:g} s") from None
            raise

    def leave(self, owner: str) -> None:
        """End a turn, and hand out turns to waiting owners."""
        self._held[owner] -= 1
        self._held += Counter()  # drops owners without a turn
        for owner_waiting, turn in self._next():
            self._held[owner_waiting] += 1
            turn.set_result(None)

    @contextmanager
    def held_by(self, owner: str) -> Iterator[None]:
        """End the turn of this owner when this ends."""
        try:
            yield
        finally:
            self.leave(owner)

    def _has_room(self, owner: str, share: int) -> bool:
        return self.held < self._turns and self._held[owner] < share

    def _next(self) -> Iterator[tuple[str, "asyncio.Future[None]"]]:
        """Yield the owners that get a turn now; each then goes behind the others."""
        progress = True
        while progress:
            progress = False
            for owner, waiters in list(self._waiting.items()):
                if not self._has_room(owner, waiters[0][1]):
                    continue
                turn, share = waiters[0]
                self._withdraw(owner, turn, share)
                if owner in self._waiting:
                    self._waiting.move_to_end(owner)
                if not turn.done():
                    progress = True
                    yield owner, turn

    def _withdraw(self, owner: str, turn: "asyncio.Future[None]", share: int) -> None:
        waiters = self._waiting[owner]
        waiters.remove((turn, share))
        if not waiters:
            del self._waiting[owner]
