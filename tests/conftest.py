"""What holds for all tests."""

import os
import signal
import time

import pytest
from hypothesis import settings

# a shared machine is slow at times, which says nothing about the code; figures are measured in tests/bench
# CI tries the same examples each time, so that a change is judged by what it changed; elsewhere each run tries new ones
settings.register_profile("drawerwright", deadline=None, derandomize="CI" in os.environ)
settings.load_profile("drawerwright")


def pytest_configure():
    """Heed Ctrl-C: what a shell starts in its background ignores it, and so would all that the tests start."""
    if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
        signal.signal(signal.SIGINT, signal.default_int_handler)


def pytest_addoption(parser):
    parser.addoption(
        "--schema-examples",
        type=int,
        help="how many requests of each kind, and walks along the links, tests/api/test_schema.py tries; else a few",
    )


def pytest_collection_modifyitems(items):
    """Try what starts processes once more when it fails: the machine may be slow. The report tells of it."""
    for item in items:
        if item.get_closest_marker("service") is not None:
            item.add_marker(pytest.mark.flaky(reruns=1))


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
