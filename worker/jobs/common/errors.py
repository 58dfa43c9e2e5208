"""Errors of the job service: jobs, batches, prints, webhooks, quotas, the object store, the broker and the settings.

The class's docstring is the title and the default message of its problem document, as for all errors of the service.
"""

from worker.spec.errors import DrawerwrightError

__all__ = [
    "BatchNotFound",
    "BatchNotReady",
    "BlobMissing",
    "BrokerUnavailable",
    "FileNotInJob",
    "InternalError",
    "JobCancelled",
    "JobFinished",
    "JobNotEnded",
    "JobNotFound",
    "JobNotReady",
    "JobTooLarge",
    "JobTooLong",
    "PrintRepeated",
    "PrintsBusy",
    "QuotaReached",
    "RequestRepeated",
    "RunNotReady",
    "RunsUnknown",
    "SettingsError",
    "WebhookNotFound",
    "WebhookRefused",
]


class JobNotFound(DrawerwrightError):
    """There is no such job."""

    slug = "job-not-found"


class FileNotInJob(DrawerwrightError):
    """The job has no such file."""

    slug = "file-not-found"


class JobNotReady(DrawerwrightError):
    """The job has not succeeded, so it has no results yet."""

    slug = "job-not-ready"


class JobFinished(DrawerwrightError):
    """The job has ended and cannot be cancelled."""

    slug = "job-finished"


class JobNotEnded(DrawerwrightError):
    """The job has not ended and cannot be removed."""

    slug = "job-not-ended"


class BatchNotFound(DrawerwrightError):
    """There is no such batch."""

    slug = "batch-not-found"


class BatchNotReady(DrawerwrightError):
    """The batch has not ended, or has no such file."""

    slug = "batch-not-ready"


class PrintRepeated(DrawerwrightError):
    """Another event was recorded under this id."""

    slug = "print-repeated"


class PrintsBusy(DrawerwrightError):
    """Too many events of this job are recorded at this moment."""

    slug = "prints-busy"


class RunsUnknown(DrawerwrightError):
    """The job was made before print runs were planned."""

    slug = "runs-unknown"


class RunNotReady(DrawerwrightError):
    """The file of this run is still being made."""

    slug = "run-not-ready"


class WebhookNotFound(DrawerwrightError):
    """There is no such webhook."""

    slug = "webhook-not-found"


class WebhookRefused(DrawerwrightError):
    """The webhook cannot be used as it stands."""

    slug = "webhook-refused"


class QuotaReached(DrawerwrightError):
    """The key has reached one of its quotas."""

    slug = "quota-reached"

    #: Seconds after which another try may help; None when time alone does not.
    wait: int | None = None


class RequestRepeated(DrawerwrightError):
    """Another request had this idempotency key."""

    slug = "request-repeated"


class JobCancelled(DrawerwrightError):
    """The job was cancelled while it ran."""

    slug = "job-cancelled"


class JobTooLong(DrawerwrightError):
    """The job took longer than it may."""

    slug = "job-too-long"


class JobTooLarge(DrawerwrightError):
    """The job needs more memory than it may have."""

    slug = "job-too-large"


class BlobMissing(DrawerwrightError):
    """A stored file is not where its record says."""

    slug = "blob-missing"


class BrokerUnavailable(DrawerwrightError):
    """The broker does not answer; the job is kept and will be queued again."""

    slug = "broker-unavailable"


class InternalError(DrawerwrightError):
    """Something went wrong that is no fault of the spec; it was logged."""

    slug = "internal-error"


class SettingsError(DrawerwrightError):
    """A setting is missing or unusable."""

    slug = "invalid-settings"
