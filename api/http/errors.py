"""Errors of HTTP requests, whatever the spec in them says.

The class's docstring is the title and the default message of its problem document.
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
    "PlansBusy",
    "PreconditionFailed",
    "RangeRefused",
    "RateExceeded",
    "RecordBusy",
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
    """The request carries no valid API key."""

    slug = "key-required"


class ScopeMissing(DrawerwrightError):
    """The API key lacks the required scope."""

    slug = "scope-missing"


class HostRefused(DrawerwrightError):
    """The service accepts local requests only, and the Host header names another host."""

    slug = "host-refused"


class CrossSiteRefused(DrawerwrightError):
    """A request from another site cannot change anything."""

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


class PreconditionFailed(DrawerwrightError):
    """The file does not match the If-Match header."""

    slug = "precondition-failed"


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
    """The rate limit is exceeded."""

    slug = "rate-exceeded"

    #: The response headers that describe the limit, by name.
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


class PlansBusy(DrawerwrightError):
    """Too many plan requests are waiting."""

    slug = "plans-busy"


class ParameterRefused(DrawerwrightError):
    """A request parameter is invalid."""

    slug = "parameter-refused"

    #: The parameter's name; None for an error that groups several.
    parameter: str | None = None

    @classmethod
    def of(
        cls, parameter: str, message: str, value: object, *, limit: str | None = None, remedy: str | None = None
    ) -> "ParameterRefused":
        """Return the error of the parameter with this name."""
        error = cls(message, value=value, limit=limit, remedy=remedy)
        error.parameter = parameter
        return error

    def fields(self) -> dict[str, Any]:
        """Return the structured fields that are set, with the parameter's name."""
        named = {} if self.parameter is None else {"parameter": self.parameter}
        return {**super().fields(), **named}
