"""The clock is set while jobs run: none is stranded, and of two attempts one finishes."""

from datetime import timedelta

import pytest

from worker.jobs.database import db_clock as clock
from worker.jobs.maintenance.leader_lease import LeaderLease
from worker.jobs.records import jobs as module
from worker.jobs.records.models import StoredFile
from worker.jobs.records.part_locks import PartLocks

pytestmark = pytest.mark.service

_FILE = StoredFile("T1.stl", "model/stl", 84, "0" * 64, "parts/x.stl")


@pytest.fixture
def jump(monkeypatch):
    """Give a function that sets this machine's clock by so many seconds from what it was."""
    true = clock.utc_now

    def by(seconds):
        for patched in (clock, module):
            monkeypatch.setattr(patched, "utc_now", lambda: true() + timedelta(seconds=seconds))

    return by


@pytest.fixture
def server(records):
    """Whether a database server tells the time."""
    return records._engine.dialect.name == "postgresql"


def _claim(records, job, seconds=15.0):
    return records.claim(job.id, lease_seconds=seconds, attempts=3)


@pytest.mark.parametrize("seconds", [3600.0, -3600.0])
def test_of_two_attempts_one_finishes_however_the_clock_is_set(records, jump, server, seconds):
    job = records.add("bench left", "{}")
    first = _claim(records, job)
    jump(seconds)
    second = _claim(records, job)
    assert (second is None) is server  # the server's clock was not set
    assert records.succeed(first, [_FILE]) is server
    if second is not None:
        assert second.attempt == 2
        assert records.succeed(second, [_FILE])
    assert records.job(job.id).state == "succeeded"
    assert len(records.files(job.id)) == 1


def test_a_lost_job_is_found_again_after_the_clock_went_back(records, jump, until):
    job = records.add("bench left", "{}")
    records.mark_enqueued([job.id])
    jump(3600.0)
    _claim(records, job, seconds=1.0)
    jump(0.0)
    until(lambda: records.waiting(quiet_seconds=60.0, limit=10, lease_seconds=1.0) == [job.id], 5.0)
    assert _claim(records, job, seconds=1.0).attempt == 2


def test_a_message_from_before_the_clock_went_back_is_sent_again(records, jump, server):
    job = records.add("bench left", "{}")
    jump(3600.0)
    records.mark_enqueued([job.id])
    assert records.waiting(quiet_seconds=60.0, limit=10) == []
    jump(0.0)
    assert records.waiting(quiet_seconds=60.0, limit=10) == ([] if server else [job.id])


def test_a_small_step_back_takes_nobody_s_job(records, jump):
    job = records.add("bench left", "{}")
    claim = _claim(records, job)
    jump(-10.0)
    assert _claim(records, job) is None
    assert records.extend(claim, lease_seconds=15.0)
    assert records.succeed(claim, [_FILE])


@pytest.mark.parametrize("seconds", [3600.0, -3600.0])
def test_no_right_outlives_a_clock_that_was_set(records, jump, server, seconds):
    leader, claims = LeaderLease(records._engine, "maintenance", 5.0), PartLocks(records._engine, 5.0)
    assert leader.acquire()
    assert claims.acquire("d" * 64)
    jump(seconds)
    assert LeaderLease(records._engine, "maintenance", 5.0).acquire() is not server
    assert PartLocks(records._engine, 5.0).acquire("d" * 64) is not server
