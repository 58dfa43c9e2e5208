"""The embedded Celery worker: ``python -m worker.jobs.processes.worker_process``.

It starts Celery's worker without Celery's command line, whose imports take 10 MB.
"""

import sys

from worker.jobs.processes.celery_tasks import app


def main() -> int:
    """Run the worker until a signal; return its exit code."""
    worker = app.Worker(loglevel="WARNING", without_gossip=True, without_mingle=True, without_heartbeat=True)
    worker.start()
    return int(worker.exitcode or 0)


if __name__ == "__main__":
    sys.exit(main())
