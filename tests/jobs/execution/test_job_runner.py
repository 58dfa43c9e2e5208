"""One attempt at one job: every way in which it can end, in the record."""

import errno
import time
from dataclasses import replace

import obstore
import pytest
from billiard.exceptions import SoftTimeLimitExceeded
from obstore.exceptions import GenericError
from sqlalchemy import update
from sqlalchemy.exc import OperationalError

from worker.jobs.common.backoff import Backoff
from worker.jobs.common.errors import JobCancelled
from worker.jobs.database.tables import JobRow
from worker.jobs.execution import job_runner, pipeline
from worker.jobs.execution.job_outcome import JobOutcome
from worker.jobs.execution.job_runner import JobRunner
from worker.jobs.execution.pipeline import run_pipeline
from worker.jobs.files.object_store import ObjectStore
from worker.jobs.records.jobs import JobRecords
from worker.jobs.records.models import Progress
from worker.solids.mesh import Mesh
from worker.spec import load

pytestmark = pytest.mark.service

_TRAY = {"name": "bits", "cells": [2, 1], "height": 25}


@pytest.fixture
def runner(settings, records, blobs):
    return JobRunner(settings, records, blobs)


@pytest.fixture
def job(records, spec):
    return records.add("bench left", spec(_TRAY).model_dump_json())


def _keys(blobs):
    return sorted(entry["path"] for page in obstore.list(blobs._store) for entry in page)


def _raising(error):
    def fail(_spec, **_parts):
        raise error

    return fail


def test_a_job_succeeds_and_its_files_are_stored(runner, job, job_service):
    assert runner.run(job.id) is JobOutcome.SUCCEEDED
    done = job_service.job(job.id)
    assert (done.state, done.attempts, done.problem) == ("succeeded", 1, None)
    assert done.progress.done == done.progress.total > 2
    assert {"manifest.json", "bundle.zip"} < {file.name for file in job_service.files(job.id)}
    for file in job_service.files(job.id):
        assert len(b"".join(job_service.read(file))) == file.bytes
    assert runner.run(job.id) is JobOutcome.NOT_CLAIMED


def test_a_failed_check_is_told_and_nothing_is_stored(runner, job, job_service, blobs, monkeypatch):
    build = pipeline.build

    def torn(shape):
        mesh = build(shape)
        return Mesh(mesh.vertices, mesh.triangles[:-1])

    monkeypatch.setattr(pipeline, "build", torn)
    assert runner.run(job.id) is JobOutcome.FAILED
    failed = job_service.job(job.id)
    assert failed.state == "failed"
    assert failed.problem["type"] == "/problems/check-failed"
    assert {"part", "value", "limit"} <= failed.problem.keys()
    assert _keys(blobs) == []


def test_what_nobody_expected_is_told_without_its_inside(runner, job, job_service):
    broken = replace(runner, pipeline=_raising(RuntimeError("secret inside")))
    assert broken.run(job.id) is JobOutcome.FAILED
    problem = job_service.job(job.id).problem
    assert problem["type"] == "/problems/internal-error"
    assert "secret" not in str(problem)


def test_a_job_that_takes_too_long_fails(runner, job, job_service):
    assert replace(runner, pipeline=_raising(SoftTimeLimitExceeded())).run(job.id) is JobOutcome.FAILED
    assert job_service.job(job.id).problem["type"] == "/problems/job-too-long"


def test_what_may_pass_is_tried_again_but_not_for_ever(runner, job, job_service):
    broken = replace(runner, pipeline=_raising(OSError("disk full")))
    assert broken.run(job.id) is JobOutcome.RETRY
    assert job_service.job(job.id).state == "queued"
    assert broken.run(job.id) is JobOutcome.RETRY
    assert broken.run(job.id) is JobOutcome.FAILED
    failed = job_service.job(job.id)
    assert (failed.attempts, failed.problem["type"]) == (3, "/problems/internal-error")


_OUTAGES = [
    GenericError("connection refused"),
    OSError(errno.ENOSPC, "No space left on device"),
    OSError(errno.EIO, "Input/output error"),
    ConnectionRefusedError(errno.ECONNREFUSED, "Connection refused"),
    OperationalError("SELECT 1", {}, Exception("the server closed the connection")),
]


