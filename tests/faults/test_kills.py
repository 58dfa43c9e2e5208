"""Processes are killed with -9 while a job runs: it succeeds all the same, once, and nothing is left over."""

import signal
import threading
import time

import httpx
import pytest
from sqlalchemy import select

from tests.faults.specs import large, small, small_body
from worker.jobs.database.tables import JobRow, PrintStateRow
from worker.printing.progress.remaining import begin, follow
from worker.spec.manifest import Manifest
from worker.spec.requests.print_event import PrintEvent

pytestmark = pytest.mark.service


def _begun(job_service, struck, spec):
    """Submit a job and wait until it is in the middle of its parts."""
    job = job_service.submit(spec)
    struck.until(lambda: job_service.job(job.id).progress.done >= 3)
    return job, time.monotonic()


def _post(struck, body, headers=None):
    return httpx.post(f"{struck.addresses['api']}/v1/jobs", json=body, headers=headers, timeout=30.0)


def test_a_child_in_the_middle_of_a_part(struck, job_service, succeeds, figures):
    spec = large("child")
    job, begun = _begun(job_service, struck, spec)
    assert struck.strike_child() == 1
    assert succeeds(struck, job_service, job, spec).attempts == 2
    figures(f"child killed: ended {time.monotonic() - begun:.1f} s later")


def test_a_worker(struck, job_service, succeeds, figures):
    spec = large("worker")
    job, begun = _begun(job_service, struck, spec)
    struck.strike("worker")
    struck.start_worker()
    started = time.monotonic() - begun
    assert succeeds(struck, job_service, job, spec).attempts == 2
    figures(f"worker killed: ended {time.monotonic() - begun:.1f} s later, of which {started:.1f} s to start another")


def test_the_broker_with_its_queue(struck, job_service, succeeds, figures):
    spec = large("broker")
    first, begun = _begun(job_service, struck, spec)
    waiting = [job_service.submit(small(kind)) for kind in range(3)]
    struck.strike_broker()
    start = time.monotonic()
    answer = _post(struck, small_body(3))
    took = time.monotonic() - start
    assert answer.status_code == 202, answer.text  # it is kept and waits
    struck.start_broker()
    for number, job in enumerate([*waiting, job_service.job(answer.json()["id"])]):
        assert succeeds(struck, job_service, job, small(number)).attempts == 1
    succeeds(struck, job_service, first, spec)
    figures(f"broker killed: a submit took {took:.2f} s, all ended {time.monotonic() - begun:.1f} s later")


def test_an_api_during_submits(struck, job_service, succeeds, figures):
    answered, lost, stop = [], [], threading.Event()

    def submit(client):
        number = 0
        while not stop.is_set():
            try:
                answer = _post(struck, small_body(0), {"Idempotency-Key": f"{client}-{number}"})
            except httpx.ConnectError:
                time.sleep(0.05)
            except httpx.TransportError:
                lost.append(1)
            else:
                assert answer.status_code == 202, answer.text
                answered.append(answer.json()["id"])
                number += 1

    with job_service._database.connect() as connection:
        before = set(connection.scalars(select(JobRow.id)))
    clients = [threading.Thread(target=submit, args=(name,)) for name in range(2)]
    for client in clients:
        client.start()
    struck.until(lambda: len(answered) >= 4)
    struck.strike("api")
    struck.start_api()
    count = len(answered)
    struck.until(lambda: len(answered) >= count + 2)
    stop.set()
    for client in clients:
        client.join()
    with job_service._database.connect() as connection:
        after = set(connection.scalars(select(JobRow.id))) - before
    assert len(set(answered)) == len(answered)
    assert set(answered) == after  # what was accepted is kept, and what was asked for again is there once
    for job_id in after:
        assert succeeds(struck, job_service, job_service.job(job_id), small(0)).attempts == 1
    figures(f"API killed: {len(answered)} submits answered, {len(lost)} not; {len(after)} jobs, all succeeded")


def test_the_same_message_again_and_again(struck, job_service, ended, succeeds):
    spec = large("again")
    job, _ = _begun(job_service, struck, spec)
    for _ in range(5):
        job_service.publish(job.id)
    done = succeeds(struck, job_service, job, spec)
    for _ in range(5):
        job_service.publish(job.id)
    ended(job_service, job_service.submit(small()))  # it came behind all of these
    assert job_service.job(job.id) == done
    assert done.attempts == 1
    succeeds(struck, job_service, job, spec)


def test_a_broker_that_hangs(struck, job_service, succeeds, figures):
    struck.signal_broker(signal.SIGSTOP)
    try:
        begun = time.monotonic()
        answer = _post(struck, small_body(1))
        took = time.monotonic() - begun
        assert answer.status_code == 202, answer.text
        job = job_service.job(answer.json()["id"])
        assert job.state == "queued"
    finally:
        struck.signal_broker(signal.SIGCONT)
    assert took < 5.0  # 0.3 s by the settings: a bound with room for a busy machine
    assert succeeds(struck, job_service, job, small(1)).attempts == 1
    figures(f"broker hung: a submit is answered in {took:.2f} s")


def test_a_child_in_the_middle_of_a_repack(struck, job_service, succeeds, figures):
    spec = large("repack", 3)
    job = job_service.submit(spec)
    succeeds(struck, job_service, job, spec)
    manifest = Manifest.model_validate_json(b"".join(job_service.read(job_service.manifest(job.id))))
    before = {file.name for file in job_service.files(job.id)}
    event = PrintEvent(outcome="failed", run=1)
    job_service.prints.record(job.id, event, lambda last: follow(last or begin(manifest), event, manifest, spec))
    job_service.publish_repack(job.id)

    def tries():
        with job_service._database.connect() as connection:
            return connection.scalar(select(PrintStateRow.attempts).where(PrintStateRow.job_id == job.id))

    struck.until(tries)
    struck.strike_child()
    struck.until(lambda: not job_service.prints.status(job.id).repack)
    (new,) = {file.name: file for file in job_service.files(job.id) if file.name not in before}.values()
    assert b"".join(job_service.read(new))
    figures(f"child killed while runs were packed afresh: written at try {tries()}")
