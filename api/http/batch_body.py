"""The body of a batch: one JSON document, or a spec a line (NDJSON), each judged by itself as it comes."""

import asyncio
from collections.abc import AsyncIterator, Iterator
from dataclasses import dataclass, field
from typing import Final

from fastapi import Request
from starlette.concurrency import run_in_threadpool

from api.http.body import check_type, read_json
from api.http.errors import BodyTooLarge, BodyTooSlow
from api.http.status_codes import status_of
from worker.jobs.job_service import JobService
from worker.jobs.records.batches import CheckedSpec
from worker.spec import load
from worker.spec.errors import DrawerwrightError, SpecError
from worker.spec.limits import check_size
from worker.spec.reading.loader import load_as, parse
from worker.spec.requests.batch import MOST_SPECS, BatchRequest

__all__ = ["LINES_TYPE", "BatchOptions", "GivenBatch", "read_batch"]

#: Newline-delimited JSON has no registered type; this is the usual one.
LINES_TYPE: Final = "application/x-ndjson"
_JSON: Final = "application/json"

#: A batch may take so many times as long as a spec to be sent.
_PATIENCE: Final = 10

_MOST_ERRORS: Final = 100
_LONGEST_NAME: Final = 80


@dataclass(frozen=True, slots=True)
class BatchOptions:
    """What is said of a whole batch."""

    name: str = "batch"
    strict: bool = False
    split: bool = False


@dataclass(slots=True)
class GivenBatch:
    """A batch as it was read: its specs, judged, in their order."""

    options: BatchOptions
    specs: list[CheckedSpec] = field(default_factory=list)
    #: Why specs were refused, with pointers into the batch.
    errors: list[SpecError] = field(default_factory=list)

    def settle(self) -> None:
        """Refuse the batch where it has nothing to make, or is strict and something was refused.

        Raises:
            SpecError: with each problem of each spec.
        """
        refused = sum(one.text is None for one in self.specs)
        if not self.specs:
            raise SpecError("The batch has no specs.", pointer="/specs", limit="at least one")
        if refused == len(self.specs) or (self.options.strict and refused):
            message = f"{refused} of {len(self.specs)} specs are refused."
            raise SpecError(message, pointer="/specs", errors=self.errors[:_MOST_ERRORS])


class _Judge:
    """Judges specs one by one, each as if it had come alone."""

    def __init__(self, job_service: JobService, given: GivenBatch) -> None:
        self._job_service = job_service
        self._given = given
        self._place = 0

    def line(self, text: bytes) -> None:
        """Judge a line of NDJSON."""
        try:
            data = parse(text)
        except DrawerwrightError as refused:
            self._refuse(None, refused)
            self._place += 1
        else:
            self.document(data)

    def document(self, data: object) -> None:
        """Judge what a spec says; split, each of its drawers."""
        for one in _split(data) if self._given.options.split else [data]:
            if len(self._given.specs) >= MOST_SPECS:
                raise BodyTooLarge("The batch has too many specs.", limit=f"at most {MOST_SPECS} specs")
            try:
                spec = load(one)
                check_size(spec, self._job_service.settings.most_cells)
                self._job_service.check_cells(spec)
            except DrawerwrightError as refused:
                self._refuse(_name(one), refused)
            else:
                self._given.specs.append(CheckedSpec(spec.name, spec.to_json()))
        self._place += 1

    def _refuse(self, name: str | None, refused: DrawerwrightError) -> None:
        self._given.specs.append(CheckedSpec(name, None, refused.problem(status=status_of(type(refused)))))
        for one in refused.errors or (refused,):
            if len(self._given.errors) < _MOST_ERRORS:
                at = f"/specs/{self._place}{one.pointer or ''}"
                self._given.errors.append(
                    SpecError(one.message, pointer=at, value=one.value, limit=one.limit, remedy=one.remedy)
                )


async def read_batch(request: Request, job_service: JobService, options: BatchOptions) -> GivenBatch:
    """Return the batch in the body. A document has its own options; lines have those of the address.

    Raises:
        BodyTypeRefused: when it is neither JSON nor NDJSON.
        BodyTooLarge: when the body, a line or the count of specs is over its limit.
        BodyTooSlow: when it is not there in time.
        SpecError: when the document cannot be read, nothing in it is good, or it is strict and something is not.
    """
    settings = request.app.state.settings
    if check_type(request, _JSON, LINES_TYPE) == _JSON:
        body = await read_json(request, settings.largest_body, f"Send a spec a line ({LINES_TYPE}).")
        given = await run_in_threadpool(_read, body, job_service)
    else:
        given = GivenBatch(options)
        judge = _Judge(job_service, given)
        seconds = _PATIENCE * settings.body_seconds
        try:
            async with asyncio.timeout(seconds):
                async for line in _lines(request, settings.largest_body, settings.largest_batch):
                    await run_in_threadpool(judge.line, line)
        except TimeoutError:
            raise BodyTooSlow(limit=f"{seconds:g} s", remedy="Send fewer specs at once.") from None
    given.settle()
    return given


def _read(body: bytes, job_service: JobService) -> GivenBatch:
    asked = load_as(BatchRequest, parse(body))
    given = GivenBatch(BatchOptions(asked.name, asked.strict, asked.split))
    judge = _Judge(job_service, given)
    for one in asked.specs:
        judge.document(one)
    return given


async def _lines(request: Request, longest: int, most: int) -> AsyncIterator[bytes]:
    """Yield the lines of the body that are not blank; no more of it is kept than the line under way."""
    rest, count = bytearray(), 0
    async for piece in request.stream():
        count += len(piece)
        if count > most:
            raise BodyTooLarge(limit=f"at most {most} bytes in all")
        rest += piece
        *whole, last = rest.split(b"\n") if b"\n" in piece else [rest]
        for line in whole:
            _check_line(line, longest)
            if line.strip():
                yield bytes(line)
        rest = bytearray(last)
        _check_line(rest, longest)
    if rest.strip():
        yield bytes(rest)


def _check_line(line: bytearray, longest: int) -> None:
    if len(line) > longest:
        raise BodyTooLarge("A line is too large.", limit=f"at most {longest} bytes a line")


def _split(data: object) -> Iterator[object]:
    """Yield a spec for each drawer; what is no spec of several drawers as it is."""
    drawers = data.get("drawers") if isinstance(data, dict) else None
    if not isinstance(data, dict) or not isinstance(drawers, list) or len(drawers) < 2:  # noqa: PLR2004 - several
        yield data
        return
    if data.get("items"):  # things shared out over all drawers hold them together
        yield data
        return
    for drawer in drawers:
        name = drawer.get("name") if isinstance(drawer, dict) else None
        own = f"{data.get('name')}: {name}"[:_LONGEST_NAME]
        yield {**data, "name": own if isinstance(data.get("name"), str) else data.get("name"), "drawers": [drawer]}


def _name(data: object) -> str | None:
    name = data.get("name") if isinstance(data, dict) else None
    return name[:_LONGEST_NAME] if isinstance(name, str) else None
