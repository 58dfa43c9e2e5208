"""A planner process, controlled by the service's event loop."""

import asyncio
import logging
import sys
from asyncio.subprocess import PIPE, Process
from contextlib import suppress
from typing import Final, Self

import orjson

from api.http.problems.errors import PlanTooCostly
from api.http.problems.status_codes import problem_kinds
from worker.jobs.common.errors import InternalError
from worker.jobs.common.settings import Settings
from worker.jobs.execution.frames import HEADER, packed
from worker.jobs.processes.child_environment import child_environment
from worker.spec.errors import DrawerwrightError

__all__ = ["PlannerProcess"]

_log = logging.getLogger(__name__)

#: Seconds within which a planner must have loaded its libraries, on a slow machine.
_START_SECONDS: Final = 60.0

_REMEDY: Final = "Submit the spec as a job: POST /v1/jobs."


class PlannerProcess:
    """Makes one plan at a time. Once `plan` has raised anything but an error of the spec, it can only be killed."""

    def __init__(self, process: Process, memory: int) -> None:
        """Talk to this process; `start` starts one."""
        self._process = process
        self._memory = memory

    @classmethod
    async def start(cls, settings: Settings) -> Self:
        """Start a planner and wait until it has loaded its libraries.

        Raises:
            InternalError: when it does not start.
        """
        process = await asyncio.create_subprocess_exec(
            *(sys.executable, "-P", "-m", "api.planning.planner", str(settings.job_memory)),
            stdin=PIPE,
            stdout=PIPE,
            env=child_environment(settings),
            start_new_session=True,  # the parent handles Ctrl-C
        )
        planner = cls(process, settings.job_memory)
        try:
            async with asyncio.timeout(_START_SECONDS):
                await planner._receive()
        except TimeoutError as error:
            await planner.kill()
            raise InternalError("A planner process did not start.", limit=f"{_START_SECONDS:g} s") from error
        except BaseException:
            await planner.kill()
            raise
        return planner

    @property
    def pid(self) -> int:
        """The process id."""
        return self._process.pid

    @property
    def alive(self) -> bool:
        """Whether the process runs."""
        return self._process.returncode is None

    async def plan(self, spec: bytes, seconds: float) -> bytes:
        """Return the plan document of a validated spec as JSON.

        Raises:
            LayoutError: when the spec cannot be laid out.
            PlanTooCostly: when it takes longer than ``seconds``, or more memory than a job may have.
            InternalError: when the process has ended, or failed.
        """
        try:
            async with asyncio.timeout(seconds):
                kind, content = await self._exchange(b"S", spec)
        except TimeoutError:
            raise PlanTooCostly(limit=f"{seconds:g} s", remedy=_REMEDY) from None
        if kind == b"P":
            return content
        if kind == b"E":
            raise _error(orjson.loads(content))
        if kind == b"M":
            raise PlanTooCostly(limit=f"{self._memory} bytes of memory", remedy="Split the spec.")
        _log.error("A plan failed: %s", content.decode())
        raise InternalError

    async def kill(self) -> None:
        """End the process at once."""
        with suppress(ProcessLookupError):
            self._process.kill()
        if self._process.stdin is not None:
            self._process.stdin.close()
        await self._process.wait()

    async def _exchange(self, kind: bytes, spec: bytes) -> tuple[bytes, bytes]:
        stdin = self._process.stdin
        if stdin is None:
            raise InternalError
        try:
            stdin.write(packed(kind, spec))
            await stdin.drain()
        except (BrokenPipeError, ConnectionResetError) as error:
            raise InternalError from error
        return await self._receive()

    async def _receive(self) -> tuple[bytes, bytes]:
        stdout = self._process.stdout
        if stdout is None:
            raise InternalError
        try:
            kind, length = HEADER.unpack(await stdout.readexactly(HEADER.size))
            return kind, await stdout.readexactly(length)
        except asyncio.IncompleteReadError as error:
            _log.error("Planner process %d has ended.", self.pid)
            raise InternalError from error


def _error(fields: dict[str, object]) -> DrawerwrightError:
    """Return the error in a planner's answer."""
    slug, errors = fields.pop("slug"), fields.pop("errors")
    made = [_of(DrawerwrightError, single) for single in errors] if isinstance(errors, list) else []
    error = _of(problem_kinds().get(str(slug), InternalError), fields)
    error.errors = tuple(made)
    return error


def _of(kind: type[DrawerwrightError], fields: dict[str, object]) -> DrawerwrightError:
    def text(name: str) -> str | None:
        value = fields.get(name)
        return value if isinstance(value, str) else None

    return kind(
        text("detail"),
        pointer=text("pointer"),
        value=fields.get("value"),
        limit=text("limit"),
        remedy=text("remedy"),
        part=text("part"),
    )
