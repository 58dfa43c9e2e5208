"""The body of a request: a spec as JSON, within bounds."""

from fastapi import Request
from starlette.concurrency import run_in_threadpool

from api.errors import BodyTooLarge, BodyTypeRefused
from worker.spec import Spec, loads

__all__ = ["read_spec"]


async def read_spec(request: Request) -> Spec:
    """Return the spec in the body.

    Raises:
        BodyTypeRefused: when it is not plain JSON.
        BodyTooLarge: when it is larger than the settings allow.
        SpecError: with each problem of the spec.
    """
    _check_type(request)
    body = await _read(request, request.app.state.settings.largest_body)
    return await run_in_threadpool(loads, body)


def _check_type(request: Request) -> None:
    kind, *parameters = (one.strip().lower() for one in request.headers.get("content-type", "").split(";"))
    charsets = {one.partition("=")[2].strip('"') for one in parameters if one.startswith("charset=")}
    if kind != "application/json" or not charsets <= {"utf-8"}:
        remedy = "Send Content-Type: application/json, in UTF-8."
        raise BodyTypeRefused(value=request.headers.get("content-type"), limit="application/json", remedy=remedy)
    coding = request.headers.get("content-encoding", "identity").strip().lower()
    if coding != "identity":
        raise BodyTypeRefused(value=coding, limit="identity", remedy="Send the body as it is, not compressed.")


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
