"""The outcome of one attempt at a job."""

from enum import Enum, auto

__all__ = ["JobOutcome"]


class JobOutcome(Enum):
    """The outcome of one attempt at a job, which determines what is published next."""

    SUCCEEDED = auto()
    FAILED = auto()
    #: The job was cancelled, or another worker took over its lease.
    LEASE_LOST = auto()
    #: Back in the queue for a retry after a transient error.
    RETRY = auto()
    #: Back in the queue until the database, the object store or the disk is available; not counted as an attempt.
    DEFERRED = auto()
    #: Back in the queue because the worker shuts down; not counted as an attempt.
    SHUTDOWN = auto()
    #: As `SHUTDOWN`, but this process itself received SIGTERM.
    TERMINATED = auto()
    #: Nothing to do: the job has ended, or another worker holds its lease.
    NOT_CLAIMED = auto()
