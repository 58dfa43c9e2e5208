"""Errors of the job service: jobs, batches, prints, webhooks, quotas, the object store, the broker and the settings.

The class's docstring is the title and the default message of its problem document, as for all errors of the service.
"""

from worker.spec.errors import DrawerwrightError

__all__ = [
    "BatchNotFound",
    "BatchNotReady",
    "BlobMissing",
    "BrokerUnavailable",
    "ClearanceNotRead",
    "DeliveryNotFound",
    "DrawerNotFound",
    "DrawerNotLaidOut",
    "FileNotInJob",
    "HouseholdConflict",
    "HouseholdRefused",
    "InternalError",
    "JobCancelled",
    "JobFinished",
    "JobNotEnded",
    "JobNotFailed",
    "JobNotFound",
    "JobNotReady",
    "JobTooLarge",
    "JobTooLong",
    "KeyNotFound",
    "KeyRefused",
    "PatchRefused",
    "PieceNotFound",
    "PreconditionFailed",
    "PrintRepeated",
    "PrintsBusy",
    "QuotaReached",
    "RedeliveryRefused",
    "RequestRepeated",
    "RunNotReady",
    "RunsUnknown",
    "SettingsError",
    "SilhouetteNotFound",
    "SilhouetteNotReady",
    "SilhouetteRefused",
    "ThingNotFound",
    "WebhookNotFound",
    "WebhookRefused",
]


class JobNotFound(DrawerwrightError):
    """The job does not exist."""

    slug = "job-not-found"


class FileNotInJob(DrawerwrightError):
    """The job has no such file."""

    slug = "file-not-found"


class JobNotReady(DrawerwrightError):
    """The job has no results because it has not succeeded."""

    slug = "job-not-ready"


class JobFinished(DrawerwrightError):
    """The job has already ended and cannot be cancelled."""

    slug = "job-finished"


class JobNotFailed(DrawerwrightError):
    """The job has not failed and cannot be retried."""

    slug = "job-not-failed"


class JobNotEnded(DrawerwrightError):
    """The job is still active and cannot be removed."""

    slug = "job-not-ended"


class BatchNotFound(DrawerwrightError):
    """The batch does not exist."""

    slug = "batch-not-found"


class BatchNotReady(DrawerwrightError):
    """The batch has not ended, or has no such file."""

    slug = "batch-not-ready"


class PrintRepeated(DrawerwrightError):
    """A different print event already has this id."""

    slug = "print-repeated"


class PrintsBusy(DrawerwrightError):
    """Too many print events of this job are being recorded."""

    slug = "prints-busy"


class RunsUnknown(DrawerwrightError):
    """The job has no print runs because it predates them."""

    slug = "runs-unknown"


class RunNotReady(DrawerwrightError):
    """The file of this run is still being written."""

    slug = "run-not-ready"


class ClearanceNotRead(DrawerwrightError):
    """No clearance of the coupon is recorded for the job."""

    slug = "clearance-not-read"


class WebhookNotFound(DrawerwrightError):
    """The webhook does not exist."""

    slug = "webhook-not-found"


class WebhookRefused(DrawerwrightError):
    """The webhook is invalid."""

    slug = "webhook-refused"


class DrawerNotFound(DrawerwrightError):
    """The household has no such drawer."""

    slug = "drawer-not-found"


class DrawerNotLaidOut(DrawerwrightError):
    """Nothing that a job laid out was placed in the drawer yet."""

    slug = "drawer-not-laid-out"


class ThingNotFound(DrawerwrightError):
    """The household has no such thing."""

    slug = "thing-not-found"


class PieceNotFound(DrawerwrightError):
    """The household has no such piece."""

    slug = "piece-not-found"


class HouseholdRefused(DrawerwrightError):
    """The description of a drawer, thing or piece is invalid."""

    slug = "household-refused"


class HouseholdConflict(DrawerwrightError):
    """Drawers, things or pieces of the document are there already."""

    slug = "household-conflict"


class DeliveryNotFound(DrawerwrightError):
    """The log of the webhook has no such delivery."""

    slug = "delivery-not-found"


class RedeliveryRefused(DrawerwrightError):
    """The message cannot be delivered again."""

    slug = "redelivery-refused"


class QuotaReached(DrawerwrightError):
    """The API key has reached one of its quotas."""

    slug = "quota-reached"

    #: Seconds after which a retry can succeed; None if waiting alone does not help.
    wait: int | None = None


class RequestRepeated(DrawerwrightError):
    """The idempotency key belongs to a different request."""

    slug = "request-repeated"


class SilhouetteNotFound(DrawerwrightError):
    """The silhouette does not exist."""

    slug = "silhouette-not-found"


class SilhouetteNotReady(DrawerwrightError):
    """The silhouette has no outline, or not this picture of it."""

    slug = "silhouette-not-ready"


class SilhouetteRefused(DrawerwrightError):
    """The description of the silhouette is invalid."""

    slug = "silhouette-refused"


class PreconditionFailed(DrawerwrightError):
    """The resource does not match the If-Match header."""

    slug = "precondition-failed"


class PatchRefused(DrawerwrightError):
    """The change of the job is invalid."""

    slug = "patch-refused"


class KeyNotFound(DrawerwrightError):
    """The API key does not exist."""

    slug = "key-not-found"


class KeyRefused(DrawerwrightError):
    """The API key to create is invalid."""

    slug = "key-refused"


class JobCancelled(DrawerwrightError):
    """The job was cancelled while it ran."""

    slug = "job-cancelled"


class JobTooLong(DrawerwrightError):
    """The job exceeded its time limit."""

    slug = "job-too-long"


class JobTooLarge(DrawerwrightError):
    """The job exceeded its memory limit."""

    slug = "job-too-large"


class BlobMissing(DrawerwrightError):
    """A stored file is missing or damaged."""

    slug = "blob-missing"


class BrokerUnavailable(DrawerwrightError):
    """The broker does not respond; the job is kept and will be queued again."""

    slug = "broker-unavailable"


class InternalError(DrawerwrightError):
    """An internal error occurred and was logged; the spec is not at fault."""

    slug = "internal-error"


class SettingsError(DrawerwrightError):
    """A setting is missing or invalid."""

    slug = "invalid-settings"
