"""A hundred thousand documents that are wrong in some way: each is read or refused in good order.

They are read in a process with 1 GiB of address space, so that one that takes more fails, and one that never ends is
ended with a traceback.
"""

import json
import os
import subprocess
import sys
from itertools import islice
from pathlib import Path

import pytest

from tests.spec.reading.mutation import MEMORY, inputs, lay, read
from worker.spec import load
from worker.spec.errors import SpecError

_ROOT = Path(__file__).parents[3]


@pytest.fixture
def fuzz():
    """Give a function that runs the process, and returns what came of its inputs."""

    def run(task, count, seed):
        environment = {**os.environ, "PYTHONPATH": str(_ROOT), "OMP_NUM_THREADS": "1"}
        command = [sys.executable, "-W", "error", "-m", "tests.spec.reading.mutation", task, str(count), str(seed)]
        ended = subprocess.run(command, env=environment, capture_output=True, text=True, timeout=900, check=False)
        assert ended.returncode == 0, ended.stderr
        counts = json.loads(ended.stdout)
        print(f"{task}: {counts}")  # noqa: T201 - figures, shown with -s
        assert counts.pop("peak") < MEMORY
        assert sum(counts.values()) >= count
        return counts

    return run


def test_a_hundred_thousand_documents_are_read_or_refused(fuzz):
    counts = fuzz("read", 100_000, 20261125)
    assert counts["read"] > 1_000
    assert counts["refused"] > 50_000


def test_what_can_be_read_is_laid_out_or_refused(fuzz):
    counts = fuzz("lay", 300, 20261125)
    assert counts["laid out"] > 100


def test_the_documents_are_the_same_every_time():
    assert list(islice(inputs(3), 500)) == list(islice(inputs(3), 500))
    assert sum(read(document) is not None for document in islice(inputs(3), 500)) > 0


@pytest.mark.parametrize("off", [1e-12, 1e-9, 1e-6, 1.4e-3])
@pytest.mark.parametrize("where", ["shape", "outline"])
def test_points_that_rounding_makes_one_are_refused(off, where):
    """Such a shape was read, and laying it out ended in a fault of ours: moved to the origin two points were one."""
    points = [[200.0, 40.0], [260.0, 40.0], [260.0 + off, 40.0], [260.0, 100.0], [200.0, 100.0]]
    document = {"spec": "1", "name": "n", "printer": {"bed": [180, 180, 180]}}
    if where == "outline":
        document["drawers"] = [{"name": "a", "outline": points, "height": 60}]
    else:
        shape = {"kind": "polygon", "points": points, "height": 9}
        document["drawers"] = [{"name": "a", "width": 136, "depth": 136, "height": 60}]
        document["items"] = [{"name": "i", "shape": shape, "storage": "pocket"}]
    with pytest.raises(SpecError, match="repeats the previous one") as refused:
        load(document)
    assert refused.value.pointer.endswith("/2")


def test_sides_that_all_but_touch_are_laid_out_or_told_of():
    shape = [[0, 0], [60, 0], [60, 40], [30.0004, 40], [30.0004, 5], [30, 5], [30, 40.0], [0, 40]]
    shape[5] = [30.0, 5.003]
    document = {
        "spec": "1",
        "name": "n",
        "drawers": [{"name": "a", "width": 220, "depth": 220, "height": 60}],
        "printer": {"bed": [180, 180, 180]},
        "items": [{"name": "i", "shape": {"kind": "polygon", "points": shape, "height": 9}, "storage": "pocket"}],
    }
    assert lay(load(document)) == "laid out"
