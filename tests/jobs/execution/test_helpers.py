"""Other workers help with a large job: the same parts, each built once; and without them it is done all the same."""

import time
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import pytest

from worker.jobs.database.connection import open_database
from worker.jobs.execution import pipeline
from worker.jobs.execution.helpers import build_for_job
from worker.jobs.execution.job_outcome import JobOutcome
from worker.jobs.execution.job_runner import JobRunner
from worker.jobs.execution.shared_part_cache import SharedPartCache
from worker.jobs.files.part_cache import StoredPartCache
from worker.jobs.records.jobs import JobRecords
from worker.jobs.records.part_locks import PartLocks
from worker.solids import digest

pytestmark = pytest.mark.service


@pytest.fixture
def runner(settings, records, blobs):
    return JobRunner(settings, records, blobs)


@pytest.fixture
def large(spec):
    """A job of many small parts."""
    trays = [{"name": f"tray {number}", "cells": [1, 1], "height": 20 + number} for number in range(12)]
    drawer = {"name": "wide", "width": 220, "depth": 220, "height": 90, "trays": trays}
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


@pytest.fixture
def requests():
    """The messages that an attempt sent."""
    return []


@pytest.fixture
def asking(runner, requests):
    """A runner whose messages are kept."""
    return replace(runner, ask=lambda job_id, key, pieces: requests.extend((job_id, key, piece) for piece in pieces))


def test_helpers_build_what_the_attempt_does_not_and_nothing_twice(runner, large, built, blobs):
    records = runner.records
    alone, helped = (records.add("bench left", large) for _ in range(2))
    counts = []

    def ask(job_id, key, pieces):
        assert pieces == sorted(pieces, reverse=True)
        for piece in pieces:
            own = JobRecords(database)
            counts.append(helpers.submit(build_for_job, own, blobs, job_id, key, piece, stop=lambda: False))

    database = open_database(runner.settings.database)
    with ThreadPoolExecutor(2) as helpers:
        assert replace(runner, ask=ask).run(helped.id) is JobOutcome.SUCCEEDED
    database.dispose()
    assert len(counts) == 3
    assert sum(count.result() for count in counts) > 0
    assert set(built.values()) == {1}
    assert not [stored.key for stored in blobs.under(f"jobs/{helped.id}") if "order" in stored.key]
    assert runner.run(alone.id) is JobOutcome.SUCCEEDED  # with the parts that are there now, and without help
    assert set(built.values()) == {1}
    same = [
        {file.name: file.sha256 for file in records.files(job.id) if file.key.startswith("parts/")}
        for job in (alone, helped)
    ]
    assert same[0] == same[1] != {}


def test_a_job_is_done_without_the_helpers_it_asked(asking, requests, large, records, blobs):
    job = records.add("bench left", large)
    assert asking.run(job.id) is JobOutcome.SUCCEEDED
    assert len(requests) == 3
    assert [build_for_job(records, blobs, *request, stop=lambda: False) for request in requests] == [
        0,
        0,
        0,
    ]  # it has ended
    again = records.add("bench left", large)
    assert asking.run(again.id) is JobOutcome.SUCCEEDED
    assert len(requests) == 3  # nothing was missing


def test_a_small_job_asks_nobody(asking, requests, spec, records):
    job = records.add("bench left", spec({"name": "bits", "cells": [2, 1], "height": 25}).model_dump_json())
    assert asking.run(job.id) is JobOutcome.SUCCEEDED
    assert requests == []


def test_a_part_whose_builder_is_gone_is_waited_for_no_longer_than_its_claim(records, blobs):
    gone = PartLocks(records._engine, 1.0)
    store = SharedPartCache(StoredPartCache(records, blobs), PartLocks(records._engine, 2.0))
    assert gone.acquire("d" * 64)
    assert not store.missing("d" * 64, "bed")
    begun = time.monotonic()
    assert store.find("d" * 64, "bed") is None
    assert time.monotonic() - begun >= 0.2
    assert not gone.acquire("d" * 64)
    with store:
        pass
    assert gone.acquire("d" * 64)


def test_a_helper_stops_when_it_is_told(runner, large, records, blobs):
    stopped = []

    def ask(job_id, key, pieces):
        stopped.append(build_for_job(records, blobs, job_id, key, pieces[0], stop=lambda: True))

    job = records.add("bench left", large)
    assert replace(runner, ask=ask).run(job.id) is JobOutcome.SUCCEEDED
    assert stopped == [0]


def test_the_next_attempt_has_the_claims_of_one_that_was_lost(records):
    lost, following, other = (records.part_locks(name) for name in ("a job", "a job", "another"))
    assert lost.acquire("d" * 64)
    assert not other.acquire("d" * 64)
    assert following.acquire("d" * 64)
