"""The store or the database is away for a while: accepted jobs wait, use up no attempt, and succeed afterwards."""

import time
from contextlib import contextmanager

import psycopg
import pytest
from sqlalchemy import make_url

from tests.faults.conftest import BOUND
from tests.faults.specs import large, small

pytestmark = pytest.mark.service

#: Seconds that the store and the database are away: many times what three attempts without a pause took, 0.5 s. The
#: store is away for longer than the first pauses together, so that jobs are put off several times.
_STORE_AWAY = 20.0
_AWAY = 8.0


def test_a_store_that_is_away_fails_no_job(plant, tmp_path, job_service_of, succeeds, figures):
    folder = tmp_path / "blobs"
    struck = plant(blob_url=folder.as_uri(), attempts=2)
    job_service = job_service_of(struck)
    struck.start_worker()
    succeeds(struck, job_service, job_service.submit(small(60)), small(60))
    aside = folder.rename(tmp_path / "aside")
    folder.touch()  # a file where the folder was: nothing can be read or written
    specs = [large("away"), *(small(61 + kind) for kind in range(4))]
    jobs = [job_service.submit(spec) for spec in specs]
    time.sleep(_STORE_AWAY)
    assert {job_service.job(job.id).state for job in jobs} <= {"queued", "running"}
    folder.unlink()
    aside.rename(folder)
    back = time.monotonic()
    for job, spec in zip(jobs, specs, strict=True):
        assert succeeds(struck, job_service, job, spec).attempts == 1
    count = struck.logs().count(" waits for ")
    assert count >= len(jobs)
    figures(
        f"store away for {_STORE_AWAY:.0f} s: {len(jobs)} jobs were put off {count} times and all succeeded "
        f"{time.monotonic() - back:.1f} s after it was back"
    )


@contextmanager
def _refusing(url):
    """Have a PostgreSQL server end all connections to the database and refuse new ones."""
    target = make_url(url).set(drivername="postgresql")
    maintenance = target.set(database="template1", query={**target.query, "options": ""})
    others = "FROM pg_stat_activity WHERE pid <> pg_backend_pid() AND backend_type = 'client backend'"
    with psycopg.connect(maintenance.render_as_string(hide_password=False), autocommit=True) as connection:
        connection.execute(f"ALTER DATABASE {target.database} WITH ALLOW_CONNECTIONS false")
        try:
            connection.execute(f"SELECT pg_terminate_backend(pid) {others}")
            yield
        finally:
            connection.execute(f"ALTER DATABASE {target.database} WITH ALLOW_CONNECTIONS true")


def test_a_database_that_is_away_fails_no_job(plant, postgresql, job_service_of, succeeds, figures):
    struck = plant(database_url=postgresql(), attempts=2)
    job_service = job_service_of(struck)
    struck.start_worker()
    succeeds(struck, job_service, job_service.submit(small(70)), small(70))
    specs = [large("cut", 24), small(71)]
    jobs = [job_service.submit(spec) for spec in specs]
    struck.until(lambda: job_service.job(jobs[0].id).state == "running", BOUND)
    with _refusing(struck.settings.database):
        time.sleep(_AWAY)  # longer than the lease of a second
    back = time.monotonic()
    for job, spec in zip(jobs, specs, strict=True):
        assert succeeds(struck, job_service, job, spec).attempts == 1
    figures(
        f"database away for {_AWAY:.0f} s, the lease 1 s: {len(jobs)} jobs succeeded "
        f"{time.monotonic() - back:.1f} s after it was back"
    )
