"""Drawers filled in several processes: the same trays as in one, also where a process is lost."""

import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from worker.jobs.execution import drawer_processes
from worker.jobs.execution.drawer_processes import DrawerProcesses
from worker.layout.items.filling.drawer_task import one_by_one
from worker.layout.model.plan_document import plan_document
from worker.layout.planner import lay_out
from worker.spec import load


def _spec(drawers=3, kinds=5):
    """Return a job of drawers with items of their own, one in pockets, and items that may go into any of them."""

    def items(number, names):
        return [
            {
                "name": f"{names} {kind}",
                "shape": {"kind": "box", "size": [20 + 7 * kind, 15 + 3 * number, 10]},
                "count": 1 + kind,
                "access": ("often", "sometimes", "rarely")[kind % 3],
                "storage": "pocket" if kind == 1 else None,
                "group": "ab"[kind % 2],
            }
            for kind in range(kinds)
        ]

    listed = [
        {
            "name": f"d{number}",
            "width": 230,
            "depth": 270,
            "height": 45 + 5 * number,
            "items": items(number, f"own {number}"),
        }
        for number in range(drawers)
    ]
    return load(
        {"spec": "1", "name": "many", "drawers": listed, "items": items(9, "any"), "printer": {"bed": [256, 256, 256]}}
    )


@pytest.fixture(autouse=True)
def _any_work_is_enough(monkeypatch):
    monkeypatch.setattr(drawer_processes, "_LEAST_MOVES", 1)


def _document(spread):
    return plan_document(lay_out(_spec(), spread=spread)).model_dump_json()


def test_a_plan_has_the_same_bytes_from_one_process_two_and_three():
    alone = _document(one_by_one)
    assert _document(DrawerProcesses(1, 0)) == alone
    assert _document(DrawerProcesses(2, 0)) == alone
    assert _document(DrawerProcesses(3, 0)) == alone


def test_other_processes_do_some_of_the_drawers(monkeypatch):
    """This process waits until the other has taken a task."""
    done = []

    class Watched(drawer_processes._DrawerProcess):
        def run(self, task):
            placed = super().run(task)
            done.append(task.site.name)
            return placed

    def wait(work):
        while not done:
            pass
        return original(work)

    original = drawer_processes._Work.do
    monkeypatch.setattr(drawer_processes, "_DrawerProcess", Watched)
    monkeypatch.setattr(drawer_processes._Work, "do", wait)
    assert _document(DrawerProcesses(2, 0)) == _document(one_by_one)
    assert done


def test_a_lost_process_costs_nothing_but_time(monkeypatch):
    class Lost(drawer_processes._DrawerProcess):
        def wait_until_ready(self):
            super().wait_until_ready()
            self._process.kill()

    monkeypatch.setattr(drawer_processes, "_DrawerProcess", Lost)
    assert _document(DrawerProcesses(2, 0)) == _document(one_by_one)


def test_no_process_outlives_an_attempt_that_is_interrupted(monkeypatch):
    started = []

    class Watched(drawer_processes._DrawerProcess):
        def __init__(self, memory):
            super().__init__(memory)
            started.append(self._process)

    def interrupted(_work):
        raise KeyboardInterrupt

    monkeypatch.setattr(drawer_processes, "_DrawerProcess", Watched)
    monkeypatch.setattr(drawer_processes._Work, "do", interrupted)
    with pytest.raises(KeyboardInterrupt):
        _document(DrawerProcesses(2, 0))
    assert [process.returncode for process in started] == [-signal.SIGKILL]


def test_a_process_ends_when_its_parent_does():
    code = (
        "import os\n"
        "from worker.jobs.execution.drawer_processes import _DrawerProcess\n"
        "process = _DrawerProcess(0)\n"
        "process.wait_until_ready()\n"
        "print(process._process.pid, flush=True)\n"
        "os.kill(os.getpid(), 9)\n"
    )
    parent = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    child = int(parent.stdout)
    for _ in range(100):
        try:
            state = Path(f"/proc/{child}/stat").read_text().split()[2]
        except FileNotFoundError:
            return
        if state == "Z":  # ended, and not waited for yet
            return
        time.sleep(0.1)
    pytest.fail("the process still runs")
