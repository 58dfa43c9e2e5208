"""Settings, order and fixtures of all tests."""

import os
import signal
import time

import pytest
from hypothesis import settings

# no deadline: a loaded machine is slow at times, and figures are measured in tests/bench
# CI draws the same examples each time, so that a change is judged by what it changed; elsewhere each run draws others
settings.register_profile("drawerwright", deadline=None, derandomize="CI" in os.environ)
settings.load_profile("drawerwright")

#: The files that take longest; they start first, so that none of them is left alone at the end.
_LONGEST = (
    "test_end_to_end.py", "test_many.py", "test_accessibility.py", "test_supervisor.py", "test_schema.py",
    "test_service.py", "test_servers.py", "test_batches.py", "test_kills.py", "test_failures.py", "test_main_job.py",
    "test_topology.py", "test_clock.py", "test_migrate.py", "test_fuzz.py", "test_keep_printed.py",
    "test_floor_builder.py", "test_item_trays.py", "test_tray.py", "test_loader.py",
)  # fmt: skip


def pytest_configure():
    """Restore Ctrl-C: a shell's background jobs ignore SIGINT, and so would every process that the tests start."""
    if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
        signal.signal(signal.SIGINT, signal.default_int_handler)


def pytest_addoption(parser):
    parser.addoption(
        "--schema-examples",
        type=int,
        help="requests of each kind, and walks along the links, for tests/api/openapi/test_schema.py (default: a few)",
    )


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(config, items):
    """Rerun a failed test once where it starts processes: a loaded machine may be slow. The report names each rerun.

    With several workers, files that wait for processes are mixed with those that compute, and the longest come first.
    """
    files = {}
    for item in items:
        files.setdefault(item.path, []).append(item)
        if item.get_closest_marker("service") is not None:
            item.add_marker(pytest.mark.flaky(reruns=1))
    if not hasattr(config, "workerinput"):
        return
    order = []
    for waits in (True, False):
        paths = [
            path for path, tests in files.items() if waits is any(test.get_closest_marker("service") for test in tests)
        ]
        paths.sort(key=lambda path: _LONGEST.index(path.name) if path.name in _LONGEST else len(_LONGEST))
        order += [((place + 0.5) / len(paths), path) for place, path in enumerate(paths)]
    items[:] = [item for _, path in sorted(order) for item in files[path]]


@pytest.fixture(scope="session")
def until():
    """Return a function that polls a condition until its value is true, and fails after some seconds."""

    def wait(condition, seconds=60.0):
        end = time.monotonic() + seconds
        while not (value := condition()):
            assert time.monotonic() < end, f"still waiting after {seconds:g} s"
            time.sleep(0.02)
        return value

    return wait


@pytest.fixture(scope="session")
def ended(until):
    """Return a function that waits until a job has ended, and returns the job."""

    def wait(job_service, job, seconds=60.0):
        return until(lambda: (now := job_service.job(job.id)).ended and now, seconds)

    return wait
