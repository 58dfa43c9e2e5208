"""Errors in HTTP requests, independent of the spec that a request carries.

The first line of a class's docstring is the title and the default message of its problem document.
"""

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
    "PlanTooCostly",
    "PlansBusy",
    "RangeRefused",
    "RateExceeded",
    "RecordBusy",
    "RecordDamaged",
    "RecordFull",
    "RequestRefused",
    "ScopeMissing",
    "ServiceNotReady",
    "ThingUnknown",
]


class AddressUnknown(DrawerwrightError):
    """No resource exists at this URL."""

    slug = "address-unknown"


class KeyRequired(DrawerwrightError):
    """The request has no valid API key."""

    slug = "key-required"


class ScopeMissing(DrawerwrightError):
    """The API key lacks the required scope."""

    slug = "scope-missing"


class HostRefused(DrawerwrightError):
    """The service accepts local requests only, and the Host header names another host."""

    slug = "host-refused"


class CrossSiteRefused(DrawerwrightError):
    """Requests from other sites may not change data."""

    slug = "cross-site-refused"


class ThingUnknown(DrawerwrightError):
    """The catalogue has no such entry."""

    slug = "thing-unknown"


class MethodRefused(DrawerwrightError):
    """The URL does not support this method."""

    slug = "method-refused"


class BodyTooSlow(DrawerwrightError):
    """The request body did not arrive in time."""

    slug = "body-too-slow"


class BodyTooLarge(DrawerwrightError):
    """The request body is too large."""

    slug = "body-too-large"


class BodyTypeRefused(DrawerwrightError):
    """The media type or content coding of the request body is not supported."""

    slug = "body-type-refused"


class RangeRefused(DrawerwrightError):
    """The requested range lies outside the file."""

    slug = "range-refused"


class RateExceeded(DrawerwrightError):
    """The rate limit was exceeded."""

    slug = "rate-exceeded"

    #: Response headers that describe the limit, by name.
    headers: Mapping[str, str] = MappingProxyType({})


class RequestRefused(DrawerwrightError):
    """The request is malformed."""

    slug = "request-refused"


class HeaderRefused(DrawerwrightError):
    """A request header is invalid."""

    slug = "header-refused"


class ServiceNotReady(DrawerwrightError):
    """The service cannot reach its database."""

    slug = "not-ready"


class RecordFull(DrawerwrightError):
    """The database or its disk is full; nothing was changed."""

    slug = "record-full"


class RecordBusy(DrawerwrightError):
    """The database is locked by other writers; nothing was changed."""

    slug = "record-busy"


class RecordDamaged(DrawerwrightError):
    """The database file is damaged."""

    slug = "record-damaged"


class PlansBusy(DrawerwrightError):
    """Too many plan requests are waiting."""

    slug = "plans-busy"


class PlanTooCostly(DrawerwrightError):
    """The plan takes more time or memory than a plan may."""

    slug = "plan-too-costly"


class ParameterRefused(DrawerwrightError):
    """A request parameter is invalid."""

    slug = "parameter-refused"

    #: Name of the parameter; None for an error that groups several.
    parameter: str | None = None

    @classmethod
    def of(
        cls, parameter: str, message: str, value: object, *, limit: str | None = None, remedy: str | None = None
    ) -> "ParameterRefused":
        """Return an error about the named parameter."""
        error = cls(message, value=value, limit=limit, remedy=remedy)
        error.parameter = parameter
        return error

    def fields(self) -> dict[str, Any]:
        """Return the fields that are set, with the parameter's name."""
        named = {} if self.parameter is None else {"parameter": self.parameter}
        return {**super().fields(), **named}
