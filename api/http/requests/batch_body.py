"""The body of a batch: one JSON document, or a spec a line (NDJSON); each spec is read by itself as it arrives."""

import asyncio
from collections.abc import AsyncIterator, Callable, Iterator
from dataclasses import dataclass, field
from functools import partial
from typing import Any, Final

from fastapi import Request
from starlette.concurrency import run_in_threadpool

from api.app_state import state_of
from api.auth.access import caller_of
from api.http.problems.errors import BodyTooLarge, BodyTooSlow
from api.http.problems.status_codes import status_of
from api.http.requests.body import check_type, read_json
from worker.jobs.common.settings import Settings
from worker.jobs.job_service import JobService
from worker.jobs.records.batches import CheckedSpec
from worker.jobs.records.quotas import expected_bytes
from worker.spec import load
from worker.spec.errors import DrawerwrightError, SpecError
from worker.spec.limits import check_size
from worker.spec.reading.loader import load_as, parse
from worker.spec.requests.batch import MOST_SPECS, BatchRequest

__all__ = ["LINES_TYPE", "BatchOptions", "BatchSpecs", "read_batch"]

#: Newline-delimited JSON has no registered type; this is the usual one.
LINES_TYPE: Final = "application/x-ndjson"
_JSON: Final = "application/json"

#: A batch may take this many times as long to arrive as a spec.
_TIME_FACTOR: Final = 10

_FEWER: Final = "Send fewer specs at once."

_MAX_ERRORS: Final = 100
_MAX_NAME: Final = 80


@dataclass(frozen=True, slots=True)
class BatchOptions:
    """Options of a whole batch."""

    name: str = "batch"
    strict: bool = False
    split: bool = False


@dataclass(slots=True)
class BatchSpecs:
    """The specs of a batch in their order, each valid or refused."""

    options: BatchOptions
    entries: list[CheckedSpec] = field(default_factory=list)
    #: Why specs were refused, with pointers into the batch.
    errors: list[SpecError] = field(default_factory=list)

    def check(self) -> None:
        """Refuse a batch without a valid spec, and a strict one with a refused spec.

        Raises:
            SpecError: with each problem of each spec.
        """
        refused = sum(entry.text is None for entry in self.entries)
        if not self.entries:
            raise SpecError("The batch has no specs.", pointer="/specs", limit="at least one")
        if refused == len(self.entries) or (self.options.strict and refused):
            message = f"{refused} of {len(self.entries)} specs are refused."
            raise SpecError(message, pointer="/specs", errors=self.errors[:_MAX_ERRORS])


class _Reader:
    """Reads specs into a batch one by one; a bad one does not stop the others.

    ``resolve`` fills in the drawers and things of the household that a spec names by id.
    """

    def __init__(self, job_service: JobService, batch: BatchSpecs, resolve: Callable[[object], object]) -> None:
        self._job_service = job_service
        self._batch = batch
        self._resolve = resolve
        self._index = 0

    def line(self, text: bytes) -> None:
        """Read a line of NDJSON."""
        try:
            data = parse(text)
        except DrawerwrightError as error:
            self._refuse(None, error)
            self._index += 1
        else:
            self.document(data)

    def document(self, data: object) -> None:
        """Read a spec, or each of its drawers where the batch is split."""
        several = self._batch.options.split and _is_divisible(data)
        for document in _split(data) if several else [data]:
            if len(self._batch.entries) >= MOST_SPECS:
                raise BodyTooLarge("The batch has too many specs.", limit=f"at most {MOST_SPECS} specs", remedy=_FEWER)
            try:
                complete = self._resolve(document)
                spec = load(_named(complete) if several else complete)
                check_size(spec, self._job_service.settings.most_cells)
                self._job_service.check_cells(spec)
            except DrawerwrightError as error:
                self._refuse(_name(_named(document) if several else document), error)
            else:
                self._batch.entries.append(CheckedSpec(spec.name, spec.to_json(), None, expected_bytes(spec)))
        self._index += 1

    def _refuse(self, name: str | None, refused: DrawerwrightError) -> None:
        self._batch.entries.append(CheckedSpec(name, None, refused.problem(status=status_of(type(refused)))))
        for error in refused.errors or (refused,):
            if len(self._batch.errors) < _MAX_ERRORS:
                at = f"/specs/{self._index}{error.pointer or ''}"
                self._batch.errors.append(
                    SpecError(error.message, pointer=at, value=error.value, limit=error.limit, remedy=error.remedy)
                )


