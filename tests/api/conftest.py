"""The real app over a real job service: SQLite and a folder. No broker runs: jobs stay queued until tests end them."""

from contextlib import contextmanager
from functools import partial
from hashlib import sha256

import httpx
import pytest
from anyio.from_thread import start_blocking_portal

from api.app import create_app
from worker.jobs.common.settings import Settings
from worker.jobs.database.connection import open_database
from worker.jobs.files.object_store import ObjectStore
from worker.jobs.job_service import JobService
from worker.jobs.records.jobs import JobRecords
from worker.jobs.records.models import StoredFile

BASE = "http://drawers.test"


@pytest.fixture(scope="module")
def settings(tmp_path_factory):
    return Settings.read(data_dir=tmp_path_factory.mktemp("data"), largest_body=100_000, allowed_hosts="drawers.test")


@pytest.fixture(scope="module")
def job_service(settings):
    with JobService.open(settings) as job_service:
        yield job_service


class Service:
    """A client of an app that runs in another thread."""

    def __init__(self, portal, client, app):
        self._portal, self._client, self.app = portal, client, app

    def request(self, method, url, **options):
        return self._portal.call(partial(self._client.request, method, url, **options))

    def get(self, url, **options):
        return self.request("GET", url, **options)

    def head(self, url, **options):
        return self.request("HEAD", url, **options)

    def post(self, url, **options):
        return self.request("POST", url, **options)

    def delete(self, url, **options):
        return self.request("DELETE", url, **options)


@pytest.fixture(scope="session")
def started():
    """Give a context in which an app runs, from its start to its end."""

    @contextmanager
    def start(app):
        transport = httpx.ASGITransport(app, raise_app_exceptions=False)
        with (
            start_blocking_portal() as portal,
            portal.wrap_async_context_manager(app.router.lifespan_context(app)),
            portal.wrap_async_context_manager(httpx.AsyncClient(transport=transport, base_url=BASE)) as client,
        ):
            yield Service(portal, client, app)

    return start


@pytest.fixture(scope="module")
def service(job_service, started):
    """Give a client of the app."""
    with started(create_app(job_service)) as client:
        yield client


@pytest.fixture(scope="module")
def records(settings):
    database = open_database(settings.database)
    yield JobRecords(database)
    database.dispose()


@pytest.fixture(scope="module")
def blobs(settings):
    return ObjectStore.open(settings)


@pytest.fixture(scope="module")
def claimed(records):
    """Give a function that adds a job and claims it as a worker does; returns the claim."""

    def make():
        job = records.add("bench left", "{}")
        return records.claim(job.id, lease_seconds=600.0, attempts=3)

    return make


@pytest.fixture(scope="module")
def succeeded(records, blobs, claimed):
    """Give a function that ends a job with files of these bytes by name; returns the job's identity."""

    def make(**files):
        claim = claimed()
        stored = []
        for name, data in files.items():
            checksum = sha256(data).hexdigest()
            blobs.put(f"test/{checksum}", data)
            stored.append(StoredFile(name, "model/stl", len(data), checksum, f"test/{checksum}"))
        assert records.succeed(claim, stored)
        return claim.job_id

    return make


@pytest.fixture
def spec():
    return {
        "spec": "1",
        "name": "bench left",
        "drawers": [{"name": "top", "width": 136, "depth": 136, "height": 40}],
        "printer": {"bed": [180, 180, 180]},
    }


@pytest.fixture
def take_record_away(until):
    """Give a function that replaces the SQLite file of a job service by a folder while its threads run."""

    def taken(folder):
        for path in folder.glob("jobs.sqlite3*"):
            path.unlink(missing_ok=True)
        try:
            (folder / "jobs.sqlite3").mkdir()
        except FileExistsError:  # a thread of the service created it in between
            return False
        return True

    def take_away(job_service):
        assert until(lambda: taken(job_service.settings.data_dir))
        job_service._database.dispose()  # what was open still has the old file

    return take_away


@pytest.fixture(scope="module")
def closed_job_service(closed_settings):
    """A job service with the settings of the test's own file, which has a key."""
    with JobService.open(closed_settings) as job_service:
        job_service.keys.create("first", ["admin"])
        yield job_service


@pytest.fixture(scope="module")
def closed(closed_job_service, started):
    """A service that has keys."""
    with started(create_app(closed_job_service)) as client:
        yield client
