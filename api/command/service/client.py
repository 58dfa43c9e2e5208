"""HTTP client of one service: jobs, batches, prints, silhouettes and downloads."""

import re
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from datetime import datetime
from http import HTTPStatus
from typing import TYPE_CHECKING, Any, Final, Protocol, Self, TypeVar
from urllib.parse import quote, urlencode

from pydantic import BaseModel, SecretStr, ValidationError

from api.http.requests.base_url import is_here
from worker.spec.manifest import JSON_TYPE, Manifest, PlanDocument

if TYPE_CHECKING:  # at run time they bring the routes and the layout along, which not every command waits for
    import httpx

    from api.documents.batches import BatchDocument, BatchSummaryDocument
    from api.documents.household import ThingDocument
    from api.documents.household_report import HouseholdReport
    from api.documents.jobs import JobDocument
    from api.documents.prints import PrintDocument, PrintsDocument, RunsDocument
    from api.documents.silhouettes import SilhouetteDocument

__all__ = ["Client", "ServiceRefused", "ServiceUnreachable"]

#: Timeouts in seconds: between two bytes, and to connect.
_TIMEOUT: Final = 30.0
_CONNECT_TIMEOUT: Final = 5.0

#: Seconds between polls of a job: short at first, because small jobs finish within a second.
_POLL_SECONDS: Final = (0.1, 0.1, 0.2, 0.2, 0.4, 0.4, 0.8)

#: Jobs per page: the most that the service returns.
_PAGE: Final = 100

#: Polls in a row that may fail before the client gives up, for example while the service restarts.
_MAX_FAILURES: Final = 8

_SPAN: Final = re.compile(r"bytes ([0-9]{1,18})-", re.ASCII)

_ModelT = TypeVar("_ModelT", bound=BaseModel)
_EntryT = TypeVar("_EntryT", bound="_Entry")


class _Entry(Protocol):
    """An entry of a page."""

    @property
    def id(self) -> str: ...


class ServiceUnreachable(Exception):
    """No service answers at the address, or the answer is not one of this service."""


class ServiceRefused(Exception):
    """The service answered with a problem document (RFC 9457)."""

    def __init__(self, problem: dict[str, Any], retry_after: float | None = None) -> None:
        """Keep the problem document and the seconds of a ``Retry-After`` header, if there is one."""
        super().__init__(problem.get("detail"))
        self.problem = problem
        self.retry_after = retry_after

    @property
    def retryable(self) -> bool:
        """Whether a retry of the same request may succeed."""
        return self.retry_after is not None or self.problem.get("status") in (502, 503, 504)

    @property
    def is_client_error(self) -> bool:
        """Whether the request itself is at fault (a 4xx status)."""
        status = self.problem.get("status")
        return isinstance(status, int) and status < HTTPStatus.INTERNAL_SERVER_ERROR


