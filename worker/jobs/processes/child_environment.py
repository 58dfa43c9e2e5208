"""The environment variables of processes that the service starts: its settings and the import path."""

import os
from pathlib import Path

from worker.jobs.common.settings import Settings

__all__ = ["child_environment"]


def child_environment(settings: Settings) -> dict[str, str]:
    """Return this process's environment with the settings as variables and this package on the import path."""
    root = str(Path(__file__).resolve().parents[3])
    paths = [root, *filter(None, [os.environ.get("PYTHONPATH")])]
    single_thread = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"), "1")  # parallelism comes from processes
    return {**os.environ, **single_thread, **settings.environment(), "PYTHONPATH": os.pathsep.join(paths)}
