"""A client of the service."""

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from http import HTTPStatus
from typing import Any, Final, Self, TypeVar
from urllib.parse import quote

import httpx
from pydantic import BaseModel, SecretStr, ValidationError

from api.address import is_here
from api.documents import JobDocument
from api.printdocuments import PrintDocument, PrintsDocument
from api.problems import PROBLEM_TYPE
from worker.spec.manifest import JSON_TYPE, Manifest, PlanDocument

__all__ = ["Client", "ServiceRefused", "ServiceUnreachable"]

#: Seconds to connect, and seconds without a byte.
_TIMEOUT: Final = httpx.Timeout(30.0, connect=5.0)

#: Seconds between two looks at a job: often at first, because small jobs are done soon.
_PAUSES: Final = (0.1, 0.1, 0.2, 0.2, 0.4, 0.4, 0.8)

#: Looks at a job that may fail in a row, as when the service starts anew.
_PATIENCE: Final = 8

_ModelT = TypeVar("_ModelT", bound=BaseModel)


class ServiceUnreachable(Exception):
    """No service answers at the address, or something else does."""


class ServiceRefused(Exception):
    """The service answers with a problem."""

    def __init__(self, problem: dict[str, Any]) -> None:
        """Keep the problem document."""
        super().__init__(problem.get("detail"))
        self.problem = problem

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

    def submit(self, spec: bytes) -> JobDocument:
        """Submit a job.

        Raises:
            ServiceRefused: when the spec cannot be used.
            ServiceUnreachable: as all methods may.
        """
        return _read(JobDocument, self._ask("POST", "/v1/jobs", spec))

    def plan(self, spec: bytes) -> PlanDocument:
        """Ask for a plan.

        Raises:
            ServiceRefused: when the spec cannot be used.
        """
        return _read(PlanDocument, self._ask("POST", "/v1/plans", spec))

    def job(self, job_id: str) -> JobDocument:
        """Look at a job.

        Raises:
            ServiceRefused: when there is none.
        """
        return _read(JobDocument, self._ask("GET", f"/v1/jobs/{job_id}"))

    def follow(self, job: JobDocument, show: Callable[[JobDocument], None]) -> JobDocument:
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
        answer = self._ask("GET", f"/v1/jobs/{job_id}/manifest")
        return _read(Manifest, answer), answer.content, answer.headers.get("etag", "").strip('"')

    def prints(self, job_id: str) -> PrintsDocument:
        """Return what of a job is printed, with its last events.

        Raises:
            ServiceRefused: when there is no such job, or it has not succeeded.
        """
        return _read(PrintsDocument, self._ask("GET", f"/v1/jobs/{quote(job_id, safe='')}/prints"))

    def record(self, job_id: str, event: bytes) -> PrintDocument:
        """Record an event of printing.

        Raises:
            ServiceRefused: when it cannot be so.
        """
        return _read(PrintDocument, self._ask("POST", f"/v1/jobs/{quote(job_id, safe='')}/prints", event))

    @contextmanager
    def download(self, path: str) -> Iterator[Iterator[bytes]]:
        """Give a file's bytes in pieces, from a path such as ``/v1/jobs/ID/bundle.zip``.

        Raises:
            ServiceRefused: when there is no such file.
        """
        with self._faults(), self._http.stream("GET", self.url + path) as answer:
            if answer.is_error:
                answer.read()
                raise _refused(answer)
            yield answer.iter_bytes()

    def _ask(self, method: str, path: str, body: bytes | None = None) -> httpx.Response:
        headers = {"Content-Type": JSON_TYPE} if body is not None else {}
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
    if answer.headers.get("content-type", "").partition(";")[0].strip() == PROBLEM_TYPE:
        try:
            problem = answer.json()
        except ValueError:
            problem = None
        if isinstance(problem, dict):
            return ServiceRefused(problem)
    return ServiceUnreachable(f"{answer.url} answers {answer.status_code}, but not as this service would.")


def _read(model: type[_ModelT], answer: httpx.Response) -> _ModelT:
    try:
        return model.model_validate_json(answer.content)
    except ValidationError:
        raise ServiceUnreachable(f"{answer.url} answers, but not as this service would.") from None
