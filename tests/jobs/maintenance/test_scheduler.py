"""One leader keeps things up: jobs are sent again, and files that no record names go, and no others."""

import os
import time
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from worker.jobs.common.settings import Settings
from worker.jobs.files.object_store import ObjectStore
from worker.jobs.files.part_cache import BuiltPart, PartFile, StoredPartCache
from worker.jobs.job_service import JobService
from worker.jobs.maintenance.leader_lease import LeaderLease
from worker.jobs.maintenance.orphan_sweep import OrphanSweep, SweepPosition
from worker.jobs.processes.process_host import broker
from worker.jobs.records.batches import BatchRecords, CheckedSpec
from worker.jobs.records.models import StoredFile
from worker.jobs.records.part_locks import PartLocks

pytestmark = pytest.mark.service


@pytest.fixture
def sweep(database, blobs):
    return OrphanSweep(database, blobs, 0.0)


def _once(sweep):
    """One pass from the beginning: all jobs, and the first shares of the parts, where all digests here are."""
    return sweep.run(SweepPosition())[1]


def _keys(blobs):
    return {stored.key for prefix in ("jobs", "parts") for stored in blobs.under(prefix)}


def _part(digest, data=b"solid", limits="bed"):
    return BuiltPart(digest, limits, 1, 1.0, 1.0, (), (PartFile.of("stl", data),))


def test_of_many_candidates_one_leads(database):
    candidates = [LeaderLease(database, "maintenance", 60.0) for _ in range(6)]
    with ThreadPoolExecutor(6) as pool:
        leads = list(pool.map(LeaderLease.acquire, candidates))
    assert sum(leads) == 1
    first = candidates[leads.index(True)]
    first.save_cursor("half way")
    assert first.acquire()
    other = candidates[leads.index(False)]
    other.save_cursor("not mine")
    assert not other.acquire()
    assert LeaderLease(database, "something else", 60.0).acquire()
    first.release()
    assert other.acquire()
    assert other.cursor() == "half way"
    assert not first.acquire()


def test_a_leader_that_is_silent_is_followed(database):
    first, second = (LeaderLease(database, "maintenance", 0.2) for _ in range(2))
    assert first.acquire()
    assert not second.acquire()
    time.sleep(0.3)
    assert second.acquire()
    assert not first.acquire()


def test_what_records_name_stays_and_the_rest_goes(records, blobs, sweep):
    done, lost, running = (records.add("bench left", "{}").id for _ in range(3))
    parts = StoredPartCache(records, blobs)
    kept, shared, orphan = _part("0a" * 32), _part("0b" * 32), _part("0c" * 32)
    parts.keep(kept)
    for part in (shared, orphan):
        blobs.put(part.key(part.files[0]), b"solid")
    blobs.put(kept.key(kept.files[0]).replace(".stl", "-older.stl"), b"older")
    named = StoredFile("manifest.json", "application/json", 2, "0" * 64, f"jobs/{done}/0-manifest.json")
    of_shared = StoredFile("T1.stl", "model/stl", 5, "0" * 64, shared.key(shared.files[0]))
    keys = [named.key, f"jobs/{done}/1-manifest.json", f"jobs/{lost}/0-bundle.zip", f"jobs/{running}/0-bundle.zip"]
    for key in (*keys, "jobs/00000000000000000000000000/0-bundle.zip"):
        blobs.put(key, b"{}")
    claim = records.claim(done, lease_seconds=60.0, attempts=3)
    assert records.succeed(claim, [named, of_shared])
    assert records.cancel(lost)
    assert records.claim(running, lease_seconds=60.0, attempts=3)
    assert _once(OrphanSweep(sweep._database, blobs, 3600.0)) == 0  # too young
    assert _once(sweep) == 5
    assert _keys(blobs) == {named.key, keys[3], kept.key(kept.files[0]), shared.key(shared.files[0])}
    assert _once(sweep) == 0
    assert parts.find(kept.digest, kept.limits) == kept


def test_a_part_that_is_stored_while_the_sweep_looks_stays(records, blobs, sweep, monkeypatch):
    """Between the first look and the lock, a job may store the same part, or name its file: the sweep looks again."""
    parts = StoredPartCache(records, blobs)
    stored, named, rewritten, orphan = (_part(f"0{digit}" * 32) for digit in "abcd")
    for part in (stored, named, rewritten, orphan):
        blobs.put(part.key(part.files[0]), b"solid")
    job = records.add("bench left", "{}").id
    claim = records.claim(job, lease_seconds=60.0, attempts=3)
    acquire = PartLocks.acquire

    def late(locks, digest):
        if digest == stored.digest:
            parts.keep(stored)
        elif digest == named.digest:
            file = StoredFile("T1.stl", "model/stl", 5, "0" * 64, named.key(named.files[0]))
            assert records.succeed(claim, [file])
        elif digest == rewritten.digest:
            time.sleep(1.1)  # some stores keep whole seconds
            blobs.put(rewritten.key(rewritten.files[0]), b"solid")
        return acquire(locks, digest)

    monkeypatch.setattr(PartLocks, "acquire", late)
    assert _once(sweep) == 1
    assert _keys(blobs) == {part.key(part.files[0]) for part in (stored, named, rewritten)}


