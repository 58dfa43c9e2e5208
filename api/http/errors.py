"""What can be wrong with a request, whatever the spec in it says."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any

from worker.spec.errors import DrawerwrightError

__all__ = [
    "AddressUnknown",
    "BodyTooLarge",
    "BodyTooSlow",
    "BodyTypeRefused",
    "CrossSiteRefused",
    "HeaderRefused",
    "HostRefused",
    "KeyRequired",
    "MethodRefused",
    "ParameterRefused",
    "PlansBusy",
    "PreconditionFailed",
    "RangeRefused",
    "RateExceeded",
    "RecordBusy",
    "RecordFull",
    "RequestInFlight",
    "RequestRefused",
    "ScopeMissing",
    "ServiceNotReady",
    "ThingUnknown",
]


class AddressUnknown(DrawerwrightError):
    """There is nothing at this address."""

    slug = "address-unknown"


class KeyRequired(DrawerwrightError):
    """The request carries no key that this service takes."""

    slug = "key-required"


class ScopeMissing(DrawerwrightError):
    """The key does not allow this."""

    slug = "scope-missing"


class HostRefused(DrawerwrightError):
    """The service is open on this machine only, and the request names another host."""

    slug = "host-refused"


class CrossSiteRefused(DrawerwrightError):
    """A page of another site may change nothing here."""

    slug = "cross-site-refused"


class ThingUnknown(DrawerwrightError):
    """The catalogue has no such thing."""

    slug = "thing-unknown"


class MethodRefused(DrawerwrightError):
    """The address does not take this method."""

    slug = "method-refused"


class BodyTooSlow(DrawerwrightError):
    """The body did not arrive in time."""

    slug = "body-too-slow"


class PreconditionFailed(DrawerwrightError):
    """The file is not the one that the request names."""

    slug = "precondition-failed"


class BodyTooLarge(DrawerwrightError):
    """The body is too large."""

    slug = "body-too-large"


class BodyTypeRefused(DrawerwrightError):
    """The body is of a type or in a coding that is not taken."""

    slug = "body-type-refused"


class RangeRefused(DrawerwrightError):
    """The file has no bytes in this range."""

    slug = "range-refused"


class RateExceeded(DrawerwrightError):
    """Too many requests in too short a time."""

    slug = "rate-exceeded"

    #: When there is room again, as header fields.
    headers: Mapping[str, str] = MappingProxyType({})


class RequestRefused(DrawerwrightError):
    """The request cannot be read."""

    slug = "request-refused"


class HeaderRefused(DrawerwrightError):
    """A header field of the request cannot be used."""

    slug = "header-refused"


class RequestInFlight(DrawerwrightError):
    """A request with this idempotency key is under way."""

    slug = "request-in-flight"


class ServiceNotReady(DrawerwrightError):
    """The service cannot reach its record of jobs."""

    slug = "not-ready"


class RecordFull(DrawerwrightError):
    """The record of jobs, or its disk, is full; nothing was changed."""

    slug = "record-full"


class RecordBusy(DrawerwrightError):
    """Others write to the record of jobs at this moment; nothing was changed."""

    slug = "record-busy"


class PlansBusy(DrawerwrightError):
    """Too many plans wait to be made."""

    slug = "plans-busy"


class ParameterRefused(DrawerwrightError):
    """A parameter of the address cannot be used."""

    slug = "parameter-refused"

    #: Which parameter; of the one that stands for several, None.
    parameter: str | None = None

    @classmethod
    def of(cls, parameter: str, message: str, value: object) -> "ParameterRefused":
        """Return the error of one parameter."""
        error = cls(message, value=value)
        error.parameter = parameter
        return error

    def fields(self) -> dict[str, Any]:
        """Return the structured fields that are set."""
        named = {} if self.parameter is None else {"parameter": self.parameter}
        return {**super().fields(), **named}