@pytest.mark.parametrize("error", _OUTAGES, ids=lambda error: type(error).__name__)
def test_an_outage_uses_up_no_attempt(runner, job, job_service, error, monkeypatch):
    monkeypatch.setattr(job_runner, "_OUTAGE_BACKOFF", Backoff(0.01, 1.0, 0.01))
    broken = replace(runner, pipeline=_raising(error))
    for number in range(2 * runner.settings.attempts):
        time.sleep(0.02)
        assert broken.run(job.id) is JobOutcome.DEFERRED, number
    waiting = job_service.job(job.id)
    assert (waiting.state, waiting.attempts) == ("queued", 0)
    assert waiting.progress.now == f"waiting: {runner.records.cause(job.id)}"
    time.sleep(0.02)
    assert runner.run(job.id) is JobOutcome.SUCCEEDED
    assert job_service.job(job.id).attempts == 1


def test_a_job_that_met_an_outage_is_not_due_at_once(runner, job, records):
    assert replace(runner, pipeline=_raising(_OUTAGES[0])).run(job.id) is JobOutcome.DEFERRED
    assert records.waiting(quiet_seconds=0.0, limit=9) == []
    assert runner.run(job.id) is JobOutcome.NOT_CLAIMED
    time.sleep(1.3)  # the first pause is a second, a fifth more at most
    assert records.waiting(quiet_seconds=60.0, limit=9) == [job.id]
    assert runner.run(job.id) is JobOutcome.SUCCEEDED


def test_after_an_outage_the_store_is_checked_before_anything_is_computed(runner, job, monkeypatch):
    monkeypatch.setattr(job_runner, "_OUTAGE_BACKOFF", Backoff(0.0, 1.0, 0.0))
    assert replace(runner, pipeline=_raising(_OUTAGES[0])).run(job.id) is JobOutcome.DEFERRED
    computed = []
    idle = replace(runner, pipeline=lambda *_, **__: computed.append(1))
    with monkeypatch.context() as patch:
        patch.setattr(ObjectStore, "check", _raising(_OUTAGES[0]))
        assert idle.run(job.id) is JobOutcome.DEFERRED
    assert computed == []
    assert runner.run(job.id) is JobOutcome.SUCCEEDED


def test_an_outage_of_the_database_is_recorded_once_it_is_over(runner, job, job_service, monkeypatch):
    defer, calls = JobRecords.defer, []

    def away_at_first(*arguments):
        calls.append(arguments)
        if len(calls) < 3:
            raise _OUTAGES[-1]
        return defer(*arguments)

    monkeypatch.setattr(JobRecords, "defer", away_at_first)
    assert replace(runner, pipeline=_raising(_OUTAGES[-1])).run(job.id) is JobOutcome.DEFERRED
    assert (len(calls), job_service.job(job.id).attempts) == (3, 0)


def test_a_claim_that_was_lost_in_an_outage_gives_its_attempt_back(runner, job, records, job_service):
    def outlasted(_spec, **_parts):
        _run_out(records, job.id)
        assert records.claim(job.id, lease_seconds=60.0, attempts=3).attempt == 2
        raise _OUTAGES[0]

    assert replace(runner, pipeline=outlasted).run(job.id) is JobOutcome.LEASE_LOST
    assert job_service.job(job.id).attempts == 1  # that of the claim which holds


def _run_out(records, job_id):
    with records._engine.begin() as connection:
        connection.execute(update(JobRow).where(JobRow.id == job_id).values(lease=records._clock.at(-1.0)))


def test_a_job_whose_workers_die_is_given_up(runner, job, records, job_service):
    for _ in range(runner.settings.attempts):
        assert records.claim(job.id, lease_seconds=0.01, attempts=runner.settings.attempts)
        time.sleep(0.03)
    assert runner.run(job.id) is JobOutcome.FAILED
    assert "in 3 attempts" in job_service.job(job.id).problem["detail"]


def test_a_cancelled_job_stops_and_stays_cancelled(runner, job, job_service):
    def cancelling(spec, *, report, **others):
        def on_progress(progress):
            if progress.done == 1:
                job_service.cancel(job.id)
            report(progress)

        return run_pipeline(spec, report=on_progress, **others)

    assert replace(runner, pipeline=cancelling).run(job.id) is JobOutcome.LEASE_LOST
    assert job_service.job(job.id).state == "cancelled"
    assert job_service.job(job.id).progress.done == 0


def test_a_job_cancelled_during_a_long_step_is_noticed(runner, job, job_service, until):
    def waiting(_spec, *, cancelled, **_others):
        job_service.cancel(job.id)
        until(cancelled)
        raise JobCancelled

    assert replace(runner, pipeline=waiting).run(job.id) is JobOutcome.LEASE_LOST