class Client:
    """HTTP client of one service; every method may raise ``ServiceUnreachable``."""

    def __init__(self, url: str, key: SecretStr | None = None) -> None:
        """Use the service at ``url``, with an API key if it requires one.

        Raises:
            ServiceUnreachable: if ``url`` is not a URL.
        """
        import httpx  # noqa: PLC0415 - 2.3 MB in the process of `serve`, which is no client

        self.url = url.rstrip("/")
        try:
            host = httpx.URL(self.url).host
            # a proxy from the environment cannot reach this machine's loopback addresses
            timeout = httpx.Timeout(_TIMEOUT, connect=_CONNECT_TIMEOUT)
            headers = {"Authorization": f"Bearer {key.get_secret_value()}"} if key is not None and key else {}
            self._http = httpx.Client(timeout=timeout, trust_env=not is_here(host), headers=headers)
        except httpx.InvalidURL as error:
            raise ServiceUnreachable(f"{url} is not a valid URL: {error}") from None

    def __enter__(self) -> Self:
        """Return itself."""
        return self

    def __exit__(self, *_: object) -> None:
        """Close."""
        self._http.close()

    def submit(self, spec: bytes) -> "JobDocument":
        """Submit a spec; return the new job.

        Raises:
            ServiceRefused: if the spec is invalid.
        """
        from api.documents.jobs import JobDocument  # noqa: PLC0415 - as above

        return _read(JobDocument, self._ask("POST", "/v1/jobs", spec))

    def plan(self, spec: bytes) -> PlanDocument:
        """Return the plan of a spec.

        Raises:
            ServiceRefused: if the spec is invalid.
        """
        return _read(PlanDocument, self._ask("POST", "/v1/plans", spec))

    def job(self, job_id: str) -> "JobDocument":
        """Return a job.

        Raises:
            ServiceRefused: if there is no such job.
        """
        from api.documents.jobs import JobDocument  # noqa: PLC0415 - as above

        return _read(JobDocument, self._ask("GET", f"/v1/jobs/{quote(job_id, safe='')}"))

    def jobs(self, states: Sequence[str] = (), name: str | None = None) -> Iterator["JobDocument"]:
        """Yield jobs, newest first, fetching page after page; ``states`` and ``name`` (a substring) filter them."""
        from api.documents.jobs import JobPage  # noqa: PLC0415 - as above

        query = [("state", state) for state in states]
        query += [] if name is None else [("name", name)]
        yield from self._pages(JobPage, "/v1/jobs", query, lambda page: (page.jobs, page.next))

    def cancel(self, job_id: str) -> "JobDocument":
        """Cancel a job and return it.

        Raises:
            ServiceRefused: if there is no such job, or it has ended.
        """
        from api.documents.jobs import JobDocument  # noqa: PLC0415 - as above

        return _read(JobDocument, self._ask("DELETE", f"/v1/jobs/{quote(job_id, safe='')}"))

    def retry(self, job_id: str) -> "JobDocument":
        """Queue a failed job again and return it.

        Raises:
            ServiceRefused: if there is no such job, or it has not failed.
        """
        from api.documents.jobs import JobDocument  # noqa: PLC0415 - as above

        return _read(JobDocument, self._ask("POST", f"/v1/jobs/{quote(job_id, safe='')}/retry"))

    def remove(self, job_id: str) -> None:
        """Delete a job permanently, with its files.

        Raises:
            ServiceRefused: if there is no such job, or it has not ended.
        """
        self._ask("DELETE", f"/v1/jobs/{quote(job_id, safe='')}/files")

    def follow(self, job: "JobDocument", show: Callable[["JobDocument"], None]) -> "JobDocument":
        """Poll a job until it has ended, calling ``show`` with each state; return the ended job."""
        polls, failures = 0, 0
        show(job)
        while job.state in ("queued", "running"):
            time.sleep(_POLL_SECONDS[min(polls, len(_POLL_SECONDS) - 1)])
            polls += 1
            try:
                job = self.job(job.id)
            except ServiceUnreachable:
                failures += 1
                if failures > _MAX_FAILURES:
                    raise
                continue
            failures = 0
            show(job)
        return job

    def submit_silhouette(self, files: Sequence[tuple[str, bytes]], options: bytes) -> "SilhouetteDocument":
        """Upload photos, a drawing or a model, given by name and content, with options as JSON.

        Raises:
            ServiceRefused: if they make no silhouette.
        """
        from api.documents.silhouettes import SilhouetteDocument  # noqa: PLC0415 - as above

        parts = [*(("file", file) for file in files), ("options", (None, options))]
        with self._faults():
            answer = self._http.post(f"{self.url}/v1/silhouettes", files=parts)
        if not answer.is_success:
            raise _refused(answer)
        return _read(SilhouetteDocument, answer)

    def submit_corners(self, polygon: bytes) -> "SilhouetteDocument":
        """Submit an outline as corners.

        Raises:
            ServiceRefused: if they are no outline.
        """
        from api.documents.silhouettes import SilhouetteDocument  # noqa: PLC0415 - as above

        return _read(SilhouetteDocument, self._ask("POST", "/v1/silhouettes", polygon))

    def follow_silhouette(self, silhouette: "SilhouetteDocument") -> "SilhouetteDocument":
        """Poll a silhouette until it has been read, or could not be.

        Raises:
            ServiceRefused: if it was deleted.
        """
        from api.documents.silhouettes import SilhouetteDocument  # noqa: PLC0415 - as above

        polls = 0
        while silhouette.state in {"queued", "running"}:
            time.sleep(_POLL_SECONDS[min(polls, len(_POLL_SECONDS) - 1)])
            polls += 1
            silhouette = _read(SilhouetteDocument, self._ask("GET", f"/v1/silhouettes/{silhouette.id}"))
        return silhouette

    def picture(self, silhouette_id: str, name: str) -> bytes:
        """Return a picture of a silhouette: ``outline.svg`` or ``overlay.png``.

        Raises:
            ServiceRefused: if there is none.
        """
        return self._ask("GET", f"/v1/silhouettes/{quote(silhouette_id, safe='')}/{name}").content

    def manifest(self, job_id: str) -> tuple[Manifest, bytes, str]:
        """Return a job's manifest, its bytes, and its SHA-256 checksum as the service's ETag gives it.

        Raises:
            ServiceRefused: if the job has no manifest.
        """
        answer = self._ask("GET", f"/v1/jobs/{quote(job_id, safe='')}/manifest")
        return _read(Manifest, answer), answer.content, answer.headers.get("etag", "").strip('"')

    def prints(self, job_id: str) -> "PrintsDocument":
        """Return a job's printing progress with its latest events.

        Raises:
            ServiceRefused: if there is no such job, or it has not succeeded.
        """
        from api.documents.prints import PrintsDocument  # noqa: PLC0415 - as above

        return _read(PrintsDocument, self._ask("GET", f"/v1/jobs/{quote(job_id, safe='')}/prints"))

    def record(self, job_id: str, event: bytes) -> "PrintDocument":
        """Record a print event, given as JSON.

        Raises:
            ServiceRefused: if the event contradicts what is recorded or planned.
        """
        from api.documents.prints import PrintDocument  # noqa: PLC0415 - as above

        return _read(PrintDocument, self._ask("POST", f"/v1/jobs/{quote(job_id, safe='')}/prints", event))

    def runs(self, job_id: str) -> "RunsDocument":
        """Return the runs of a job that are still to be printed.

        Raises:
            ServiceRefused: if there is no such job, or it has not succeeded.
        """
        from api.documents.prints import RunsDocument  # noqa: PLC0415 - as above

        return _read(RunsDocument, self._ask("GET", f"/v1/jobs/{quote(job_id, safe='')}/runs"))

    def search(self, query: str, limit: int) -> "tuple[ThingDocument, ...]":
        """Return the things that match a query best, with where they lie.

        Raises:
            ServiceRefused: if the key does not permit reading.
        """
        from api.documents.household import ThingPage  # noqa: PLC0415 - as above

        return _read(ThingPage, self._ask("GET", f"/v1/things?{urlencode({'q': query, 'limit': limit})}")).things

    def import_household(self, document: bytes, *, new_ids: bool) -> dict[str, Any]:
        """Add a household, given as JSON; return the number of its drawers, things and pieces.

        Raises:
            ServiceRefused: if it is invalid, or an id of it is taken.
        """
        return self._object(self._ask("POST", f"/v1/household?ids={'new' if new_ids else 'keep'}", document))

    def household_report(self, drawer: str | None = None) -> "HouseholdReport":
        """Return what could be tidied, in all drawers or in one.

        Raises:
            ServiceRefused: if there is no such drawer.
        """
        from api.documents.household_report import HouseholdReport  # noqa: PLC0415 - as above

        query = "" if drawer is None else f"?{urlencode({'drawer': drawer})}"
        return _read(HouseholdReport, self._ask("GET", f"/v1/household/report{query}"))

    def submit_batch(self, specs: bytes, options: Sequence[tuple[str, str]]) -> dict[str, Any]:
        """Submit specs as NDJSON; return the batch document.

        Raises:
            ServiceRefused: if no spec is valid, or the batch exceeds a limit.
        """
        path = f"/v1/batches?{urlencode(options)}"
        return self._object(self._ask("POST", path, specs, media_type="application/x-ndjson"))

    def batch(self, batch_id: str) -> "BatchDocument":
        """Return a batch.

        Raises:
            ServiceRefused: if there is no such batch.
        """
        from api.documents.batches import BatchDocument  # noqa: PLC0415 - as above

        return _read(BatchDocument, self._ask("GET", f"/v1/batches/{quote(batch_id, safe='')}"))

    def batches(self) -> Iterator["BatchSummaryDocument"]:
        """Yield batches, newest first, fetching page after page."""
        from api.documents.batches import BatchPage  # noqa: PLC0415 - as above

        yield from self._pages(BatchPage, "/v1/batches", [], lambda page: (page.batches, page.next))

    def silhouettes(self, changed_after: datetime) -> Iterator["SilhouetteDocument"]:
        """Yield silhouettes that changed after a time, newest first, fetching page after page."""
        from api.documents.silhouettes import SilhouettePage  # noqa: PLC0415 - as above

        query = [("changed_after", changed_after.isoformat())]
        yield from self._pages(SilhouettePage, "/v1/silhouettes", query, lambda page: (page.silhouettes, page.next))

    def object(self, path: str) -> dict[str, Any]:
        """Return the JSON object at a path such as ``/v1/batches/ID``.

        Raises:
            ServiceRefused: if there is none.
        """
        return self._object(self._ask("GET", path))

    def whole(self, path: str) -> tuple[bytes, str]:
        """Return a small file at a path such as ``/v1/batches/ID/manifest``, and its SHA-256 checksum from the ETag.

        Raises:
            ServiceRefused: if there is no such file.
        """
        answer = self._ask("GET", path)
        return answer.content, answer.headers.get("etag", "").strip('"')

    @contextmanager
    def download(self, path: str, start: int = 0, sha256: str = "") -> Iterator[tuple[int, Iterator[bytes]]]:
        """Open a file at a path such as ``/v1/jobs/ID/bundle.zip``; give its offset and an iterator over its bytes.

        The offset is ``start`` if the file still has this checksum, and 0 otherwise.

        Raises:
            ServiceRefused: if there is no such file.
        """
        headers = {"Accept-Encoding": "identity"}
        if start:
            headers |= {"Range": f"bytes={start}-", "If-Range": f'"{sha256}"'}
        with self._faults(), self._http.stream("GET", self.url + path, headers=headers) as answer:
            if answer.is_error:
                answer.read()
                raise _refused(answer)
            partial = answer.status_code == HTTPStatus.PARTIAL_CONTENT
            span = _SPAN.match(answer.headers.get("content-range", "")) if partial else None
            yield 0 if span is None else int(span[1]), answer.iter_bytes()

    def _object(self, answer: "httpx.Response") -> dict[str, Any]:
        try:
            document = answer.json()
        except ValueError:
            document = None
        if not isinstance(document, dict):
            raise ServiceUnreachable(f"{answer.url} does not respond as a Drawerwright service would.")
        return document

    def _pages(
        self,
        model: type[_ModelT],
        path: str,
        query: Sequence[tuple[str, str]],
        parts: Callable[[_ModelT], tuple[Sequence[_EntryT], str | None]],
    ) -> Iterator[_EntryT]:
        """Yield the entries of a list page after page; ``parts`` returns those of a page, and its next page's URL."""
        after: list[tuple[str, str]] = []
        while True:
            answer = self._ask("GET", f"{path}?{urlencode([('limit', str(_PAGE)), *query, *after])}")
            entries, following = parts(_read(model, answer))
            yield from entries
            if following is None or not entries:
                return
            after = [("after", entries[-1].id)]

    def _ask(
        self, method: str, path: str, body: bytes | None = None, *, media_type: str = JSON_TYPE
    ) -> "httpx.Response":
        headers = {"Content-Type": media_type} if body is not None else {}
        with self._faults():
            answer = self._http.request(method, self.url + path, content=body, headers=headers)
        if not answer.is_success:
            raise _refused(answer)
        return answer

    @contextmanager
    def _faults(self) -> Iterator[None]:
        import httpx  # noqa: PLC0415 - as above

        try:
            yield
        except (httpx.TransportError, httpx.InvalidURL, httpx.DecodingError) as error:
            raise ServiceUnreachable(f"No service answers at {self.url}: {error}") from error


def _refused(answer: "httpx.Response") -> Exception:
    """Return the error of a response: its problem document, or that this is not our service."""
    from api.http.problems.problem_documents import PROBLEM_TYPE  # noqa: PLC0415 - as above

    if answer.headers.get("content-type", "").partition(";")[0].strip() == PROBLEM_TYPE:
        try:
            problem = answer.json()
        except ValueError:
            problem = None
        if isinstance(problem, dict):
            after = answer.headers.get("retry-after", "")
            return ServiceRefused(problem, float(after) if after.isascii() and after.isdigit() else None)
    return ServiceUnreachable(
        f"{answer.url} responds with status {answer.status_code}, but not as a Drawerwright service would."
    )


def _read(model: type[_ModelT], answer: "httpx.Response") -> _ModelT:
    try:
        return model.model_validate_json(answer.content)
    except ValidationError:
        raise ServiceUnreachable(f"{answer.url} does not respond as a Drawerwright service would.") from None
