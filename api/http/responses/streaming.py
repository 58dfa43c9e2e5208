"""Stored files as responses: entity tags, conditions, ranges, digests."""

import base64
import re
from collections.abc import Callable, Iterator
from functools import partial
from http import HTTPStatus
from typing import Final

from fastapi import Request, Response
from fastapi.responses import StreamingResponse

from api.http.problems.errors import RangeRefused
from api.http.problems.problem_documents import problem_response
from api.http.requests.preconditions import check_match, not_modified
from api.http.responses.ranges import ByteRange, entity_tag, requested_range
from worker.jobs.files.batch_archive import BatchArchive
from worker.jobs.job_service import JobService
from worker.jobs.records.models import StoredFile
from worker.spec.manifest import ZIP_TYPE

__all__ = ["archive_response", "file_response"]

#: A file of a job never changes, and is its caller's own.
_CACHING: Final = "private, max-age=31536000, immutable"

#: An archive of a batch changes when a job is removed.
_CHECKED: Final = "private, no-cache"

_UNSAFE: Final = re.compile(r"[^A-Za-z0-9._-]", re.ASCII)


def file_response(request: Request, job_service: JobService, file: StoredFile, *, attachment: bool = True) -> Response:
    """Return the response to GET or HEAD of a file: all of it, a range of it, or 304.

    Raises:
        PreconditionFailed: when If-Match names another file.
        BlobMissing: when the store does not have it.
    """
    digest = base64.b64encode(bytes.fromhex(file.sha256)).decode()
    headers = {
        "ETag": entity_tag(file.sha256),
        "Cache-Control": _CACHING,
        "Content-Disposition": _disposition(file.name, attachment=attachment),
        "Repr-Digest": f"sha-256=:{digest}:",  # RFC 9530
    }
    return _response(request, headers, file.bytes, file.media_type, partial(job_service.read, file))


def archive_response(request: Request, archive: BatchArchive, name: str) -> Response:
    """Return the response to GET or HEAD of an archive that is put together as it is sent.

    Raises:
        PreconditionFailed: when If-Match names another archive.
        BlobMissing: when the store lacks its first file.
    """
    headers = {
        "ETag": entity_tag(archive.digest),
        "Cache-Control": _CHECKED,
        "Content-Disposition": _disposition(name, attachment=True),
    }
    return _response(request, headers, archive.size, ZIP_TYPE, archive.read)


def _response(
    request: Request, headers: dict[str, str], size: int, media_type: str, read: Callable[[int, int], Iterator[bytes]]
) -> Response:
    """Return the response; conditions are evaluated in the order of RFC 9110, 13.2.2."""
    tag = headers["ETag"]
    headers["Accept-Ranges"] = "bytes"
    check_match(request, lambda: tag)
    if (unchanged := not_modified(request, headers)) is not None:
        return unchanged
    fields = request.headers
    head = request.method == "HEAD"
    span = None
    if not head and fields.get("if-range", tag).strip() == tag:
        try:
            span = requested_range(fields.get("range"), size)
        except RangeRefused as error:
            return problem_response(request, error, headers={"Content-Range": f"bytes */{size}"})
    status = HTTPStatus.OK
    if span is None:
        span = ByteRange(0, size)
    else:
        status = HTTPStatus.PARTIAL_CONTENT
        headers["Content-Range"] = span.content_range(size)
    headers["Content-Length"] = str(span.end - span.start)
    if head:
        return Response(status_code=status, headers=headers, media_type=media_type)
    return StreamingResponse(read(span.start, span.end), status, headers, media_type)


def _disposition(name: str, *, attachment: bool) -> str:
    return f'{"attachment" if attachment else "inline"}; filename="{_UNSAFE.sub("_", name)}"'
