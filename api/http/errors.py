"""What can be wrong with a request, whatever the spec in it says."""

from collections.abc import Iterator, Mapping
from types import MappingProxyType
from typing import Any, Final

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
    "kinds",
]


class AddressUnknown(DrawerwrightError):
    """There is nothing at this address."""

    slug = "address-unknown"
    status = 404


class KeyRequired(DrawerwrightError):
    """The request carries no key that this service takes."""

    slug = "key-required"
    status = 401


class ScopeMissing(DrawerwrightError):
    """The key does not allow this."""

    slug = "scope-missing"
    status = 403


class HostRefused(DrawerwrightError):
    """The service is open on this machine only, and the request names another host."""

    slug = "host-refused"
    status = 403


class CrossSiteRefused(DrawerwrightError):
    """A page of another site may change nothing here."""

    slug = "cross-site-refused"
    status = 403


class ThingUnknown(DrawerwrightError):
    """The catalogue has no such thing."""

    slug = "thing-unknown"
    status = 404


class MethodRefused(DrawerwrightError):
    """The address does not take this method."""

    slug = "method-refused"
    status = 405


class BodyTooSlow(DrawerwrightError):
    """The body did not arrive in time."""

    slug = "body-too-slow"
    status = 408


class PreconditionFailed(DrawerwrightError):
    """The file is not the one that the request names."""

    slug = "precondition-failed"
    status = 412


class BodyTooLarge(DrawerwrightError):
    """The body is too large."""

    slug = "body-too-large"
    status = 413


class BodyTypeRefused(DrawerwrightError):
    """The body is of a type or in a coding that is not taken."""

    slug = "body-type-refused"
    status = 415


class RangeRefused(DrawerwrightError):
    """The file has no bytes in this range."""

    slug = "range-refused"
    status = 416


class RateExceeded(DrawerwrightError):
    """Too many requests in too short a time."""

    slug = "rate-exceeded"
    status = 429

    #: When there is room again, as header fields.
    headers: Mapping[str, str] = MappingProxyType({})


class RequestRefused(DrawerwrightError):
    """The request cannot be read."""

    slug = "request-refused"
    status = 400


class HeaderRefused(DrawerwrightError):
    """A header field of the request cannot be used."""

    slug = "header-refused"
    status = 400


class RequestInFlight(DrawerwrightError):
    """A request with this idempotency key is under way."""

    slug = "request-in-flight"
    status = 409


class ServiceNotReady(DrawerwrightError):
    """The service cannot reach its record of jobs."""

    slug = "not-ready"
    status = 503


class RecordFull(DrawerwrightError):
    """The record of jobs, or its disk, is full; nothing was changed."""

    slug = "record-full"
    status = 503


class RecordBusy(DrawerwrightError):
    """Others write to the record of jobs at this moment; nothing was changed."""

    slug = "record-busy"
    status = 503


class PlansBusy(DrawerwrightError):
    """Too many plans wait to be made."""

    slug = "plans-busy"
    status = 503


class ParameterRefused(DrawerwrightError):
    """A parameter of the address cannot be used."""

    slug = "parameter-refused"
    status = 422

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


#: Errors that only the command line and the worker meet, never a client of the service.
_INTERNAL: Final = frozenset({"error", "invalid-settings"})


def kinds() -> dict[str, type[DrawerwrightError]]:
    """Return every kind of problem that a client can meet, by slug."""
    found = {one.slug: one for one in _below(DrawerwrightError)}
    return {slug: found[slug] for slug in sorted(found) if slug not in _INTERNAL}


def _below(kind: type[DrawerwrightError]) -> Iterator[type[DrawerwrightError]]:
    for one in kind.__subclasses__():
        yield one
        yield from _below(one)