def test_an_attempt_without_progress_keeps_its_claim(runner, job, records):
    def slow(spec, **parts):
        time.sleep(1.5)  # longer than the lease
        assert records.claim(job.id, lease_seconds=1.0, attempts=3) is None
        return run_pipeline(spec, **parts)

    assert replace(runner, pipeline=slow).run(job.id) is JobOutcome.SUCCEEDED


@pytest.mark.parametrize("harm", ["gone", "damaged"])
def test_a_kept_part_that_was_harmed_is_built_again(runner, job, spec, harm):
    records, blobs = runner.records, runner.blobs
    runner.run(job.id)
    whole = {file.key: blobs.get(file.key) for file in records.files(job.id) if file.key.startswith("parts/")}
    for key, data in whole.items():
        if harm == "gone":
            blobs.delete(key)
        else:
            blobs.put(key, b"\0" * len(data))
    again = records.add("again", spec(_TRAY).model_dump_json())
    assert runner.run(again.id) is JobOutcome.SUCCEEDED
    assert {key: blobs.get(key) for key in whole} == whole


def test_a_record_in_an_older_form_is_built_again(runner, job, records, spec):
    runner.run(job.id)
    store = JobRunner(runner.settings, records, runner.blobs)
    digest, limits = _a_part(records)
    records.add_part(digest, limits, {"form": "older"})
    again = records.add("again", spec(_TRAY).model_dump_json())
    assert store.run(again.id) is JobOutcome.SUCCEEDED
    assert "form" not in records.part(digest, limits)


def _a_part(records):
    from sqlalchemy import select  # noqa: PLC0415 - a look behind the record

    from worker.jobs.database.tables import PartRow  # noqa: PLC0415 - as above

    with records._engine.connect() as connection:
        return tuple(connection.execute(select(PartRow.digest, PartRow.limits)).first())


def test_a_job_that_is_given_up_says_why_it_stopped_last(runner, job, records, job_service):
    claim = records.claim(job.id, lease_seconds=0.01, attempts=3)
    records.report(claim, Progress(3, 9, "tray T4"))
    time.sleep(0.03)
    assert replace(runner, pipeline=_raising(OSError(22, "Invalid argument"))).run(job.id) is JobOutcome.RETRY
    assert records.cause(job.id) == "a file or a connection could not be used (Invalid argument)"
    claim = records.claim(job.id, lease_seconds=0.01, attempts=3)
    records.report(claim, Progress(4, 9, "tray T5"))
    time.sleep(0.03)
    assert runner.run(job.id) is JobOutcome.FAILED
    assert job_service.job(job.id).problem["detail"].endswith("In the last one, its process was lost at: tray T5.")


def test_a_job_whose_process_had_to_be_killed_for_its_time_is_not_tried_again(runner, job, records, job_service):
    hasty = replace(runner, settings=runner.settings.model_copy(update={"job_seconds": 1}))
    claim = records.claim(job.id, lease_seconds=0.6, attempts=3)
    time.sleep(0.5)
    assert records.extend(claim, lease_seconds=0.6)  # it ran for longer than a second, and nobody heard of it again
    time.sleep(0.65)
    assert hasty.run(job.id) is JobOutcome.FAILED
    assert job_service.job(job.id).problem["type"] == "/problems/job-too-long"


def test_drawers_of_the_household_get_codes_that_open_their_pages(runner, records):
    """Without a public URL there are none: phones cannot reach an address of this machine."""
    seen = []

    def pipeline(_spec, *, drawer_pages, **_others):
        seen.append(drawer_pages)
        raise OSError("enough")

    drawers = [
        {"name": "top", "width": 130, "depth": 130, "height": 70},
        {"name": "low", "width": 130, "depth": 130, "height": 70},
    ]
    drawers[0]["id"] = "7" * 26
    spec = load({"spec": "1", "name": "two", "drawers": drawers, "printer": {"bed": [200, 200, 200]}})
    for public_url in ("", "https://drawers.example"):
        settings = runner.settings.model_copy(update={"public_url": public_url})
        job = records.add("two", spec.to_json())
        replace(runner, pipeline=pipeline, settings=settings).run(job.id)
    assert seen == [{}, {"top": f"https://drawers.example/#drawer={'7' * 26}"}]
