"""The whole service: job_service, broker, worker process, record and store, all real."""

import json
import os
import signal
from concurrent.futures import ThreadPoolExecutor
from hashlib import sha256

import obstore
import pytest

from worker.jobs.queue.celery_app import make_app

pytestmark = pytest.mark.service

_TRAYS = (
    {"name": "screws", "cells": [1, 1], "height": 30, "compartments": [2, 1]},
    {"name": "bits", "cells": [2, 1], "height": 25, "finger_ramp": True},
)


def _long(spec, name, first):
    """A job of many different parts."""
    trays = [
        {"name": f"tray {number}", "cells": [1, 1], "height": 20 + first + number / 10, "compartments": [2, 2]}
        for number in range(30)
    ]
    drawer = {"name": "wide", "width": 500, "depth": 500, "height": 120, "trays": trays}
    return spec(name=name, drawers=[drawer])


def _pids(job_service):
    app = make_app(job_service.settings, "work")
    try:
        (stats,) = app.control.inspect(timeout=5.0, limit=1).stats().values()
    finally:
        app.close()
    return stats["pool"]["processes"]


def test_a_job_is_built_and_every_file_is_there(service, spec, ended):
    job = ended(service, service.submit(spec(*_TRAYS)))
    assert (job.state, job.attempts, job.problem) == ("succeeded", 1, None)
    assert job.created <= job.started <= job.finished
    manifest = json.loads(b"".join(service.read(service.manifest(job.id))))
    for part in manifest["parts"]:
        for entry in part["files"]:
            file = service.file(job.id, entry["name"])
            data = b"".join(service.read(file))
            assert (len(data), sha256(data).hexdigest()) == (entry["bytes"], entry["sha256"])
            assert file.sha256 == entry["sha256"]
    bundle = b"".join(service.read(service.bundle(job.id)))
    assert sha256(bundle).hexdigest() == manifest["bundle"]["sha256"]


def test_a_second_job_has_the_parts_of_the_first(service, spec, ended):
    def parts(job):
        return {file.name: file.key for file in service.files(job.id) if file.key.startswith("parts/")}

    def written(keys):
        return {key: obstore.head(service._blobs._store, key)["last_modified"] for key in keys}

    first = ended(service, service.submit(spec(*_TRAYS, name="first")))
    before = written(parts(first).values())
    second = ended(service, service.submit(spec(*_TRAYS, name="second")))
    assert parts(second) == parts(first)
    assert written(before) == before


def test_running_and_queued_jobs_are_cancelled(service, spec, ended, until):
    busy = [service.submit(_long(spec, f"busy {number}", 10 * number)) for number in range(3)]
    queued = service.submit(spec(*_TRAYS, name="queued"))
    assert service.cancel(queued.id).state == "cancelled"
    running = until(
        lambda: next((job for candidate in busy if (job := service.job(candidate.id)).progress.done > 0), None)
    )
    assert service.cancel(running.id).state == "cancelled"
    for job in busy:
        if job.id != running.id:
            service.cancel(job.id)
    after = ended(service, service.submit(spec(*_TRAYS, name="after")))
    assert after.state == "succeeded"
    assert service.job(queued.id).attempts == 0
    stopped = service.job(running.id)
    assert stopped.state == "cancelled"
    assert stopped.progress.done < stopped.progress.total


def test_a_job_that_cannot_be_laid_out_says_where(service, spec, ended):
    job = ended(service, service.submit(spec(_TRAYS[0], {"name": "saw", "cells": [9, 1], "height": 30})))
    assert job.state == "failed"
    assert job.problem["status"] == 422
    assert job.problem["pointer"].startswith("/drawers/0/trays/1")


def test_a_job_survives_its_process(service, spec, ended, until):
    pids = _pids(service)
    job = service.submit(_long(spec, "struck", 40))
    until(lambda: service.job(job.id).progress.done > 1)
    for pid in pids:
        os.kill(pid, signal.SIGKILL)
    done = ended(service, job)
    assert (done.state, done.attempts) == ("succeeded", 2)


def test_jobs_may_come_together(service, spec, ended):
    with ThreadPoolExecutor(8) as pool:
        jobs = list(pool.map(lambda number: service.submit(spec(*_TRAYS, name=f"job {number}")), range(8)))
    assert {ended(service, job).state for job in jobs} == {"succeeded"}
    assert len({job.id for job in jobs}) == 8
    bundles = {service.bundle(job.id).sha256 for job in jobs}
    assert len(bundles) == 8  # the name is in the manifest
