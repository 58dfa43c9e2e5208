"""The record: every change of state is compare-and-set, so of two that come together one wins."""

import itertools
import time
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta

import pytest

from worker.jobs.common.errors import SettingsError
from worker.jobs.common.ids import new_id
from worker.jobs.database.connection import open_database
from worker.jobs.records.models import Progress, StoredFile

pytestmark = pytest.mark.service

_FILE = StoredFile("T1.stl", "model/stl", 84, "0" * 64, "parts/x.stl")


def _claim(records, job, seconds=60.0, attempts=3):
    return records.claim(job.id, lease_seconds=seconds, attempts=attempts)


def test_a_job_goes_from_queued_to_succeeded(records):
    job = records.add("bench left", "{}")
    assert records.job(job.id) == job
    assert (job.state, job.attempts, job.progress) == ("queued", 0, Progress())
    claim = _claim(records, job)
    assert (claim.spec, claim.attempt) == ("{}", 1)
    assert records.report(claim, Progress(1, 4, "tray T1"))
    running = records.job(job.id)
    assert (running.state, running.progress) == ("running", Progress(1, 4, "tray T1"))
    assert records.succeed(claim, [_FILE])
    done = records.job(job.id)
    assert (done.state, done.progress, done.ended) == ("succeeded", Progress(4, 4), True)
    assert job.created <= running.started <= done.finished <= datetime.now(UTC)
    assert done.finished.utcoffset() == timedelta(0)
    assert records.files(job.id) == [_FILE]
    assert records.file(job.id, "T1.stl") == _FILE
    assert records.file(job.id, "T2.stl") is None


def test_of_many_claims_made_together_one_wins(records):
    job = records.add("bench left", "{}")
    with ThreadPoolExecutor(8) as pool:
        claims = list(pool.map(lambda _: _claim(records, job), range(16)))
    assert sum(claim is not None for claim in claims) == 1
    assert records.job(job.id).attempts == 1


def test_a_claim_that_ran_out_is_fenced_off(records):
    job = records.add("bench left", "{}")
    first = _claim(records, job, seconds=0.05)
    time.sleep(0.1)
    second = _claim(records, job)
    assert second.attempt == 2
    assert not records.report(first, Progress(3, 4))
    assert not records.extend(first, lease_seconds=60.0)
    assert not records.succeed(first, [_FILE])
    assert not records.fail(first, {})
    assert not records.release(first)
    assert records.files(job.id) == []
    assert records.succeed(second, [_FILE])


def test_a_claim_that_is_kept_alive_holds(records):
    job = records.add("bench left", "{}")
    claim = _claim(records, job, seconds=1.0)
    for _ in range(3):
        time.sleep(0.4)
        assert records.extend(claim, lease_seconds=1.0)
    assert _claim(records, job) is None
    assert 0.0 < records.lease_left(job.id) <= 1.0


def test_no_more_claims_than_attempts(records):
    job = records.add("bench left", "{}")
    for attempt in (1, 2):
        assert _claim(records, job, seconds=0.01, attempts=2).attempt == attempt
        time.sleep(0.03)
    assert _claim(records, job, attempts=2) is None
    assert records.give_up(job.id, attempts=2, problem={"title": "given up"})
    assert records.job(job.id).problem == {"title": "given up"}
    assert not records.give_up(job.id, attempts=2, problem={})


def test_nothing_is_given_up_that_somebody_holds(records):
    job = records.add("bench left", "{}")
    _claim(records, job, attempts=1)
    assert not records.give_up(job.id, attempts=1, problem={})


@pytest.mark.parametrize("held", [False, True])
def test_cancelling_ends_a_job_once(records, held):
    job = records.add("bench left", "{}")
    claim = _claim(records, job) if held else None
    assert records.cancel(job.id)
    assert not records.cancel(job.id)
    assert records.job(job.id).state == "cancelled"
    assert _claim(records, job) is None
    if claim is not None:
        assert not records.report(claim, Progress(1, 2))
        assert not records.succeed(claim, [_FILE])
        assert records.job(job.id).state == "cancelled"


def test_cancelling_and_succeeding_together_agree(records):
    for _ in range(10):
        job = records.add("bench left", "{}")
        claim = _claim(records, job)
        with ThreadPoolExecutor(2) as pool:
            cancelled = pool.submit(records.cancel, job.id)
            succeeded = pool.submit(records.succeed, claim, [_FILE])
            assert cancelled.result() != succeeded.result()
        state = records.job(job.id).state
        assert state == ("cancelled" if cancelled.result() else "succeeded")
        assert len(records.files(job.id)) == (state == "succeeded")


def test_who_waits_for_a_message(records):
    silent, sent, lost, done = (records.add("bench left", "{}") for _ in range(4))
    records.mark_enqueued([sent.id, lost.id, done.id])
    _claim(records, lost, seconds=0.01)
    records.succeed(_claim(records, done), [])
    time.sleep(0.05)
    assert records.waiting(quiet_seconds=60.0, limit=10) == [silent.id, lost.id]
    records.mark_enqueued([lost.id])
    assert records.waiting(quiet_seconds=60.0, limit=10) == [silent.id]
    time.sleep(0.05)
    assert records.waiting(quiet_seconds=0.01, limit=10) == [silent.id, sent.id, lost.id]
    assert records.waiting(quiet_seconds=0.01, limit=2) == [silent.id, sent.id]


def test_a_released_job_waits_again(records):
    job = records.add("bench left", "{}")
    records.mark_enqueued([job.id])
    assert records.release(_claim(records, job))
    assert records.job(job.id).state == "queued"
    assert records.waiting(quiet_seconds=60.0, limit=10) == [job.id]
    assert _claim(records, job).attempt == 2


def test_a_message_that_is_spent_is_not_written_down(records):
    new, spent = (records.add("bench left", "{}") for _ in range(2))
    assert records.release(_claim(records, spent), counted=False)
    records.mark_enqueued([new.id, spent.id], new=True)
    assert records.waiting(quiet_seconds=60.0, limit=10) == [spent.id]


def test_jobs_come_newest_first_in_pages(records):
    made = [records.add(f"job {number}", "{}").id for number in range(7)]
    pages, after = [], None
    while page := [job.id for job in records.jobs(3, after)]:
        pages += page
        after = page[-1]
    assert pages == made[::-1]


def test_a_part_is_kept_for_its_limits(records):
    assert records.part("d", "one bed") is None
    records.add_part("d", "one bed", {"volume": 1.5})
    records.add_part("d", "one bed", {"volume": 2.5})
    assert records.part("d", "one bed") == {"volume": 2.5}
    assert records.part("d", "another") is None


def test_identities_sort_as_they_were_made():
    made = [new_id() for _ in range(5000)]
    assert all(a < b for a, b in itertools.pairwise(made))
    assert {len(identity) for identity in made} == {26}


@pytest.mark.parametrize("kind", ["files", "servers"])
def test_many_may_open_an_empty_database_together(kind, tmp_path, request):
    url = f"sqlite:///{tmp_path / 'new.sqlite3'}" if kind == "files" else request.getfixturevalue("postgresql")()
    with ThreadPoolExecutor(8) as pool:
        for database in pool.map(lambda _: open_database(url), range(8)):
            database.dispose()


@pytest.mark.parametrize("url", ["nonsense", "mysql://x/y", "postgresql://127.0.0.1:1/nobody", "sqlite:////dev/null/x"])
def test_a_database_that_cannot_be_opened_is_a_setting(url):
    with pytest.raises(SettingsError):
        open_database(url)
