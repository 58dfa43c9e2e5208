"""Repacking when it goes wrong: the record says why a run has no file, and the next event is a new try."""

from hashlib import sha256

import pytest
from obstore.exceptions import GenericError

from tests.beds.printed import bench
from worker.beds.remaining import begin, follow
from worker.jobs.database import open_database
from worker.jobs.job import StoredFile
from worker.jobs.prints import Prints
from worker.jobs.repacking import Repacked, Repacking
from worker.spec.prints import PrintEvent


@pytest.fixture
def prints(settings):
    database = open_database(settings.database)
    yield Prints(database)
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


def test_what_cannot_be_written_is_told_and_tried_again_with_the_next_event(records, prints, blobs, job):
    repacking = Repacking(records, prints, blobs)
    assert repacking.repack(job) is Repacked.FAILED
    status = prints.status(job)
    assert status.repack
    assert status.problem["status"] == 500
    assert repacking.repack(job) is Repacked.NOTHING
    _fail(prints, job, 2)
    assert prints.status(job).problem is None
    assert prints.waiting(quiet_seconds=60.0, limit=10) == [job]


def test_while_the_store_is_away_it_is_put_off_and_not_for_ever(records, prints, job):
    repacking = Repacking(records, prints, _Away(), attempts=2)
    outcomes = [repacking.repack(job) for _ in range(4)]
    assert outcomes == [Repacked.PUT_OFF, Repacked.PUT_OFF, Repacked.FAILED, Repacked.NOTHING]
    assert "2 times" in prints.status(job).problem["detail"]


def test_where_nothing_is_due_nothing_is_done(records, prints, blobs):
    assert Repacking(records, prints, blobs).repack("0" * 26) is Repacked.NOTHING
