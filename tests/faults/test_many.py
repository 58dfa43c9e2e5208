"""Two hundred small jobs while processes are killed at random: each succeeds exactly once, and nothing is left over."""

import random
import re
import time
from collections import Counter
from concurrent.futures import ThreadPoolExecutor

import httpx
import pytest
from sqlalchemy import func, select

from tests.faults.specs import small, small_body
from worker.jobs.database.tables import JobRow, PartRow

pytestmark = pytest.mark.service

_JOBS = 200
_KINDS = 8
_SEED = 20260517

#: What is killed, in a random order: mostly processes that build, because these do the most.
_STRIKES = ["child"] * 14 + ["worker"] * 3 + ["api"] * 2 + ["broker"] * 3

#: Seconds in which everything must have ended, on a slow machine.
_BOUND = 300.0


def _submit(client, plant, number, lost):
    """Submit a job as a careful client: after a lost answer it asks again under the same key."""
    while True:
        try:
            answer = client.post(
                f"{plant.addresses['api']}/v1/jobs", json=small_body(number % _KINDS),
                headers={"Idempotency-Key": f"job-{number}"},
            )  # fmt: skip
        except httpx.TransportError as error:
            lost["refused" if isinstance(error, httpx.ConnectError) else "unanswered"] += 1
            time.sleep(0.1)
            continue
        if answer.status_code != 409:  # the first try may still be under way
            assert answer.status_code == 202, answer.text
            return answer.json()["id"]
        time.sleep(0.1)


def _strike(plant, what, chance):
    """Kill one process and start it again; return how many were killed."""
    ready = plant.until(lambda: [name for name in ("first", "second") if "worker is ready" in plant.log(name)])
    worker = chance.choice(ready)
    if what == "child":
        return plant.strike_child(worker)
    if what == "worker":
        plant.strike(worker)
        plant.start_worker(worker, wait=False)
    elif what == "api":
        plant.strike("api")
        plant.start_api(wait=False)
    else:
        plant.strike_broker()
        time.sleep(0.2)
        plant.start_broker()
    return 1


def test_two_hundred_jobs_with_random_kills(plant, job_service_of, right, figures):
    struck = plant(attempts=10)
    until = struck.until
    struck.start_api()
    job_service = job_service_of(struck)
    for name in ("first", "second"):
        struck.start_worker(name, wait=False)
    for name in ("first", "second"):
        struck.await_worker(name)
    chance = random.Random(_SEED)
    strikes = list(_STRIKES)
    chance.shuffle(strikes)
    kills, lost, begun = Counter(), Counter(), time.monotonic()

    def left():
        with job_service._database.connect() as connection:
            states = dict(list(connection.execute(select(JobRow.state, func.count()).group_by(JobRow.state))))
        return _JOBS - states.get("succeeded", 0)

    with httpx.Client(timeout=10.0) as client, ThreadPoolExecutor(4) as pool:
        tickets = [pool.submit(_submit, client, struck, number, lost) for number in range(_JOBS)]
        for number, what in enumerate(strikes, 1):  # spread over the work, however fast this machine is
            until(lambda number=number: time.sleep(0.05) or left() <= _JOBS * (1 - number / (len(strikes) + 2)), _BOUND)
            time.sleep(chance.uniform(0.0, 0.2))
            kills[what] += _strike(struck, what, chance)
        struck.await_api()
        ids = [ticket.result() for ticket in tickets]
    assert len(set(ids)) == _JOBS
    until(lambda: time.sleep(0.2) or left() == 0, _BOUND)
    took = time.monotonic() - begun

    for number, job_id in enumerate(ids):
        right(job_service, job_service.job(job_id), small(number % _KINDS))
    with job_service._database.connect() as connection:
        every = list(connection.scalars(select(JobRow.id)))
        attempts = Counter(connection.scalars(select(JobRow.attempts)))
        states = Counter(connection.scalars(select(JobRow.state)))
        parts = connection.scalar(select(func.count()).select_from(PartRow))
    assert states == {"succeeded": _JOBS}  # none is lost, and none was accepted twice
    ends = Counter(re.findall(r"Job (\w+): succeeded", struck.logs()))
    assert set(ends.values()) == {1}  # no attempt ended a job that another had ended
    named = {file.key for job_id in every for file in job_service.files(job_id)}

    def orphans():
        return {blob.key for folder in ("jobs", "parts") for blob in job_service._blobs.under(folder)} - named

    before = len(orphans())
    until(lambda: not orphans(), 60.0)
    assert not list(struck.settings.data_dir.joinpath("blobs").rglob("*#*"))
    summary = ", ".join(f"{count} {what}" for what, count in sorted(kills.items()))
    tries = ", ".join(f"{count} in {attempt}" for attempt, count in sorted(attempts.items()))
    figures(
        f"{_JOBS} jobs of {parts} parts, all succeeded once in {took:.1f} s; killed: {summary}; "
        f"submits without an answer: {lost['unanswered']}; attempts: {tries}; orphans found {before}, left 0"
    )
