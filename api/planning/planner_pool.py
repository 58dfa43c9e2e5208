"""The planner processes of a service: started on demand, ended when idle."""

import asyncio
import logging
from contextlib import suppress
from typing import Final

from api.planning.fair_queue import FairQueue
from api.planning.planner_process import PlannerProcess
from worker.jobs.common.principal import LOCAL, Principal
from worker.jobs.common.settings import Settings
from worker.spec.errors import DrawerwrightError, SpecError

__all__ = ["PlannerPool"]

_log = logging.getLogger(__name__)

#: Requests of one key that may wait, for each planner that it may have, and of all keys for each planner.
_WAITING_PER_TURN: Final = 8
_WAITING_PER_PLANNER: Final = 32

#: Seconds that a plan goes on after its client has left. Most end by then, and a new planner takes longer to load.
_ABANDONED_SECONDS: Final = 0.5


class PlannerPool:
    """Makes plans in processes that can be stopped."""

    def __init__(self, settings: Settings, *, idle_seconds: float = 60.0) -> None:
        """Create a pool without processes; a planner that was idle for ``idle_seconds`` ends."""
        self._settings = settings
        self._idle_seconds = idle_seconds
        self._queue = FairQueue(
            settings.planners,
            waiting_per_turn=_WAITING_PER_TURN,
            waiting_in_all=_WAITING_PER_PLANNER * settings.planners,
        )
        self._idle: list[PlannerProcess] = []
        self._busy: set[asyncio.Task[bytes]] = set()
        self._ending: dict[PlannerProcess, asyncio.Task[None]] = {}

    @property
    def waiting(self) -> int:
        """The number of plans that wait for a planner."""
        return self._queue.waiting

    @property
    def pids(self) -> list[int]:
        """The process ids of idle planners."""
        return [planner.pid for planner in self._idle]

    async def plan(self, spec: bytes, caller: Principal) -> bytes:
        """Return the plan document of a validated spec as JSON.

        If this call is cancelled, the plan is stopped soon.

        Raises:
            LayoutError: when the spec cannot be laid out.
            PlansBusy: when too many plans wait.
            PlanTooCostly: when it takes too long or too much memory.
            InternalError: when the planner failed.
        """
        # one key never has all planners; the only caller of a service without keys may
        share = self._settings.planners if caller is LOCAL else max(1, self._settings.planners - 1)
        await self._queue.enter(caller.owner, share, self._settings.plan_seconds)
        work = asyncio.create_task(self._make(spec, caller.owner))
        self._busy.add(work)
        work.add_done_callback(self._busy.discard)
        try:
            return await asyncio.shield(work)
        except asyncio.CancelledError:
            asyncio.get_running_loop().call_later(_ABANDONED_SECONDS, work.cancel)
            work.add_done_callback(_consume)
            raise

    async def close(self) -> None:
        """End all planners."""
        busy = list(self._busy)
        for work in busy:
            work.cancel()
        await asyncio.gather(*busy, return_exceptions=True)
        for ending in list(self._ending.values()):
            ending.cancel()
        await asyncio.gather(*self._ending.values(), return_exceptions=True)
        idle, self._idle = self._idle, []
        for planner in idle:
            await planner.kill()

    async def _make(self, spec: bytes, owner: str) -> bytes:
        with self._queue.held_by(owner):
            planner = await self._planner()
            try:
                document = await planner.plan(spec, self._settings.plan_seconds)
            except SpecError:  # the planner can make further plans
                self._rest(planner)
                raise
            except BaseException:
                await asyncio.shield(planner.kill())
                raise
            self._rest(planner)
            return document

    async def _planner(self) -> PlannerProcess:
        while self._idle:
            planner = self._idle.pop()
            if (ending := self._ending.pop(planner, None)) is not None:
                ending.cancel()
            if planner.alive:
                return planner
            await planner.kill()
        return await PlannerProcess.start(self._settings)

    def _rest(self, planner: PlannerProcess) -> None:
        self._idle.append(planner)
        self._ending[planner] = asyncio.create_task(self._end_when_idle(planner))

    async def _end_when_idle(self, planner: PlannerProcess) -> None:
        await asyncio.sleep(self._idle_seconds)
        self._ending.pop(planner, None)
        self._idle.remove(planner)
        await planner.kill()


def _consume(work: "asyncio.Task[bytes]") -> None:
    """Retrieve the result of an abandoned plan, as asyncio requires."""
    with suppress(asyncio.CancelledError, DrawerwrightError):
        work.result()
