import sqlite3
import time
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager

import pytest
from sqlalchemy import create_engine, event, text
from sqlalchemy.exc import DBAPIError, OperationalError

from api.app import create_app
from api.http.problems.database_faults import error_of
from worker.jobs.common.settings import Settings
from worker.jobs.job_service import JobService
from worker.jobs.records.api_keys import ApiKeys


@pytest.fixture
def own(tmp_path):
    with JobService.open(Settings.read(data_dir=tmp_path, allowed_hosts="drawers.test")) as job_service:
        yield job_service


@pytest.fixture
def client(own, started):
    with started(create_app(own)) as client:
        yield client


@contextmanager
def _pragmas(job_service, *pragmas):
    """Run these pragmas on each connection while this lasts."""

    def run(connection, *_):
        cursor = connection.cursor()
        for pragma in pragmas:
            cursor.execute(f"PRAGMA {pragma}")
        cursor.close()

    event.listen(job_service._database, "checkout", run)
    try:
        yield
    finally:
        event.remove(job_service._database, "checkout", run)
        job_service._database.dispose()  # a connection keeps its pragmas


def _is_problem(answer, slug):
    assert answer.status_code == 503
    assert int(answer.headers["retry-after"]) > 0
    assert answer.headers["content-type"] == "application/problem+json"
    problem = answer.json()
    assert problem["type"].endswith(f"/problems/{slug}")
    assert problem["remedy"]


def test_a_full_record_takes_no_job_but_shows_all_that_there_are(client, own, spec):
    location = client.post("/v1/jobs", json=spec).headers["location"]
    with _pragmas(own, "max_page_count = 1"):  # never less than there are
        taken = []
        while (answer := client.post("/v1/jobs", json=spec)).status_code == 202:
            taken.append(answer.json()["id"])
            assert len(taken) < 1_000
        _is_problem(answer, "record-full")
        _is_problem(client.post("/v1/batches", json={"batch": "1", "name": "b", "specs": [spec] * 50}), "record-full")
        assert client.get(location).status_code == 200
        listed = client.get("/v1/jobs?limit=100").json()["jobs"]
        assert len(listed) == min(len(taken) + 1, 100)
        # whether a longer row needs one more page depends on where the rows lie: cancelling works, or changes nothing
        if (answer := client.delete(location)).status_code != 200:
            _is_problem(answer, "record-full")
            assert client.get(location).json()["state"] == "queued"
    if answer.status_code != 200:
        answer = client.delete(location)
    assert answer.json()["state"] == "cancelled"
    assert client.delete(f"{location}/files").status_code == 204
    assert client.post("/v1/jobs", json=spec).status_code == 202


def test_a_record_that_others_write_to_is_busy(client, own, spec, tmp_path):
    other = sqlite3.connect(tmp_path / "jobs.sqlite3", isolation_level=None)
    with _pragmas(own, "busy_timeout = 0"):
        other.execute("BEGIN IMMEDIATE")
        _is_problem(client.post("/v1/jobs", json=spec), "record-busy")
        assert client.get("/v1/jobs").json()["jobs"] == []
        other.execute("ROLLBACK")
        assert client.post("/v1/jobs", json=spec).status_code == 202
    other.close()


def test_who_waits_for_a_writer_holds_nobody_else_up(client, spec, tmp_path):
    other = sqlite3.connect(tmp_path / "jobs.sqlite3", isolation_level=None, check_same_thread=False)
    other.execute("BEGIN IMMEDIATE")
    with ThreadPoolExecutor() as pool:
        answer = pool.submit(client.post, "/v1/jobs", json=spec)
        begun = time.monotonic()
        for _ in range(20):
            assert client.get("/livez").status_code == 200
            assert client.get("/v1/jobs").json()["jobs"] == []
        assert time.monotonic() - begun < 5.0  # a third of what is waited for a writer
        assert not answer.done()
        other.execute("COMMIT")
        assert answer.result().status_code == 202
    other.close()


def test_a_key_opens_though_its_use_cannot_be_noted(client, own, monkeypatch):
    _, key = own.keys.create("reader", frozenset({"read"}))

    def full(*_):
        raise OperationalError("UPDATE", {}, sqlite3.OperationalError("database or disk is full"))

    monkeypatch.setattr(ApiKeys, "used", full)
    assert client.get("/v1/jobs", headers={"Authorization": f"Bearer {key.get_secret_value()}"}).status_code == 200


def test_an_error_in_our_own_sql_is_no_database_fault():
    database = create_engine("sqlite://")
    with database.connect() as connection, pytest.raises(OperationalError) as raised:
        connection.execute(text("SELECT 1 FROM nowhere"))
    assert error_of(raised.value) is None
    database.dispose()


@pytest.mark.parametrize(
    ("state", "slug"),
    [
        ("53100", "record-full"),
        ("53300", "not-ready"),
        ("57P01", "not-ready"),
        ("40P01", "record-busy"),
        ("55P03", "record-busy"),
        ("55000", None),
        ("42P01", None),
        (None, None),
    ],
)
def test_states_of_postgresql(state, slug):
    cause = Exception("as it says")
    cause.sqlstate = state
    error = error_of(DBAPIError("INSERT", {}, cause))
    assert (error and error.slug) == slug


def test_a_connection_that_was_lost_is_not_ready():
    assert error_of(DBAPIError("INSERT", {}, Exception("gone"), connection_invalidated=True)).slug == "not-ready"


def test_a_damaged_record_is_named_with_the_way_back(client, own, spec):
    client.post("/v1/jobs", json=spec)
    own._database.dispose()
    path = own.settings.data_dir / "jobs.sqlite3"
    with sqlite3.connect(path) as connection:
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        size = connection.execute("PRAGMA page_size").fetchone()[0]
    connection.close()
    with path.open(
        "r+b"
    ) as file:  # a file that is written anew is empty for a moment, and a thread may look at it then
        file.seek(size)
        file.write(b"\xff" * (path.stat().st_size - size))
    answer = client.get("/v1/jobs")
    _is_problem(answer, "record-damaged")
    assert "drawerwright restore" in answer.json()["remedy"]
    ready = client.get("/readyz")
    assert ready.status_code == 503
    assert "drawerwright restore" in ready.json()["remedy"]
