"""Repacking when it goes wrong: the record says why a run has no file, and it is tried again later."""

from datetime import timedelta
from hashlib import sha256

import pytest
from obstore.exceptions import GenericError

from tests.printing.progress.planned_manifest import bench
from worker.jobs.common.backoff import Backoff
from worker.jobs.database.connection import open_database
from worker.jobs.database.db_clock import utc_now
from worker.jobs.execution.job_outcome import JobOutcome
from worker.jobs.execution.job_runner import JobRunner
from worker.jobs.execution.run_repacker import RunRepacker
from worker.jobs.execution.transient_errors import TaskOutcome
from worker.jobs.records.models import StoredFile, run_file_name
from worker.jobs.records.print_events import PrintRecords
from worker.printing.progress.remaining import begin, follow
from worker.spec.manifest import Manifest
from worker.spec.requests.print_event import PrintEvent


@pytest.fixture
def prints(settings):
    database = open_database(settings.database)
    yield PrintRecords(database)
    database.dispose()


@pytest.fixture
def job(records, blobs, prints):
    """A job whose parts have no files, and of which a run failed."""
    spec, manifest = bench()
    data = manifest.model_dump_json().encode()
    added = records.add(spec.name, spec.model_dump_json())
    file = StoredFile("manifest.json", "application/json", len(data), sha256(data).hexdigest(), f"jobs/{added.id}/m")
    blobs.put(file.key, data)
    assert records.succeed(records.claim(added.id, lease_seconds=60.0, attempts=3), [file])
    _fail(prints, added.id, 1)
    return added.id


def _fail(prints, job, run):
    spec, manifest = bench()
    event = PrintEvent(outcome="failed", run=run)
    prints.record(job, event, lambda before: follow(before or begin(manifest), event, manifest, spec))


class _Away:
    """A store that is away."""

    def get(self, key):
        raise GenericError(key)


@pytest.fixture
def pauses(monkeypatch):
    """Give a function that has all pauses take this many seconds."""
    return lambda seconds: monkeypatch.setattr(
        "worker.jobs.records.print_events._PAUSES", Backoff(seconds, 1.0, seconds)
    )


def _due(prints):
    return prints.waiting(quiet_seconds=60.0, limit=10)


def test_what_cannot_be_written_is_told_and_tried_again_with_the_next_event(records, prints, blobs, job):
    repacking = RunRepacker(records, prints, blobs)
    assert repacking.repack(job) is TaskOutcome.FAILED
    status = prints.status(job)
    assert status.repack
    assert status.problem["status"] == 500
    assert repacking.repack(job) is TaskOutcome.NOT_DUE
    _fail(prints, job, 2)
    assert prints.status(job).problem is None
    assert _due(prints) == [job]


def test_while_the_store_is_away_it_is_put_off_and_not_for_ever(records, prints, job):
    repacking = RunRepacker(records, prints, _Away(), attempts=2)
    outcomes = [repacking.repack(job) for _ in range(4)]
    assert outcomes == [TaskOutcome.RETRY, TaskOutcome.RETRY, TaskOutcome.FAILED, TaskOutcome.NOT_DUE]
    assert "in 2 attempts" in prints.status(job).problem["detail"]


@pytest.fixture
def built(settings, records, blobs, prints, spec):
    """A job as a worker builds it, of which a run failed."""
    requested = spec({"name": "screws", "cells": [1, 1], "height": 20})
    job = records.add(requested.name, requested.model_dump_json()).id
    assert JobRunner(settings, records, blobs).run(job) is JobOutcome.SUCCEEDED
    manifest = Manifest.model_validate_json(blobs.get(records.file(job, "manifest.json").key))
    event = PrintEvent(outcome="failed", run=1)
    prints.record(job, event, lambda _: follow(begin(manifest), event, manifest, requested))
    return job


def test_what_could_not_be_written_heals_by_itself_once_the_fault_is_gone(records, prints, blobs, built, pauses):
    pauses(0.0)
    away = RunRepacker(records, prints, _Away(), attempts=1)
    assert [away.repack(built) for _ in range(2)] == [TaskOutcome.RETRY, TaskOutcome.FAILED]
    assert _due(prints) == [built]
    assert RunRepacker(records, prints, blobs).repack(built) is TaskOutcome.DONE
    status = prints.status(built)
    assert (status.repack, status.problem, status.retry) == (False, None, None)
    names = {file.name for file in records.files(built)}
    assert all(run_file_name(run.number) in names for run in status.state.open)
    assert _due(prints) == []


def test_a_pause_is_kept_and_the_tries_after_it_are_as_many_as_before(records, prints, job, pauses):
    pauses(60.0)
    repacking = RunRepacker(records, prints, _Away(), attempts=2)
    assert [repacking.repack(job) for _ in range(3)][-1] is TaskOutcome.FAILED
    assert prints.status(job).retry > utc_now() + timedelta(seconds=40.0)
    assert (repacking.repack(job), _due(prints)) == (TaskOutcome.NOT_DUE, [])
    _fail(prints, job, 2)
    pauses(0.0)
    again = [repacking.repack(job) for _ in range(7)]
    assert again == [TaskOutcome.RETRY, TaskOutcome.RETRY, TaskOutcome.FAILED] * 2 + [TaskOutcome.RETRY]


def test_pauses_grow_and_come_to_an_end(prints, job, monkeypatch):
    monkeypatch.setattr("worker.jobs.records.print_events._MOST_PAUSES", 3)
    pauses = []
    for _ in range(4):
        assert prints.fail(job, 1, {"detail": "no"})
        pauses.append(prints.status(job).retry)
    assert pauses[:3] == sorted(pauses[:3])
    assert pauses[2] - pauses[0] > timedelta(minutes=4)
    assert pauses[3] is None
    assert _due(prints) == []
    _fail(prints, job, 2)
    assert prints.fail(job, 2, {"detail": "no"})
    assert prints.status(job).retry < pauses[2]  # new runs begin anew


def test_where_nothing_is_due_nothing_is_done(records, prints, blobs):
    assert RunRepacker(records, prints, blobs).repack("0" * 26) is TaskOutcome.NOT_DUE
