"""The HTTP status of each kind of error, and every kind that a client can meet."""

from collections.abc import Iterator, Mapping
from http import HTTPStatus
from types import MappingProxyType
from typing import Final

from api.http.problems import errors as http_errors
from worker.jobs.common import errors as job_errors
from worker.silhouettes import errors as silhouette_errors
from worker.spec import errors as core_errors
from worker.spec.errors import DrawerwrightError

__all__ = ["STATUS_CODES", "problem_kinds", "status_of"]

#: By class; a subclass without a row of its own has the status of its nearest base class that has one.
STATUS_CODES: Final[Mapping[type[DrawerwrightError], HTTPStatus]] = MappingProxyType(
    {
        # the spec and its job
        core_errors.SpecError: HTTPStatus.UNPROCESSABLE_ENTITY,
        job_errors.JobNotFound: HTTPStatus.NOT_FOUND,
        job_errors.FileNotInJob: HTTPStatus.NOT_FOUND,
        job_errors.JobNotReady: HTTPStatus.CONFLICT,
        job_errors.JobFinished: HTTPStatus.CONFLICT,
        job_errors.JobNotFailed: HTTPStatus.CONFLICT,
        job_errors.JobNotEnded: HTTPStatus.CONFLICT,
        job_errors.JobCancelled: HTTPStatus.CONFLICT,
        core_errors.CheckFailed: HTTPStatus.INTERNAL_SERVER_ERROR,
        job_errors.JobTooLong: HTTPStatus.INTERNAL_SERVER_ERROR,
        job_errors.JobTooLarge: HTTPStatus.INTERNAL_SERVER_ERROR,
        job_errors.BlobMissing: HTTPStatus.INTERNAL_SERVER_ERROR,
        job_errors.InternalError: HTTPStatus.INTERNAL_SERVER_ERROR,
        # batches, prints, webhooks
        job_errors.BatchNotFound: HTTPStatus.NOT_FOUND,
        job_errors.BatchNotReady: HTTPStatus.CONFLICT,
        core_errors.PrintRefused: HTTPStatus.UNPROCESSABLE_ENTITY,
        job_errors.PrintRepeated: HTTPStatus.UNPROCESSABLE_ENTITY,
        job_errors.PrintsBusy: HTTPStatus.SERVICE_UNAVAILABLE,
        job_errors.RunsUnknown: HTTPStatus.CONFLICT,
        job_errors.ClearanceNotRead: HTTPStatus.CONFLICT,
        job_errors.RunNotReady: HTTPStatus.CONFLICT,
        job_errors.WebhookNotFound: HTTPStatus.NOT_FOUND,
        job_errors.DeliveryNotFound: HTTPStatus.NOT_FOUND,
        job_errors.RedeliveryRefused: HTTPStatus.CONFLICT,
        job_errors.WebhookRefused: HTTPStatus.UNPROCESSABLE_ENTITY,
        # the household
        job_errors.DrawerNotFound: HTTPStatus.NOT_FOUND,
        job_errors.DrawerNotLaidOut: HTTPStatus.CONFLICT,
        job_errors.ThingNotFound: HTTPStatus.NOT_FOUND,
        job_errors.PieceNotFound: HTTPStatus.NOT_FOUND,
        job_errors.HouseholdConflict: HTTPStatus.CONFLICT,
        job_errors.HouseholdRefused: HTTPStatus.UNPROCESSABLE_ENTITY,
        # silhouettes
        silhouette_errors.SilhouetteError: HTTPStatus.UNPROCESSABLE_ENTITY,
        job_errors.SilhouetteNotFound: HTTPStatus.NOT_FOUND,
        job_errors.SilhouetteNotReady: HTTPStatus.CONFLICT,
        job_errors.SilhouetteRefused: HTTPStatus.UNPROCESSABLE_ENTITY,
        job_errors.PatchRefused: HTTPStatus.UNPROCESSABLE_ENTITY,
        job_errors.KeyNotFound: HTTPStatus.NOT_FOUND,
        job_errors.KeyRefused: HTTPStatus.UNPROCESSABLE_ENTITY,
        # the service
        job_errors.QuotaReached: HTTPStatus.TOO_MANY_REQUESTS,
        job_errors.RequestRepeated: HTTPStatus.UNPROCESSABLE_ENTITY,
        job_errors.BrokerUnavailable: HTTPStatus.SERVICE_UNAVAILABLE,
        http_errors.ServiceNotReady: HTTPStatus.SERVICE_UNAVAILABLE,
        http_errors.RecordFull: HTTPStatus.SERVICE_UNAVAILABLE,
        http_errors.RecordDamaged: HTTPStatus.SERVICE_UNAVAILABLE,
        http_errors.RecordBusy: HTTPStatus.SERVICE_UNAVAILABLE,
        http_errors.PlansBusy: HTTPStatus.SERVICE_UNAVAILABLE,
        # the request
        http_errors.RequestRefused: HTTPStatus.BAD_REQUEST,
        http_errors.HeaderRefused: HTTPStatus.BAD_REQUEST,
        http_errors.KeyRequired: HTTPStatus.UNAUTHORIZED,
        http_errors.ScopeMissing: HTTPStatus.FORBIDDEN,
        http_errors.HostRefused: HTTPStatus.FORBIDDEN,
        http_errors.CrossSiteRefused: HTTPStatus.FORBIDDEN,
        http_errors.AddressUnknown: HTTPStatus.NOT_FOUND,
        http_errors.ThingUnknown: HTTPStatus.NOT_FOUND,
        http_errors.MethodRefused: HTTPStatus.METHOD_NOT_ALLOWED,
        http_errors.BodyTooSlow: HTTPStatus.REQUEST_TIMEOUT,
        job_errors.PreconditionFailed: HTTPStatus.PRECONDITION_FAILED,
        http_errors.BodyTooLarge: HTTPStatus.REQUEST_ENTITY_TOO_LARGE,
        http_errors.BodyTypeRefused: HTTPStatus.UNSUPPORTED_MEDIA_TYPE,
        http_errors.RangeRefused: HTTPStatus.REQUESTED_RANGE_NOT_SATISFIABLE,
        http_errors.PlanTooCostly: HTTPStatus.UNPROCESSABLE_ENTITY,
        http_errors.ParameterRefused: HTTPStatus.UNPROCESSABLE_ENTITY,
        http_errors.RateExceeded: HTTPStatus.TOO_MANY_REQUESTS,
    }
)

#: Errors that only the command line and the worker meet, never a client of the service.
_INTERNAL: Final = frozenset({"error", "invalid-settings"})


def status_of(kind: type[DrawerwrightError]) -> int:
    """Return the HTTP status of a kind of error: 500 where the table has none."""
    rows = (STATUS_CODES[base] for base in kind.__mro__ if base in STATUS_CODES)
    return int(next(rows, HTTPStatus.INTERNAL_SERVER_ERROR))


def problem_kinds() -> dict[str, type[DrawerwrightError]]:
    """Return every kind of error that a client can meet, by slug in alphabetical order."""
    by_slug = {kind.slug: kind for kind in _subclasses(DrawerwrightError)}
    return {slug: by_slug[slug] for slug in sorted(by_slug) if slug not in _INTERNAL}


def _subclasses(kind: type[DrawerwrightError]) -> Iterator[type[DrawerwrightError]]:
    for subclass in kind.__subclasses__():
        yield subclass
        yield from _subclasses(subclass)
