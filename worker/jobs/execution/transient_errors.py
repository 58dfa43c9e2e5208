"""Transient errors, and one guarded attempt at the files of a batch or of repacked runs."""

import logging
from collections.abc import Callable
from enum import Enum, auto
from typing import Any, Final

from obstore.exceptions import BaseError as StoreError
from sqlalchemy.exc import DBAPIError

from worker.jobs.common.errors import InternalError
from worker.jobs.records.job_document import stored_problem
from worker.spec.errors import DrawerwrightError

__all__ = ["TRANSIENT_ERRORS", "TaskOutcome", "run_guarded"]

_log = logging.getLogger(__name__)

#: Faults of the database, the object store or the disk, which a later retry may not meet.
TRANSIENT_ERRORS: Final = (DBAPIError, StoreError, OSError)


class TaskOutcome(Enum):
    """How an attempt ended."""

    DONE = auto()
    #: It is not due, another worker holds the lease, or it has ended.
    NOT_DUE = auto()
    FAILED = auto()
    #: Left to a retry after a transient error.
    RETRY = auto()


def run_guarded(
    subject: str, work: Callable[[], bool], *, release: Callable[[], object], fail: Callable[[dict[str, Any]], bool]
) -> TaskOutcome:
    """Make one attempt, and turn whatever it raises into an outcome.

    Args:
        subject: what the log calls it.
        work: makes the attempt; returns False when there is no more to do.
        release: leaves it to a retry, after a transient error.
        fail: records the problem document of a permanent failure; returns False when there is no more to do.
    """
    try:
        return TaskOutcome.DONE if work() else TaskOutcome.NOT_DUE
    except TRANSIENT_ERRORS:
        _log.warning("%s will be retried.", subject, exc_info=True)
        release()
        return TaskOutcome.RETRY
    except Exception as error:  # noqa: BLE001 - whatever it is, the record says why there is no file
        _log.warning("%s: %r", subject, error, exc_info=error)
        reported = error if isinstance(error, DrawerwrightError) else InternalError()
        return TaskOutcome.FAILED if fail(stored_problem(reported)) else TaskOutcome.NOT_DUE
