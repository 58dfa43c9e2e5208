"""Stored files as responses: entity tags, conditions, ranges, digests."""

import base64
import re
from http import HTTPStatus
from typing import Final

from fastapi import Request, Response
from fastapi.responses import StreamingResponse

from api.http.problems.errors import RangeRefused
from api.http.problems.problem_documents import problem_response
from api.http.requests.preconditions import check_match, not_modified
from api.http.responses.ranges import ByteRange, entity_tag, requested_range
from worker.jobs.job_service import JobService
from worker.jobs.records.models import StoredFile

__all__ = ["file_response"]

#: A file of a job never changes, and is its caller's own.
_CACHING: Final = "private, max-age=31536000, immutable"

_UNSAFE: Final = re.compile(r"[^A-Za-z0-9._-]", re.ASCII)


def file_response(request: Request, job_service: JobService, file: StoredFile, *, attachment: bool = True) -> Response:
    """Return the response to GET or HEAD of a file: all of it, a range of it, or 304.

    Conditions are evaluated in the order of RFC 9110, 13.2.2.

    Raises:
        PreconditionFailed: when If-Match names another file.
        BlobMissing: when the store does not have it.
    """
    tag = entity_tag(file.sha256)
    headers = _headers(file, tag, attachment=attachment)
    check_match(request, lambda: tag)
    if (unchanged := not_modified(request, headers)) is not None:
        return unchanged
    fields = request.headers
    head = request.method == "HEAD"
    span = None
    if not head and fields.get("if-range", tag).strip() == tag:
        try:
            span = requested_range(fields.get("range"), file.bytes)
        except RangeRefused as error:
            return problem_response(request, error, headers={"Content-Range": f"bytes */{file.bytes}"})
    status = HTTPStatus.OK
    if span is None:
        span = ByteRange(0, file.bytes)
    else:
        status = HTTPStatus.PARTIAL_CONTENT
        headers["Content-Range"] = span.content_range(file.bytes)
    headers["Content-Length"] = str(span.end - span.start)
    if head:
        return Response(status_code=status, headers=headers, media_type=file.media_type)
    return StreamingResponse(job_service.read(file, span.start, span.end), status, headers, file.media_type)


def _headers(file: StoredFile, tag: str, *, attachment: bool) -> dict[str, str]:
    name = _UNSAFE.sub("_", file.name)
    digest = base64.b64encode(bytes.fromhex(file.sha256)).decode()
    return {
        "ETag": tag,
        "Cache-Control": _CACHING,
        "Accept-Ranges": "bytes",
        "Content-Disposition": f'{"attachment" if attachment else "inline"}; filename="{name}"',
        "Repr-Digest": f"sha-256=:{digest}:",  # RFC 9530
    }
