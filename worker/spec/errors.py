"""Every error that a caller can cause, in one tree.

A class's docstring is its default message. An error says where (a JSON Pointer, RFC 6901), what was given, what the
limit is and what would help; `problem` turns it into a problem document (RFC 9457).
"""

from collections.abc import Sequence
from typing import Any, ClassVar

__all__ = [
    "BatchNotFound",
    "BatchNotReady",
    "BlobMissing",
    "BrokerUnavailable",
    "CheckFailed",
    "DrawerwrightError",
    "FileNotInJob",
    "InternalError",
    "JobCancelled",
    "JobFinished",
    "JobNotEnded",
    "JobNotFound",
    "JobNotReady",
    "JobTooLarge",
    "JobTooLong",
    "JointError",
    "LayoutError",
    "LengthError",
    "PrintRefused",
    "PrintRepeated",
    "PrintsBusy",
    "QuotaReached",
    "RequestRepeated",
    "RunNotReady",
    "RunsUnknown",
    "SettingsError",
    "SpecError",
    "SpecTooLarge",
    "TrayError",
    "WebhookNotFound",
    "WebhookRefused",
]


class DrawerwrightError(Exception):
    """Something went wrong."""

    #: The last part of the problem's type.
    slug: ClassVar[str] = "error"
    #: The HTTP status that fits.
    status: ClassVar[int] = 500

    def __init__(
        self,
        message: str | None = None,
        *,
        pointer: str | None = None,
        value: object = None,
        limit: str | None = None,
        remedy: str | None = None,
        part: str | None = None,
        errors: Sequence["DrawerwrightError"] = (),
    ) -> None:
        """Keep the fields; without a message the class's docstring speaks."""
        self.message = message or (type(self).__doc__ or "").splitlines()[0]
        self.pointer = pointer
        self.value = value
        self.limit = limit
        self.remedy = remedy
        self.part = part
        self.errors = tuple(errors)
        super().__init__(self.message)

    def __str__(self) -> str:
        """Say it in one line, with what is known."""
        facts = [
            f"{name} {fact}"
            for name, fact in (
                ("at", self.pointer),
                ("got", _plain(self.value)),
                ("limit", self.limit),
                ("part", self.part),
            )
            if fact is not None
        ]
        tail = f" ({'; '.join(facts)})" if facts else ""
        return f"{self.message}{tail}" + (f" {self.remedy}" if self.remedy else "")

    @property
    def title(self) -> str:
        """The class's docstring: the same for every occurrence."""
        return (type(self).__doc__ or "").splitlines()[0]

    def fields(self) -> dict[str, Any]:
        """Return the structured fields that are set."""
        known = {
            "detail": self.message,
            "pointer": self.pointer,
            "value": _plain(self.value),
            "limit": self.limit,
            "remedy": self.remedy,
            "part": self.part,
        }
        return {name: fact for name, fact in known.items() if fact is not None}

    def problem(self, type_base: str = "/problems/", instance: str | None = None) -> dict[str, Any]:
        """Return the problem document (RFC 9457)."""
        document: dict[str, Any] = {
            "type": f"{type_base}{self.slug}",
            "title": self.title,
            "status": self.status,
            **self.fields(),
        }
        if instance is not None:
            document["instance"] = instance
        if self.errors:
            document["errors"] = [error.fields() for error in self.errors]
        return document


class SpecError(DrawerwrightError):
    """The spec cannot be used as it stands."""

    slug = "invalid-spec"
    status = 422


class SpecTooLarge(SpecError):
    """The spec asks for more than one job may."""

    slug = "spec-too-large"


class LengthError(SpecError):
    """A length is not readable or out of bounds."""

    slug = "invalid-length"


class JointError(SpecError):
    """The joint's profile cannot be printed or assembled."""

    slug = "invalid-joint"


class LayoutError(SpecError):
    """The drawer cannot be laid out."""

    slug = "no-layout"


class TrayError(LayoutError):
    """A tray cannot be made or placed."""

    slug = "invalid-tray"


class CheckFailed(DrawerwrightError):
    """A part did not pass its checks; nothing of it was stored."""

    slug = "check-failed"
    status = 500


class JobNotFound(DrawerwrightError):
    """There is no such job."""

    slug = "job-not-found"
    status = 404