def test_of_a_batch_what_its_record_names_stays_and_nothing_goes_before_its_end(records, database, blobs, sweep):
    batches, files = BatchRecords(database), {}
    for name in ("ended", "gathering"):
        batch, (job,) = batches.add(name, [CheckedSpec("bench left", "{}")], owner="o")
        assert records.cancel(job)
        token = batches.claim(batch, lease_seconds=60.0, attempts=3)
        files[name] = StoredFile("run-01.3mf", "model/3mf", 2, "0" * 64, f"batches/{batch}/1-run-01.3mf")
        for key in (files[name].key, f"batches/{batch}/0-run-01.3mf", f"batches/{'0' * 26}/0-manifest.json"):
            blobs.put(key, b"{}")
        if name == "ended":
            assert batches.finish(batch, token, [files[name]])
    assert _once(OrphanSweep(database, blobs, 3600.0)) == 0  # too young
    assert _once(sweep) == 2
    left = {stored.key for stored in blobs.under("batches")}
    assert left == {files["ended"].key, files["gathering"].key, f"batches/{batch}/0-run-01.3mf"}
    assert batches.fail(batch, token, {})
    assert _once(sweep) == 2  # without a manifest no file is named
    assert {stored.key for stored in blobs.under("batches")} == {files["ended"].key}


def test_a_part_that_is_being_built_is_left_alone(database, blobs, sweep):
    part, claims = _part("0d" * 32), PartLocks(database)
    blobs.put(part.key(part.files[0]), b"solid")
    assert claims.acquire(part.digest)
    assert _once(sweep) == 0
    claims.release(part.digest)
    assert _once(sweep) == 1


def test_a_part_that_was_kept_after_the_first_look_stays(records, blobs, sweep, monkeypatch):
    part = _part("0d" * 32)
    key = part.key(part.files[0])
    blobs.put(key, b"solid")
    acquire = PartLocks.acquire

    def keep_then_acquire(locks, digest):
        files = [{"suffix": file.suffix, "sha256": file.sha256} for file in part.files]
        records.add_part(digest, part.limits, {"files": files})
        return acquire(locks, digest)

    monkeypatch.setattr(PartLocks, "acquire", keep_then_acquire)
    assert _once(sweep) == 0
    assert key in _keys(blobs)


def test_a_file_that_was_written_after_the_first_look_stays(blobs, sweep, monkeypatch):
    part = _part("0d" * 32)
    key = part.key(part.files[0])
    blobs.put(key, b"solid")
    acquire = PartLocks.acquire

    def write_then_acquire(locks, digest):
        time.sleep(1.1)  # stores of the S3 kind keep whole seconds
        blobs.put(key, b"solid")
        return acquire(locks, digest)

    monkeypatch.setattr(PartLocks, "acquire", write_then_acquire)
    assert _once(sweep) == 0
    assert key in _keys(blobs)


def test_one_pass_is_bounded_and_the_next_goes_on(blobs, sweep, monkeypatch):
    monkeypatch.setattr("worker.jobs.maintenance.orphan_sweep._JOBS", 2)
    monkeypatch.setattr("worker.jobs.maintenance.orphan_sweep._BATCHES", 1)
    for number in range(5):
        blobs.put(f"jobs/{number:026}/x", b"x")
    for number in range(3):
        blobs.put(f"batches/{number:026}/x", b"x")
    place, counts = SweepPosition(), []
    for _ in range(3):
        place, removed = sweep.run(place)
        counts.append(removed)
    assert counts == [3, 3, 2]
    assert SweepPosition.read(place.write()) == place == SweepPosition(share=48)
    assert SweepPosition.read(SweepPosition("j", 3, "b").write()) == SweepPosition("j", 3, "b")
    assert SweepPosition.read("j 3") == SweepPosition("j", 3)  # as an earlier version wrote it
    assert SweepPosition.read("nonsense") == SweepPosition.read(None) == SweepPosition()


def test_what_a_killed_writer_left_goes(tmp_path):
    blobs = ObjectStore.open(Settings.read(data_dir=tmp_path))
    blobs.put("parts/ab/x/1.stl", b"whole")
    unfinished = Path(tmp_path, "blobs", "parts", "ab", "x", "1.stl#1")
    unfinished.write_bytes(b"ha")
    assert blobs.sweep_unfinished(datetime.now(UTC) - timedelta(hours=1)) == 0
    os.utime(unfinished, (0, 0))
    assert blobs.sweep_unfinished(datetime.now(UTC) - timedelta(hours=1)) == 1
    assert blobs.get("parts/ab/x/1.stl") == b"whole"


def test_an_engine_keeps_up_and_leaves_it_to_another_when_closed(settings, spec):
    settings = settings.model_copy(update={"orphan_seconds": 0.0})
    with JobService.open(settings) as second:
        with JobService.open(settings) as first:
            job = first.submit(spec())
            first._blobs.put("jobs/00000000000000000000000000/x", b"x")
            with broker(settings.socket):
                assert first.run_maintenance() == 1
                assert second.run_maintenance() is None
            assert _keys(first._blobs) == set()
        first.close()
        with broker(settings.socket):
            assert first.run_maintenance() is None  # a look that began before the end
            assert second.run_maintenance() == 1  # this broker knows nothing
        assert second.job(job.id).state == "queued"
