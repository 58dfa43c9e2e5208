"""Attempts at the files of a batch or of new runs: every way in which one can go."""

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

#: What may go away by itself: the database, the store, the disk.
TRANSIENT_ERRORS: Final = (DBAPIError, StoreError, OSError)


class TaskOutcome(Enum):
    """How it went."""

    DONE = auto()
    #: It is not due, somebody else is at it, or it has ended.
    NOTHING = auto()
    FAILED = auto()
    #: The database or the store was away; another message comes.
    PUT_OFF = auto()


def run_guarded(
    subject: str, make: Callable[[], bool], *, put_off: Callable[[], object], fail: Callable[[dict[str, Any]], bool]
) -> TaskOutcome:
    """Make one attempt and say how it went, whatever happens in it.

    Args:
        subject: what the log says that it was about.
        make: does it; False when there is no more to do.
        put_off: leaves it to another attempt, after something was away.
        fail: notes the problem document of why it cannot be done; False when there is no more to do.
    """
    try:
        return TaskOutcome.DONE if make() else TaskOutcome.NOTHING
    except TRANSIENT_ERRORS:
        _log.warning("%s waits for its files.", subject, exc_info=True)
        put_off()
        return TaskOutcome.PUT_OFF
    except Exception as error:  # noqa: BLE001 - whatever it is, the record says why there is no file
        _log.warning("%s: %r", subject, error, exc_info=error)
        told = error if isinstance(error, DrawerwrightError) else InternalError()
        return TaskOutcome.FAILED if fail(stored_problem(told)) else TaskOutcome.NOTHING
