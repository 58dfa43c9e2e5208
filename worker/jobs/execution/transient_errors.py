"""Classification of errors as transient or as outages, and a guard that turns an attempt's errors into outcomes."""

import errno
import logging
from collections.abc import Callable
from enum import Enum, auto
from typing import Any, Final

from obstore import exceptions as store_errors
from obstore.exceptions import BaseError as StoreError
from sqlalchemy import exc as database_errors
from sqlalchemy.exc import DBAPIError

from worker.jobs.common.errors import InternalError
from worker.jobs.records.job_document import stored_problem
from worker.spec.errors import DrawerwrightError

__all__ = ["TRANSIENT_ERRORS", "TaskOutcome", "cause_of", "is_outage", "run_guarded"]

_log = logging.getLogger(__name__)

#: Errors of the database, the object store or the disk after which a retry can succeed.
TRANSIENT_ERRORS: Final = (DBAPIError, database_errors.TimeoutError, StoreError, OSError)

#: Errors of a database that is unreachable, shutting down or out of disk space.
_DATABASE_OUTAGES: Final = (
    database_errors.OperationalError,
    database_errors.InterfaceError,
    database_errors.TimeoutError,
)

#: Errors of the object store for invalid requests; all other errors mean that the store is unavailable.
_REQUEST_FAULTS: Final = (
    store_errors.AlreadyExistsError,
    store_errors.InvalidPathError,
    store_errors.NotModifiedError,
    store_errors.NotSupportedError,
    store_errors.PreconditionError,
)

#: Error numbers of the disk, the network or exhausted resources, which are not specific to a job.
_OUTAGE_CODES: Final = frozenset(
    {
        errno.EDQUOT,
        errno.EHOSTDOWN,
        errno.EHOSTUNREACH,
        errno.EIO,
        errno.EMFILE,
        errno.ENETDOWN,
        errno.ENETUNREACH,
        errno.ENFILE,
        errno.ENODEV,
        errno.ENOSPC,
        errno.ENXIO,
        errno.EROFS,
        errno.ESTALE,
        errno.ETIMEDOUT,
    }
)


class TaskOutcome(Enum):
    """The outcome of an attempt."""

    DONE = auto()
    #: The task is not due, another worker holds its lease, or it has ended.
    NOT_DUE = auto()
    FAILED = auto()
    #: Left to a retry after a transient error.
    RETRY = auto()


def is_outage(error: BaseException) -> bool:
    """Return whether the database, the object store or the disk is unavailable, so that no job could succeed."""
    if isinstance(error, DBAPIError) and error.connection_invalidated:
        return True
    if isinstance(error, StoreError):
        return not isinstance(error, _REQUEST_FAULTS)
    if isinstance(error, OSError):
        return isinstance(error, ConnectionError | TimeoutError) or error.errno in _OUTAGE_CODES
    return isinstance(error, _DATABASE_OUTAGES)


def cause_of(error: BaseException) -> str:
    """Return which dependency failed. The error's own text is left out: statements and URLs can contain secrets."""
    if isinstance(error, DBAPIError | database_errors.TimeoutError):
        return f"the database could not be used ({type(error).__name__})"
    if isinstance(error, StoreError):
        return f"the object store could not be used ({type(error).__name__})"
    reason = error.strerror if isinstance(error, OSError) else None
    return f"a file or a connection could not be used ({reason or type(error).__name__})"


def run_guarded(
    subject: str, work: Callable[[], bool], *, release: Callable[[bool], object], fail: Callable[[dict[str, Any]], bool]
) -> TaskOutcome:
    """Make one attempt, and turn any error into an outcome.

    Args:
        subject: the name of the task in the log.
        work: makes the attempt; returns False if the task no longer exists.
        release: leaves the task to a retry after a transient error; its argument is whether the attempt counts,
            which is False after an outage.
        fail: records the problem document of a permanent failure; returns False if the task no longer exists.
    """
    try:
        return TaskOutcome.DONE if work() else TaskOutcome.NOT_DUE
    except TRANSIENT_ERRORS as error:
        _log.warning("%s will be retried.", subject, exc_info=True)
        release(not is_outage(error))
        return TaskOutcome.RETRY
    except Exception as error:  # noqa: BLE001 - whatever it is, the record says why there is no file
        _log.warning("%s: %r", subject, error, exc_info=error)
        reported = error if isinstance(error, DrawerwrightError) else InternalError()
        return TaskOutcome.FAILED if fail(stored_problem(reported)) else TaskOutcome.NOT_DUE
