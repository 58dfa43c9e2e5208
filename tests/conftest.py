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

#: Files that take longest, which are started first: none of them shall be all that is left at the end.
_LONGEST = (
    "test_end_to_end.py", "test_many.py", "test_everybody.py", "test_embedded.py", "test_schema.py", "test_service.py",
    "test_servers.py", "test_batches.py", "test_kills.py", "test_trouble.py", "test_main_job.py", "test_topology.py",
    "test_fanout.py", "test_clock.py", "test_migrating.py",
    "test_fuzz.py", "test_relayout.py", "test_tiling.py", "test_contents.py", "test_tray.py", "test_loading.py",
)  # fmt: skip


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


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(config, items):
    """Try what has processes or threads beside it once more when it fails: the machine may be slow. The report tells.

    Several at a time, files that wait for processes are mixed with those that compute, and the longest come first.
    """
    files = {}
    for item in items:
        files.setdefault(item.path, []).append(item)
        if item.get_closest_marker("service") is not None or item.path.parent.name in {"api", "jobs"}:
            item.add_marker(pytest.mark.flaky(reruns=1))
    if not hasattr(config, "workerinput"):
        return
    order = []
    for waits in (True, False):
        own = [path for path, some in files.items() if waits is any(one.get_closest_marker("service") for one in some)]
        own.sort(key=lambda path: _LONGEST.index(path.name) if path.name in _LONGEST else len(_LONGEST))
        order += [((place + 0.5) / len(own), path) for place, path in enumerate(own)]
    items[:] = [item for _, path in sorted(order) for item in files[path]]


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
