"""Plans that take long: their callers leave, others come, and the service is killed meanwhile."""

import contextlib
import os
import signal
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import httpx
import pytest

from tests.api.planning.specs import endless
from tests.faults.specs import small_body

pytestmark = pytest.mark.service


@pytest.fixture
def open_plant(plant, job_service_of):
    """Give a plant with an API of two planners, and the headers of two keys."""
    made = plant(planners=2, plan_seconds=300.0)
    job_service = job_service_of(made)
    secrets = [job_service.keys.create(name, ["submit"])[1].get_secret_value() for name in ("greedy", "patient")]
    made.start_api()
    return made, [{"Authorization": f"Bearer {secret}"} for secret in secrets]


def _planners(plant):
    pids = []
    for child in plant.children("api"):
        with contextlib.suppress(FileNotFoundError, ProcessLookupError):
            if b"api.planning.planner" in Path(f"/proc/{child}/cmdline").read_bytes():
                pids.append(child)
    return pids


def _alive(pid):
    with contextlib.suppress(FileNotFoundError, ProcessLookupError):
        return " Z " not in Path(f"/proc/{pid}/stat").read_text()
    return False


def _abandon(address, headers, seconds):
    """Ask for a plan without end, and leave after this time."""
    with contextlib.suppress(httpx.ReadTimeout, httpx.RemoteProtocolError, httpx.ReadError):
        httpx.post(f"{address}/v1/plans", json=endless(), headers=headers, timeout=httpx.Timeout(10.0, read=seconds))


def test_a_key_with_plans_without_end_blocks_no_other_and_its_plans_end_when_it_leaves(open_plant, until, figures):
    plant, (greedy, patient) = open_plant
    address = plant.addresses["api"]
    with ThreadPoolExecutor(4) as pool:
        requests = [pool.submit(_abandon, address, greedy, 15.0) for _ in range(4)]
        until(lambda: _planners(plant))
        begin = time.perf_counter()
        answer = httpx.post(f"{address}/v1/plans", json=small_body(1), headers=patient, timeout=120.0)
        assert answer.status_code == 200
        assert not any(request.done() for request in requests)
        figures(f"a plan beside four without end of another key: {time.perf_counter() - begin:.1f} s")
        for request in requests:
            request.result()
    until(lambda: not any(_computes(pid) for pid in _planners(plant)))
    assert httpx.post(f"{address}/v1/plans", json=small_body(2), headers=greedy, timeout=120.0).status_code == 200


def _computes(pid):
    """Return whether a process uses the processor."""

    def used():
        with contextlib.suppress(FileNotFoundError, ProcessLookupError, IndexError):
            return sum(int(field) for field in Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[11:13])
        return 0

    before = used()
    time.sleep(0.3)
    return used() > before + 2


def test_planners_end_with_a_service_that_is_killed(open_plant, until):
    plant, (greedy, _) = open_plant
    with ThreadPoolExecutor(1) as pool:
        pool.submit(_abandon, plant.addresses["api"], greedy, 2.0)
        planners = until(lambda: _planners(plant))
        os.kill(plant.pid("api"), signal.SIGKILL)
        until(lambda: not any(_alive(pid) for pid in planners))
