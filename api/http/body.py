"""The body of a request: a spec or other JSON, within bounds."""

import asyncio
from typing import TypeVar

from fastapi import Request
from starlette.concurrency import run_in_threadpool

from api.http.errors import BodyTooLarge, BodyTooSlow, BodyTypeRefused
from worker.spec import Spec, loads
from worker.spec.errors import DrawerwrightError, SpecError
from worker.spec.limits import check_size
from worker.spec.primitives.model import Noun
from worker.spec.reading.loader import load_as, parse, plainly

__all__ = ["check_type", "load_spec", "plain_spec", "read_json", "read_noun", "read_spec", "spec_body"]

_NounT = TypeVar("_NounT", bound=Noun)


async def read_spec(request: Request) -> Spec:
    """Return the spec in the body.

    Raises:
        BodyTypeRefused: when it is not plain JSON.
        BodyTooLarge: when it is larger than the settings allow.
        BodyTooSlow: when it is not there in time.
        SpecTooLarge: when it asks for more than a spec may.
        SpecError: with each problem of the spec.
    """
    body = await spec_body(request)
    return await run_in_threadpool(load_spec, body, request.app.state.settings.most_cells)


async def spec_body(request: Request) -> bytes:
    """Return the body, which is to be a spec; nobody has read it.

    Raises:
        BodyTypeRefused, BodyTooLarge, BodyTooSlow: as `read_spec`.
    """
    return await read_json(request, request.app.state.settings.largest_body, "Send it faster, or split the spec.")


async def read_json(request: Request, most: int, remedy: str | None = None) -> bytes:
    """Return the body, which says that it is JSON; nobody has read it.

    Raises:
        BodyTypeRefused: when it is not plain JSON.
        BodyTooLarge: when it has more bytes than ``most``.
        BodyTooSlow: when it is not there in time.
    """
    check_type(request, "application/json")
    settings = request.app.state.settings
    try:
        async with asyncio.timeout(settings.body_seconds):
            return await _read(request, most)
    except TimeoutError:
        raise BodyTooSlow(limit=f"{settings.body_seconds:g} s", remedy=remedy) from None


async def read_noun(
    request: Request, model: type[_NounT], most: int, refused: type[DrawerwrightError], subject: str
) -> _NounT:
    """Return what the body says, in the words of this model.

    Raises:
        BodyTypeRefused, BodyTooLarge, BodyTooSlow: as `read_json`.
        refused: with each problem; the ``subject`` is what it calls that which the body says.
    """
    body = await read_json(request, most)
    try:
        return load_as(model, parse(body))
    except SpecError as error:
        several = len(error.errors) > 1
        raise refused(
            f"The {subject} has {len(error.errors)} problems." if several else error.message,
            pointer=error.pointer,
            value=error.value,
            limit=error.limit,
            remedy=error.remedy,
            errors=error.errors,
        ) from None


def load_spec(body: bytes, most_cells: int) -> Spec:
    """Return the spec that a body says.

    Raises:
        SpecTooLarge: when it asks for more than a spec may.
        SpecError: with each problem of the spec.
    """
    spec = loads(body)
    check_size(spec, most_cells)
    return spec


def plain_spec(body: bytes, most_cells: int) -> Spec | None:
    """Return the spec of a short body that nothing is wrong with; None of any other, which takes longer to be read.

    Raises:
        SpecTooLarge: when it asks for more than a spec may.
    """
    spec = plainly(body)
    if spec is not None:
        check_size(spec, most_cells)
    return spec


def check_type(request: Request, *taken: str) -> str:
    """Return the media type of the body, which is one of these, in UTF-8 and in no coding.

    Raises:
        BodyTypeRefused: when it is not.
    """
    kind, *parameters = (one.strip().lower() for one in request.headers.get("content-type", "").split(";"))
    charsets = {one.partition("=")[2].strip('"') for one in parameters if one.startswith("charset=")}
    if kind not in taken or not charsets <= {"utf-8"}:
        limit = " or ".join(taken)
        remedy = f"Send Content-Type: {limit}, in UTF-8."
        raise BodyTypeRefused(value=request.headers.get("content-type"), limit=limit, remedy=remedy)
    coding = request.headers.get("content-encoding", "identity").strip().lower()
    if coding != "identity":
        raise BodyTypeRefused(value=coding, limit="identity", remedy="Send the body as it is, not compressed.")
    return kind


async def _read(request: Request, most: int) -> bytes:
    """Return the body, and stop reading as soon as it is too large."""
    told = request.headers.get("content-length", "")
    if told.isascii() and told.isdigit() and (len(told) > len(str(most)) or int(told) > most):
        raise BodyTooLarge(value=told, limit=f"at most {most} bytes")
    body = bytearray()
    async for piece in request.stream():
        body += piece
        if len(body) > most:
            raise BodyTooLarge(limit=f"at most {most} bytes")
    return bytes(body)
