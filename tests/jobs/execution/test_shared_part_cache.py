"""Two workers that need the same parts at once: each part is built once, and a lost worker delays nobody for long."""

import time
from collections import Counter
from concurrent.futures import ThreadPoolExecutor

import pytest

from worker.jobs.database.connection import open_database
from worker.jobs.execution import pipeline
from worker.jobs.execution.job_outcome import JobOutcome
from worker.jobs.execution.job_runner import JobRunner
from worker.jobs.execution.shared_part_cache import SharedPartCache
from worker.jobs.files.part_cache import StoredPartCache
from worker.jobs.records.jobs import JobRecords
from worker.jobs.records.part_locks import PartLocks
from worker.solids import digest

pytestmark = pytest.mark.service


@pytest.fixture
def document(spec):
    """A job of many small parts."""
    trays = [{"name": f"tray {number}", "cells": [1, 1], "height": 20 + number} for number in range(6)]
    drawer = {"name": "wide", "width": 180, "depth": 180, "height": 90, "trays": trays}
    return spec(drawers=[drawer]).model_dump_json()


@pytest.fixture
def built(monkeypatch):
    """How many times each shape was built."""
    count, build = Counter(), pipeline.build

    def counting(shape):
        count[digest(shape)] += 1
        time.sleep(0.05)  # long enough for two to meet
        return build(shape)

    monkeypatch.setattr(pipeline, "build", counting)
    return count


def test_two_jobs_at_once_build_what_they_share_once(settings, blobs, records, document, built):
    jobs = [records.add("bench left", document).id for _ in range(2)]

    def run(job_id):
        database = open_database(settings.database)
        try:
            return JobRunner(settings, JobRecords(database), blobs).run(job_id)
        finally:
            database.dispose()

    with ThreadPoolExecutor(2) as pool:
        assert set(pool.map(run, jobs)) == {JobOutcome.SUCCEEDED}
    assert set(built.values()) == {1}
    first, second = (
        {file.name: file.sha256 for file in records.files(job) if file.key.startswith("parts/")} for job in jobs
    )
    assert first == second != {}


def test_a_part_whose_builder_is_gone_is_waited_for_no_longer_than_its_lock_lasts(records, blobs):
    gone = PartLocks(records._engine, 1.0)
    store = SharedPartCache(StoredPartCache(records, blobs), PartLocks(records._engine, 2.0))
    assert gone.acquire("d" * 64)
    begun = time.monotonic()
    assert store.find("d" * 64, "bed") is None
    assert time.monotonic() - begun >= 0.2
    assert not gone.acquire("d" * 64)
    with store:
        pass
    assert gone.acquire("d" * 64)


def test_the_next_attempt_has_the_locks_of_one_that_was_lost(records):
    lost, following, other = (records.part_locks(name) for name in ("a job", "a job", "another"))
    assert lost.acquire("d" * 64)
    assert not other.acquire("d" * 64)
    assert following.acquire("d" * 64)