async def read_batch(request: Request, job_service: JobService, options: BatchOptions) -> BatchSpecs:
    """Return the batch in the body. A JSON document has its own options; NDJSON has those of the query.

    Raises:
        BodyTypeRefused: when it is neither JSON nor NDJSON.
        BodyTooLarge: when the body, a line or the count of specs is over its limit.
        BodyTooSlow: when it does not arrive in time.
        SpecError: when the document cannot be read, no spec is valid, or it is strict and one is refused.
    """
    settings = state_of(request.app).settings
    resolve = partial(job_service.household.resolve, owner=caller_of(request).sees)
    if check_type(request, _JSON, LINES_TYPE) == _JSON:
        try:
            body = await read_json(request, settings.largest_body, f"Send a spec a line ({LINES_TYPE}).")
        except BodyTooLarge as error:
            error.limit = f"at most {settings.largest_body} bytes as {_JSON}, {_in_lines(settings)}"
            error.remedy = f"Send a spec a line ({LINES_TYPE})."
            raise
        batch = await run_in_threadpool(_read_document, body, job_service, resolve)
    else:
        batch = BatchSpecs(options)
        reader = _Reader(job_service, batch, resolve)
        seconds = _TIME_FACTOR * settings.body_seconds
        try:
            async with asyncio.timeout(seconds):
                async for line in _lines(request, settings.largest_body, settings.largest_batch):
                    await run_in_threadpool(reader.line, line)
        except TimeoutError:
            raise BodyTooSlow(limit=f"{seconds:g} s", remedy=_FEWER) from None
    batch.check()
    return batch


def _read_document(body: bytes, job_service: JobService, resolve: Callable[[object], object]) -> BatchSpecs:
    document = load_as(BatchRequest, parse(body))
    batch = BatchSpecs(BatchOptions(document.name, document.strict, document.split))
    reader = _Reader(job_service, batch, resolve)
    for spec in document.specs:
        reader.document(spec)
    return batch


async def _lines(request: Request, max_line: int, max_body: int) -> AsyncIterator[bytes]:
    """Yield the lines of the body that are not blank; no more than one line is held in memory."""
    rest, count = bytearray(), 0
    async for chunk in request.stream():
        count += len(chunk)
        if count > max_body:
            raise BodyTooLarge(limit=f"at most {max_line} bytes a line and {max_body} bytes in all", remedy=_FEWER)
        rest += chunk
        *complete, last = rest.split(b"\n") if b"\n" in chunk else [rest]
        for line in complete:
            _check_line(line, max_line, max_body)
            if line.strip():
                yield bytes(line)
        rest = bytearray(last)
        _check_line(rest, max_line, max_body)
    if rest.strip():
        yield bytes(rest)


def _check_line(line: bytearray, max_line: int, max_body: int) -> None:
    if len(line) > max_line:
        limit = f"at most {max_line} bytes a line and {max_body} bytes in all"
        raise BodyTooLarge("A line is too large.", limit=limit, remedy="Split the spec.")


def _in_lines(settings: Settings) -> str:
    return f"or {settings.largest_batch} bytes as {LINES_TYPE} with at most {settings.largest_body} a line"


def _is_divisible(data: object) -> bool:
    """Return whether a spec has several drawers, none of which depends on another; shared items would."""
    drawers = data.get("drawers") if isinstance(data, dict) else None
    return isinstance(data, dict) and isinstance(drawers, list) and len(drawers) > 1 and not data.get("items")


def _split(data: Any) -> Iterator[object]:
    """Yield a spec for each drawer."""
    for drawer in data["drawers"]:
        yield {**data, "drawers": [drawer]}


def _named(data: Any) -> object:
    """Return the spec of one drawer, named after it too."""
    (drawer,) = data["drawers"]
    name = drawer.get("name") if isinstance(drawer, dict) else None
    return {**data, "name": f"{data['name']}: {name}"[:_MAX_NAME]} if isinstance(data.get("name"), str) else data


def _name(data: object) -> str | None:
    name = data.get("name") if isinstance(data, dict) else None
    return name[:_MAX_NAME] if isinstance(name, str) else None
