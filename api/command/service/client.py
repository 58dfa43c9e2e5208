"""A client of the service."""

import re
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from http import HTTPStatus
from typing import TYPE_CHECKING, Any, Final, Self, TypeVar
from urllib.parse import quote, urlencode

import httpx
from pydantic import BaseModel, SecretStr, ValidationError

from api.http.base_url import is_here
from worker.spec.manifest.manifest import JSON_TYPE, Manifest, PlanDocument

if TYPE_CHECKING:  # at run time they bring the routes and the layout along, which not every command waits for
    from api.documents.jobs import JobDocument
    from api.documents.prints import PrintDocument, PrintsDocument, RunsDocument

__all__ = ["Client", "ServiceRefused", "ServiceUnreachable"]

#: Seconds to connect, and seconds without a byte.
_TIMEOUT: Final = httpx.Timeout(30.0, connect=5.0)

#: Seconds between two looks at a job: often at first, because small jobs are done soon.
_PAUSES: Final = (0.1, 0.1, 0.2, 0.2, 0.4, 0.4, 0.8)

#: Jobs of a page, as many as the service gives.
_PAGE: Final = 100

#: Looks at a job that may fail in a row, as when the service starts anew.
_PATIENCE: Final = 8

_SPAN: Final = re.compile(r"bytes ([0-9]{1,18})-", re.ASCII)

_ModelT = TypeVar("_ModelT", bound=BaseModel)


class ServiceUnreachable(Exception):
    """No service answers at the address, or something else does."""


class ServiceRefused(Exception):
    """The service answers with a problem."""

    def __init__(self, problem: dict[str, Any], retry_after: float | None = None) -> None:
        """Keep the problem document, and the seconds after which to ask again, where the service says so."""
        super().__init__(problem.get("detail"))
        self.problem = problem
        self.retry_after = retry_after

    @property
    def passing(self) -> bool:
        """Whether the same may well work a little later."""
        return self.retry_after is not None or self.problem.get("status") in (502, 503, 504)

    @property
    def callers_fault(self) -> bool:
        """Whether asking otherwise would help."""
        status = self.problem.get("status")
        return isinstance(status, int) and status < HTTPStatus.INTERNAL_SERVER_ERROR


