"""The machine's clock is set forward and back by an hour while jobs run: none is lost, none ends twice."""

import time

import httpx
import pytest

from tests.faults.specs import large
from tests.programs import shared_library

pytestmark = pytest.mark.service

#: Of Debian's package faketime.
_LIBRARY = "usr/lib/*/faketime/libfaketimeMT.so.1"


@pytest.fixture
def shifted(tmp_path):
    """Give the environment of processes whose clock is set by a function, and the function."""
    setting = tmp_path / "clock"

    def shift(seconds):
        fresh = setting.with_suffix(".new")
        fresh.write_text(f"{seconds:+d}\n")
        fresh.replace(setting)

    shift(0)
    library = shared_library(_LIBRARY, "faketime")
    return {
        "LD_PRELOAD": str(library), "FAKETIME_TIMESTAMP_FILE": str(setting), "FAKETIME_NO_CACHE": "1",
        "FAKETIME_DONT_FAKE_MONOTONIC": "1",  # as a system's own monotonic clock
    }, shift  # fmt: skip


def test_a_clock_that_jumps(plant, job_service_of, shifted, succeeds, figures):
    environment, shift = shifted
    struck = plant(extra=environment)
    struck.start_worker(wait=False)
    address = struck.start_api()
    job_service = job_service_of(struck)
    struck.await_worker()
    states = []
    for name, seconds in (("forward", 3600), ("back", 0), ("further back", -3600)):
        spec = large(name, 6)
        posted = httpx.post(f"{address}/v1/jobs", json=spec.model_dump(mode="json", exclude_unset=True), timeout=60.0)
        assert posted.status_code == 202, posted.text
        job = job_service.job(posted.json()["id"])
        struck.until(lambda job=job: job_service.job(job.id).progress.done >= 2)
        shift(seconds)
        begun = time.monotonic()
        done = succeeds(struck, job_service, job, spec)
        states.append(f"{name}: attempt {done.attempts}, {time.monotonic() - begun:.1f} s")
    assert abs((done.finished - done.created).total_seconds()) > 1800  # the clock did jump
    figures(f"clock set by an hour in the middle of a job: {'; '.join(states)}")
