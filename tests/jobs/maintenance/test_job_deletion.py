"""Deletion: nothing of a removed job is seen, and in the end nothing of it is there."""

from datetime import timedelta

import pytest
from sqlalchemy import func, select, update

from worker.jobs.common.errors import BlobMissing
from worker.jobs.database.tables import DailyUsageRow, JobFileRow, JobRow
from worker.jobs.maintenance.job_deletion import JobDeletion
from worker.jobs.records.models import StoredFile


@pytest.fixture
def deletion(database, blobs):
    return JobDeletion(database, blobs)


@pytest.fixture
def ended_job(records, blobs):
    """Give a function that ends a job with a file of its own and a part that all of them share."""

    def make():
        job = records.add("x", '{"name": "secret drawer"}')
        claim = records.claim(job.id, lease_seconds=60.0, attempts=3)
        own, shared = f"jobs/{job.id}/own", "parts/00/00/shared.stl"
        for key in (own, shared):
            blobs.put(key, b"data")
        files = [StoredFile("own", "x/y", 4, "0", own), StoredFile("shared", "x/y", 4, "0", shared)]
        assert records.succeed(claim, files)
        return job.id

    return make


class _Away:
    """A store that does not answer."""

    def delete(self, key):
        raise OSError("away", key)


def _count(database, table):
    with database.connect() as connection:
        return connection.scalar(select(func.count()).select_from(table))


def test_a_removed_job_is_gone_and_what_it_shared_stays(deletion, database, records, blobs, ended_job):
    gone, stays = ended_job(), ended_job()
    assert deletion.mark(gone)
    assert not deletion.mark(gone)
    assert records.job(gone) is None
    assert records.file(gone, "own") is None
    assert [job.id for job in records.jobs(10, None)] == [stays]
    with database.connect() as connection:
        assert connection.scalar(select(JobRow.spec).where(JobRow.id == gone)) == "{}"
    assert deletion.sweep() == 1
    assert deletion.sweep() == 0
    assert (_count(database, JobRow), _count(database, JobFileRow)) == (1, 2)
    with pytest.raises(BlobMissing):
        blobs.get(f"jobs/{gone}/own")
    assert blobs.get("parts/00/00/shared.stl") == b"data"
    assert records.file(stays, "shared").bytes == 4


def test_a_job_under_way_is_not_removed(deletion, records):
    job = records.add("x", "{}")
    assert not deletion.mark(job.id)
    records.claim(job.id, lease_seconds=60.0, attempts=3)
    assert not deletion.mark(job.id)
    assert records.job(job.id).state == "running"


def test_a_sweep_that_was_stopped_is_taken_up_again(deletion, database, records, ended_job):
    job = ended_job()
    deletion.mark(job)
    with pytest.raises(OSError, match="away"):
        JobDeletion(database, _Away()).sweep()
    assert records.job(job) is None
    assert _count(database, JobFileRow) == 2
    assert deletion.sweep(job) == 1
    assert _count(database, JobFileRow) == 0


def test_jobs_past_their_retention_go_and_others_stay(deletion, database, records, ended_job):
    old, young = ended_job(), ended_job()
    waiting = records.add("x", "{}").id
    with database.begin() as connection:
        connection.execute(
            update(JobRow).where(JobRow.id == old).values(finished=records.job(old).finished - timedelta(days=8))
        )
        connection.execute(DailyUsageRow.__table__.insert().values(owner="k", day="2001-01-01", jobs=3))
    assert deletion.run(0) == 0
    assert deletion.run(9) == 0
    assert deletion.run(7) == 1
    assert {job.id for job in records.jobs(10, None)} == {young, waiting}
    assert _count(database, DailyUsageRow) == 0
