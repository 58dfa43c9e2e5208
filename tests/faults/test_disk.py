"""The disk is full: a job waits and says why, no record names half a file; with space again all goes on."""

import contextlib
import os
import subprocess
import sys
import time
from hashlib import sha256

import httpx
import pytest
from sqlalchemy import select

from tests.faults.conftest import BOUND
from tests.faults.specs import large, small, small_body
from worker.jobs.database.tables import JobFileRow, PartRow
from worker.jobs.files.part_cache import part_key

pytestmark = pytest.mark.service


def _as_root(test):
    """Have a test run as root: where we are not, in a user namespace of its own, in which we may mount a disk."""
    if os.geteuid() == 0:
        return test

    def run(request):
        command = [
            *("unshare", "--user", "--map-root-user", "--mount"),
            *(sys.executable, "-m", "pytest", "-n", "0", "-p", "no:cacheprovider", request.node.nodeid),
        ]
        ended = subprocess.run(command, cwd=request.config.rootpath, capture_output=True, text=True, check=False)
        assert ended.returncode == 0, ended.stdout + ended.stderr

    run.__name__ = test.__name__
    return run


@pytest.fixture
def disk(tmp_path):
    """A disk of 12 MB."""
    folder = tmp_path / "disk"
    folder.mkdir()
    subprocess.run(["mount", "-t", "tmpfs", "-o", "size=12m", "tmpfs", folder], check=True)
    yield folder
    subprocess.run(["umount", "--lazy", folder], check=True)


def _fill(disk):
    ballast = disk / "ballast"
    with contextlib.suppress(OSError), ballast.open("wb", buffering=0) as out:
        while True:
            out.write(bytes(4096))
    return ballast


def _check_named(job_service):
    """Every file that a record names is there, whole and right."""
    with job_service._database.connect() as connection:
        named = dict(list(connection.execute(select(JobFileRow.key, JobFileRow.sha256))))
        for row in connection.execute(select(PartRow.digest, PartRow.record)):
            named |= {
                part_key(row.digest, entry["suffix"], entry["sha256"]): entry["sha256"] for entry in row.record["files"]
            }
    for key, digest in named.items():
        assert sha256(job_service._blobs.get(key)).hexdigest() == digest
    return len(named)


@_as_root
def test_a_full_store(disk, plant, job_service_of, succeeds, figures):
    struck = plant(blob_url=(disk / "blobs").as_uri(), attempts=2)
    job_service = job_service_of(struck)
    struck.start_worker()
    first = job_service.submit(small(40))
    succeeds(struck, job_service, first, small(40))
    ballast = _fill(disk)
    begun = time.monotonic()
    job = job_service.submit(large("full"))
    deferred = f"Job {job.id} waits for"
    struck.until(lambda: struck.logs().count(deferred) > struck.settings.attempts, BOUND)
    waiting = job_service.job(job.id)
    assert (waiting.state, waiting.progress.now) == (
        "queued",
        "waiting: the object store could not be used (GenericError)",
    )
    _check_named(job_service)
    ballast.unlink()
    freed = time.monotonic()
    done = succeeds(struck, job_service, job, large("full"))
    assert done.attempts == 1  # what met the full disk was not counted
    count = _check_named(job_service)
    struck.until(lambda: not list(disk.rglob("*#*")))
    figures(
        f"store full: the job was put off {struck.logs().count(deferred)} times in {freed - begun:.1f} s and succeeded "
        f"{time.monotonic() - freed:.1f} s after there was space; {count} files right"
    )


@_as_root
def test_a_full_record(disk, plant, job_service_of, succeeds, figures):
    struck = plant(data_dir=disk / "data", attempts=6)
    struck.start_worker(wait=False)
    address = f"{struck.start_api()}/v1/jobs"
    job_service = job_service_of(struck)
    struck.await_worker()
    waiting = job_service.submit(small(41))
    ballast = _fill(disk)
    answers = [httpx.post(address, json=small_body(42 + number), timeout=60.0) for number in range(4)]
    for answer in answers:
        assert answer.status_code in {202, 503}, answer.text
        assert (answer.status_code == 202) is ("remedy" not in answer.json())
    time.sleep(1.0)
    ballast.unlink()
    accepted = [(waiting, small(41))] + [
        (job_service.job(answer.json()["id"]), small(42 + number))
        for number, answer in enumerate(answers)
        if answer.status_code == 202
    ]
    for job, spec in accepted:
        succeeds(struck, job_service, job, spec)
    succeeds(struck, job_service, job_service.submit(small(50)), small(50))
    _check_named(job_service)
    codes = [answer.status_code for answer in answers]
    figures(f"record full: submits were answered with {codes}; all {len(accepted)} accepted jobs succeeded with space")