class Client:
    """Speaks to one service."""

    def __init__(self, url: str, key: SecretStr | None = None) -> None:
        """Use the service at this address, with this key where it wants one."""
        self.url = url.rstrip("/")
        try:
            host = httpx.URL(self.url).host
            # a proxy of the environment cannot reach this machine's own addresses
            told = {"Authorization": f"Bearer {key.get_secret_value()}"} if key is not None and key else {}
            self._http = httpx.Client(timeout=_TIMEOUT, trust_env=not is_here(host), headers=told)
        except httpx.InvalidURL as error:
            raise ServiceUnreachable(f"{url} is no address: {error}") from None

    def __enter__(self) -> Self:
        """Return itself."""
        return self

    def __exit__(self, *_: object) -> None:
        """Close."""
        self._http.close()

    def submit(self, spec: bytes) -> "JobDocument":
        """Submit a job.

        Raises:
            ServiceRefused: when the spec cannot be used.
            ServiceUnreachable: as all methods may.
        """
        from api.documents.jobs import JobDocument  # noqa: PLC0415 - as above

        return _read(JobDocument, self._ask("POST", "/v1/jobs", spec))

    def plan(self, spec: bytes) -> PlanDocument:
        """Ask for a plan.

        Raises:
            ServiceRefused: when the spec cannot be used.
        """
        return _read(PlanDocument, self._ask("POST", "/v1/plans", spec))

    def job(self, job_id: str) -> "JobDocument":
        """Look at a job.

        Raises:
            ServiceRefused: when there is none.
        """
        from api.documents.jobs import JobDocument  # noqa: PLC0415 - as above

        return _read(JobDocument, self._ask("GET", f"/v1/jobs/{quote(job_id, safe='')}"))

    def jobs(self, states: Sequence[str] = (), name: str | None = None) -> Iterator["JobDocument"]:
        """Give all jobs (in one of these states, with this in their name), newest first, asking for more as needed."""
        from api.documents.jobs import JobPage  # noqa: PLC0415 - as above

        wanted = [("limit", str(_PAGE)), *(("state", one) for one in states)]
        wanted += [] if name is None else [("name", name)]
        after: list[tuple[str, str]] = []
        while True:
            page = _read(JobPage, self._ask("GET", f"/v1/jobs?{urlencode([*wanted, *after])}"))
            yield from page.jobs
            if page.next is None or not page.jobs:
                return
            after = [("after", page.jobs[-1].id)]

    def cancel(self, job_id: str) -> "JobDocument":
        """Cancel a job.

        Raises:
            ServiceRefused: when there is none, or it has ended.
        """
        from api.documents.jobs import JobDocument  # noqa: PLC0415 - as above

        return _read(JobDocument, self._ask("DELETE", f"/v1/jobs/{quote(job_id, safe='')}"))

    def remove(self, job_id: str) -> None:
        """Remove a job with its files, for ever.

        Raises:
            ServiceRefused: when there is none, or it has not ended.
        """
        self._ask("DELETE", f"/v1/jobs/{quote(job_id, safe='')}/files")

    def follow(self, job: "JobDocument", show: Callable[["JobDocument"], None]) -> "JobDocument":
        """Look again and again until the job has ended; return it as it is then."""
        looks, failures = 0, 0
        show(job)
        while job.state in ("queued", "running"):
            time.sleep(_PAUSES[min(looks, len(_PAUSES) - 1)])
            looks += 1
            try:
                job = self.job(job.id)
            except ServiceUnreachable:
                failures += 1
                if failures > _PATIENCE:
                    raise
                continue
            failures = 0
            show(job)
        return job

    def manifest(self, job_id: str) -> tuple[Manifest, bytes, str]:
        """Return a job's manifest, its bytes and the digest that the service gives for them.

        Raises:
            ServiceRefused: when the job has none.
        """
        answer = self._ask("GET", f"/v1/jobs/{quote(job_id, safe='')}/manifest")
        return _read(Manifest, answer), answer.content, answer.headers.get("etag", "").strip('"')

    def prints(self, job_id: str) -> "PrintsDocument":
        """Return what of a job is printed, with its last events.

        Raises:
            ServiceRefused: when there is no such job, or it has not succeeded.
        """
        from api.documents.prints import PrintsDocument  # noqa: PLC0415 - as above

        return _read(PrintsDocument, self._ask("GET", f"/v1/jobs/{quote(job_id, safe='')}/prints"))

    def record(self, job_id: str, event: bytes) -> "PrintDocument":
        """Record an event of printing.

        Raises:
            ServiceRefused: when it cannot be so.
        """
        from api.documents.prints import PrintDocument  # noqa: PLC0415 - as above

        return _read(PrintDocument, self._ask("POST", f"/v1/jobs/{quote(job_id, safe='')}/prints", event))

    def runs(self, job_id: str) -> "RunsDocument":
        """Return what of a job is still to be printed.

        Raises:
            ServiceRefused: when there is no such job, or it has not succeeded.
        """
        from api.documents.prints import RunsDocument  # noqa: PLC0415 - as above

        return _read(RunsDocument, self._ask("GET", f"/v1/jobs/{quote(job_id, safe='')}/runs"))

    def submit_batch(self, specs: bytes, options: Sequence[tuple[str, str]]) -> dict[str, Any]:
        """Submit many specs, one a line; return the batch as the service tells it.

        Raises:
            ServiceRefused: when none of them can be used, or it is too much.
        """
        path = f"/v1/batches?{urlencode(options)}"
        return self._object(self._ask("POST", path, specs, media_type="application/x-ndjson"))

    def object(self, path: str) -> dict[str, Any]:
        """Return a document, from a path such as ``/v1/batches/ID``.

        Raises:
            ServiceRefused: when there is none.
        """
        return self._object(self._ask("GET", path))

    def whole(self, path: str) -> tuple[bytes, str]:
        """Return a small file, from a path such as ``/v1/batches/ID/manifest``, and the digest that the service gives.

        Raises:
            ServiceRefused: when there is no such file.
        """
        answer = self._ask("GET", path)
        return answer.content, answer.headers.get("etag", "").strip('"')

    @contextmanager
    def download(self, path: str, start: int = 0, sha256: str = "") -> Iterator[tuple[int, Iterator[bytes]]]:
        """Give a file's bytes in pieces, from a path such as ``/v1/jobs/ID/bundle.zip``, and where they begin.

        They begin at ``start`` when the file still has this digest, and otherwise at 0.

        Raises:
            ServiceRefused: when there is no such file.
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

    def _object(self, answer: httpx.Response) -> dict[str, Any]:
        try:
            told = answer.json()
        except ValueError:
            told = None
        if not isinstance(told, dict):
            raise ServiceUnreachable(f"{answer.url} answers, but not as this service would.")
        return told

    def _ask(self, method: str, path: str, body: bytes | None = None, *, media_type: str = JSON_TYPE) -> httpx.Response:
        headers = {"Content-Type": media_type} if body is not None else {}
        with self._faults():
            answer = self._http.request(method, self.url + path, content=body, headers=headers)
        if not answer.is_success:
            raise _refused(answer)
        return answer

    @contextmanager
    def _faults(self) -> Iterator[None]:
        try:
            yield
        except (httpx.TransportError, httpx.InvalidURL, httpx.DecodingError) as error:
            raise ServiceUnreachable(f"No service answers at {self.url}: {error}") from error


def _refused(answer: httpx.Response) -> Exception:
    """Return the problem that came, or that there is something else than our service."""
    from api.http.problems import PROBLEM_TYPE  # noqa: PLC0415 - as above

    if answer.headers.get("content-type", "").partition(";")[0].strip() == PROBLEM_TYPE:
        try:
            problem = answer.json()
        except ValueError:
            problem = None
        if isinstance(problem, dict):
            after = answer.headers.get("retry-after", "")
            return ServiceRefused(problem, float(after) if after.isascii() and after.isdigit() else None)
    return ServiceUnreachable(f"{answer.url} answers {answer.status_code}, but not as this service would.")


def _read(model: type[_ModelT], answer: httpx.Response) -> _ModelT:
    try:
        return model.model_validate_json(answer.content)
    except ValidationError:
        raise ServiceUnreachable(f"{answer.url} answers, but not as this service would.") from None
