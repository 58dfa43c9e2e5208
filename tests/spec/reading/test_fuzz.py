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

from tests.spec.reading.mutation import MEMORY, inputs, read

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
