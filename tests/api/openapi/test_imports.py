import subprocess
import sys

_LOOK = """
import sys
import api.app, api.openapi.contract, api.command, api.command.server
import worker.jobs.processes.supervisor, worker.output.bundle.calendar_feed
api.app.create_app().openapi()
print(sorted(name for name in sys.modules if name.partition(".")[0] in {"manifold3d", "trimesh", "lib3mf"}
    or name.startswith(("worker.solids", "worker.output"))
    # the calendar is written when it is requested
    and name not in {"worker.output", "worker.output.bundle", "worker.output.bundle.calendar_feed"}))
"""

_QUICK = """
import sys
import api.command
heavy = {"sqlalchemy", "celery", "redis", "uvicorn", "fastapi", "numpy", "paho"}
print(sorted(heavy & sys.modules.keys()))
"""


#: At rest the API loads no numbers library; `tests.bench idle` has what it takes.
_REST = """
import sys
import api.app, api.command.server
api.app.create_app()
print(sorted({"numpy", "shapely", "ortools", "manifold3d", "trimesh", "lib3mf"} & sys.modules.keys()))
"""

_LAUNCH = """
import sys
import api.command.serve, api.command.listener, worker.jobs.processes.supervisor
print(sorted({"sqlalchemy", "celery", "kombu", "redis", "uvicorn", "fastapi"} & sys.modules.keys()))
"""


def _run(code):
    return subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout.strip()


def test_the_service_never_loads_what_builds_a_mesh():
    assert _run(_LOOK) == "[]"


def test_a_service_at_rest_loads_no_numbers_library():
    assert _run(_REST) == "[]"


def test_serve_starts_its_processes_before_it_loads_the_server():
    assert _run(_LAUNCH) == "[]"


def test_a_command_loads_what_it_needs_when_it_needs_it():
    assert _run(_QUICK) == "[]"
