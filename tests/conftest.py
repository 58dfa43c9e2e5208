"""What holds for all tests."""

import time

import pytest
from hypothesis import settings

# a shared machine is slow at times, which says nothing about the code; figures are measured in tests/bench
settings.register_profile("drawerwright", deadline=None)
settings.load_profile("drawerwright")


@pytest.fixture(scope="session")
def until():
    """Give a function that waits until a question is answered with yes, and fails when it takes too long."""

    def wait(question, seconds=60.0):
        end = time.monotonic() + seconds
        while not (answer := question()):
            assert time.monotonic() < end, "It takes too long."
            time.sleep(0.02)
        return answer

    return wait


@pytest.fixture(scope="session")
def ended(until):
    """Give a function that waits until a job has ended, and returns it."""

    def wait(engine, job, seconds=60.0):
        return until(lambda: (now := engine.job(job.id)).ended and now, seconds)

    return wait
