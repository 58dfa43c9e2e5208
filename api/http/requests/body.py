"""The body of a request: a spec or other JSON, within bounds."""

import asyncio
from collections.abc import Callable
from functools import partial
from typing import TypeAlias, TypeVar

from fastapi import Request

from api.app_state import state_of
from api.auth.access import caller_of
from api.http.problems.errors import BodyTooLarge, BodyTooSlow, BodyTypeRefused
from worker.spec import Spec, load
from worker.spec.errors import DrawerwrightError, SpecError
from worker.spec.limits import check_size
from worker.spec.primitives.model import Noun
from worker.spec.reading.json_limits import SPEC_LIMITS, JsonLimits
from worker.spec.reading.loader import load_as, parse

__all__ = [
    "SpecReader",
    "check_type",
    "load_noun",
    "read_body",
    "read_json",
    "read_noun",
    "receive_spec",
]

_NounT = TypeVar("_NounT", bound=Noun)

#: Reads a spec from a body that has arrived. It is called in a thread, and raises `SpecTooLarge` if the spec exceeds
#: the limits of one job, `DrawerNotFound` or `ThingNotFound` if it names one that the caller's household lacks, or
#: `SpecError` with each problem.
SpecReader: TypeAlias = Callable[[], Spec]


async def receive_spec(request: Request) -> SpecReader:
    """Return a reader of the spec in the body.

    Raises:
        BodyTypeRefused: when it is not plain JSON.
        BodyTooLarge: when it is larger than the settings allow.
        BodyTooSlow: when it does not arrive in time.
    """
    state = state_of(request.app)
    body = await read_json(request, state.settings.largest_body, "Send it faster, or split the spec.")
    resolved = partial(state.job_service.household.resolve, owner=caller_of(request).sees)
    return partial(_load_spec, body, state.settings.most_cells, resolved)


async def read_json(request: Request, most: int, remedy: str | None = None) -> bytes:
    """Return the bytes of a body that is declared to be JSON; they are not parsed.

    Raises:
        BodyTypeRefused: when it is not plain JSON.
        BodyTooLarge: when it has more bytes than ``most``.
        BodyTooSlow: when it does not arrive in time.
    """
    check_type(request, "application/json")
    settings = state_of(request.app).settings
    try:
        async with asyncio.timeout(settings.body_seconds):
            return await read_body(request, most)
    except TimeoutError:
        raise BodyTooSlow(limit=f"{settings.body_seconds:g} s", remedy=remedy) from None


async def read_noun(
    request: Request, model: type[_NounT], most: int, refused: type[DrawerwrightError], subject: str
) -> _NounT:
    """Return the body as this model.

    Raises:
        BodyTypeRefused, BodyTooLarge, BodyTooSlow: as `read_json`.
        refused: with each problem; ``subject`` names in its message what the body describes.
    """
    return load_noun(await read_json(request, most), model, refused, subject)


def load_noun(
    body: bytes,
    model: type[_NounT],
    refused: type[DrawerwrightError],
    subject: str,
    limits: JsonLimits = SPEC_LIMITS,
) -> _NounT:
    """Return a body that has arrived as this model.

    Raises:
        refused: with each problem; ``subject`` names in its message what the body describes.
    """
    try:
        return load_as(model, parse(body, limits), limits)
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


def _load_spec(body: bytes, most_cells: int, resolved: Callable[[object], object]) -> Spec:
    spec = load(resolved(parse(body)))
    check_size(spec, most_cells)
    return spec


def check_type(request: Request, *accepted: str) -> str:
    """Return the media type of the body, which is one of those accepted, in UTF-8 and not compressed.

    Raises:
        BodyTypeRefused: when it is not.
    """
    kind, *parameters = (field.strip().lower() for field in request.headers.get("content-type", "").split(";"))
    charsets = {field.partition("=")[2].strip('"') for field in parameters if field.startswith("charset=")}
    if kind not in accepted or not charsets <= {"utf-8"}:
        limit = " or ".join(accepted)
        remedy = f"Send Content-Type: {limit}, in UTF-8."
        raise BodyTypeRefused(value=request.headers.get("content-type"), limit=limit, remedy=remedy)
    coding = request.headers.get("content-encoding", "identity").strip().lower()
    if coding != "identity":
        raise BodyTypeRefused(value=coding, limit="identity", remedy="Send the body as it is, not compressed.")
    return kind


async def read_body(request: Request, most: int) -> bytes:
    """Return the body, and stop reading as soon as it is too large.

    The framework's ``max_body_size`` is fixed while routes are declared, where the settings are not known yet, and does
    not say which limit was exceeded.
    """
    length = request.headers.get("content-length", "")
    if length.isascii() and length.isdigit() and (len(length) > len(str(most)) or int(length) > most):
        raise BodyTooLarge(value=length, limit=f"at most {most} bytes")
    body = bytearray()
    async for chunk in request.stream():
        body += chunk
        if len(body) > most:
            raise BodyTooLarge(limit=f"at most {most} bytes")
    return bytes(body)
