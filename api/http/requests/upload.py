"""Uploads: the files and the options of a multipart/form-data body (RFC 7578), within bounds."""

import asyncio
from collections.abc import AsyncGenerator
from typing import Final, NamedTuple

from fastapi import Request
from starlette.datastructures import FormData, Headers, UploadFile
from starlette.formparsers import MultiPartException, MultiPartParser

from api.app_state import state_of
from api.http.problems.errors import BodyTooSlow, RequestRefused
from api.http.requests.body import check_type, read_body

__all__ = ["Upload", "UploadedFile", "read_upload"]

#: Bytes of a field that is no file.
_LARGEST_FIELD: Final = 64 * 1024

_PIECE: Final = 1024 * 1024


class UploadedFile(NamedTuple):
    """A file: the name that the client gives it, and its content."""

    name: str
    content: bytes


class Upload(NamedTuple):
    """The files of an upload, and its options as JSON (`{}` if it has none)."""

    files: list[UploadedFile]
    options: bytes


async def read_upload(request: Request, most: int, most_files: int) -> Upload:
    """Return the parts `file` and the part `options` of a body.

    Raises:
        BodyTypeRefused: when it is not multipart/form-data.
        BodyTooLarge: when it has more bytes than ``most``.
        BodyTooSlow: when it does not arrive in time.
        RequestRefused: when it is malformed, or has other or more parts.
    """
    check_type(request, "multipart/form-data")
    settings = state_of(request.app).settings
    try:
        async with asyncio.timeout(settings.body_seconds):
            body = await read_body(request, most)
    except TimeoutError:
        raise BodyTooSlow(limit=f"{settings.body_seconds:g} s", remedy="Send it faster, or a smaller file.") from None
    return await _parsed(request.headers, body, most_files)


async def _parsed(headers: Headers, body: bytes, most_files: int) -> Upload:
    parser = MultiPartParser(
        headers, _pieces(body), max_files=most_files + 1, max_fields=1, max_part_size=_LARGEST_FIELD
    )  # fmt: skip
    parser.spool_max_size = len(body) + 1  # the body is in memory already: none of it is to touch the disk
    try:
        form = await parser.parse()
    except (MultiPartException, KeyError, ValueError) as error:
        message = getattr(error, "message", "The multipart body is malformed.")
        raise RequestRefused(
            message, limit=f"up to {most_files} parts `file` and one part `options`",
            remedy="Send multipart/form-data as RFC 7578 describes it.",
        ) from None  # fmt: skip
    try:
        return await _upload(form)
    finally:
        await form.close()


async def _upload(form: FormData) -> Upload:
    files, options = [], b"{}"
    for name, part in form.multi_items():
        if name == "file" and isinstance(part, UploadFile):
            files.append(UploadedFile(part.filename or "", await part.read()))
        elif name == "options":
            options = await part.read() if isinstance(part, UploadFile) else part.encode()
        else:
            raise RequestRefused(
                "The body has an unknown part.", value=name, limit="file and options", remedy="Remove it."
            )
    return Upload(files, options)


async def _pieces(body: bytes) -> AsyncGenerator[bytes, None]:
    for start in range(0, len(body), _PIECE):
        yield body[start : start + _PIECE]