class FileNotInJob(DrawerwrightError):
    """The job has no such file."""

    slug = "file-not-found"
    status = 404


class JobNotReady(DrawerwrightError):
    """The job has not succeeded, so it has no results yet."""

    slug = "job-not-ready"
    status = 409


class JobFinished(DrawerwrightError):
    """The job has ended and cannot be cancelled."""

    slug = "job-finished"
    status = 409


class JobNotEnded(DrawerwrightError):
    """The job has not ended and cannot be removed."""

    slug = "job-not-ended"
    status = 409


class BatchNotFound(DrawerwrightError):
    """There is no such batch."""

    slug = "batch-not-found"
    status = 404


class BatchNotReady(DrawerwrightError):
    """The batch has not ended, or has no such file."""

    slug = "batch-not-ready"
    status = 409


class PrintRefused(DrawerwrightError):
    """What was said of a print cannot be so."""

    slug = "print-refused"
    status = 422


class PrintRepeated(DrawerwrightError):
    """Another event was recorded under this id."""

    slug = "print-repeated"
    status = 422


class PrintsBusy(DrawerwrightError):
    """Too many events of this job are recorded at this moment."""

    slug = "prints-busy"
    status = 503


class RunsUnknown(DrawerwrightError):
    """The job was made before print runs were planned."""

    slug = "runs-unknown"
    status = 409


class RunNotReady(DrawerwrightError):
    """The file of this run is still being made."""

    slug = "run-not-ready"
    status = 409


class WebhookNotFound(DrawerwrightError):
    """There is no such webhook."""

    slug = "webhook-not-found"
    status = 404


class WebhookRefused(DrawerwrightError):
    """The webhook cannot be used as it stands."""

    slug = "webhook-refused"
    status = 422


class QuotaReached(DrawerwrightError):
    """The key has reached one of its quotas."""

    slug = "quota-reached"
    status = 429

    #: Seconds after which another try may help; None when time alone does not.
    wait: int | None = None


class RequestRepeated(DrawerwrightError):
    """Another request had this idempotency key."""

    slug = "request-repeated"
    status = 422


class JobCancelled(DrawerwrightError):
    """The job was cancelled while it ran."""

    slug = "job-cancelled"
    status = 409


class JobTooLong(DrawerwrightError):
    """The job took longer than it may."""

    slug = "job-too-long"
    status = 500


class JobTooLarge(DrawerwrightError):
    """The job needs more memory than it may have."""

    slug = "job-too-large"
    status = 500


class BlobMissing(DrawerwrightError):
    """A stored file is not where its record says."""

    slug = "blob-missing"
    status = 500


class BrokerUnavailable(DrawerwrightError):
    """The broker does not answer; the job is kept and will be queued again."""

    slug = "broker-unavailable"
    status = 503


class InternalError(DrawerwrightError):
    """Something went wrong that is no fault of the spec; it was logged."""

    slug = "internal-error"
    status = 500


class SettingsError(DrawerwrightError):
    """A setting is missing or unusable."""

    slug = "invalid-settings"
    status = 500


def _plain(value: object) -> object:
    """Return the value as JSON can carry it, cut short."""
    if value is None or isinstance(value, bool):
        return value
    if isinstance(value, int):
        # some JSON writers stop at 64 bits, and Python writes out no integer of thousands of digits
        return value if value.bit_length() < 64 else f"a number of {value.bit_length()} bits"  # noqa: PLR2004 - as said
    if isinstance(value, float):
        return value if value - value == 0.0 else _written(value)
    if isinstance(value, list | tuple) and len(value) <= 8:  # noqa: PLR2004 - long values are cut below
        return [_plain(one) if not isinstance(one, list | tuple) else _plain(_written(one)) for one in value]
    text = value[:200] if isinstance(value, str) else _written(value)
    text = text.encode(errors="backslashreplace").decode()  # a lone surrogate is no UTF-8
    return text if len(text) <= 120 else f"{text[:117]}..."  # noqa: PLR2004 - a line


def _written(value: object) -> str:
    try:
        return repr(value)
    except ValueError:  # somewhere in it is an integer of thousands of digits
        return f"a {type(value).__name__}"
