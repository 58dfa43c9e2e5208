"""Faults with the record in PostgreSQL and the files in an S3-compatible store, and two workers."""

import time

import psycopg
import pytest
from sqlalchemy import make_url

from tests.faults.specs import large

pytestmark = pytest.mark.service


@pytest.fixture(scope="module")
def far(elsewhere, tmp_path_factory, until):
    """A plant of two workers on servers."""
    from tests.faults.conftest import plants  # noqa: PLC0415 - beside its only use

    for make in plants(lambda: tmp_path_factory.mktemp("plant"), until):
        made = make(attempts=6, **elsewhere())
        for name in ("first", "second"):
            made.start_worker(name, wait=False)
        for name in ("first", "second"):
            made.await_worker(name)
        yield made


def _end_connections(url):
    """End all connections to the database but this one, whatever they are at; return how many."""
    plain = make_url(url).set(drivername="postgresql").render_as_string(hide_password=False)
    others = "FROM pg_stat_activity WHERE pid <> pg_backend_pid() AND backend_type = 'client backend'"
    with psycopg.connect(plain, autocommit=True) as connection:
        return len(connection.execute(f"SELECT pg_terminate_backend(pid) {others}").fetchall())


def test_connections_to_the_record_are_cut_in_the_middle_of_an_attempt(far, job_service_of, until, succeeds, figures):
    job_service, spec = job_service_of(far), large("cut")
    job = job_service.submit(spec)
    until(lambda: job_service.job(job.id).progress.done >= 3)
    cut = 0
    for _ in range(4):
        cut += _end_connections(far.settings.database)
        time.sleep(0.1)
    done = succeeds(far, job_service, job, spec)
    figures(f"{cut} connections to PostgreSQL cut: succeeded in attempt {done.attempts}")
