"""Webhook requests: an endpoint and the events to deliver to it."""

from typing import Annotated, Final, Literal, TypeAlias, get_args

from pydantic import AfterValidator, Field

from worker.spec.errors import SpecError
from worker.spec.primitives.model import Noun
from worker.spec.primitives.pydantic_errors import refusal

__all__ = [
    "BATCH_EVENTS",
    "EVENTS",
    "SILHOUETTE_EVENTS",
    "BatchEventType",
    "EventType",
    "JobEventType",
    "JobSelection",
    "SilhouetteEventType",
    "WebhookRequest",
]

JobEventType: TypeAlias = Literal["job.running", "job.succeeded", "job.failed", "job.cancelled", "job.printed"]
BatchEventType: TypeAlias = Literal["batch.ended"]
SilhouetteEventType: TypeAlias = Literal["silhouette.ended"]
EventType: TypeAlias = Literal[JobEventType, BatchEventType, SilhouetteEventType]
JobSelection: TypeAlias = Literal["all", "named"]

BATCH_EVENTS: Final[tuple[BatchEventType, ...]] = get_args(BatchEventType)
SILHOUETTE_EVENTS: Final[tuple[SilhouetteEventType, ...]] = get_args(SilhouetteEventType)
EVENTS: Final[tuple[EventType, ...]] = get_args(EventType)


def _each_once(events: tuple[EventType, ...]) -> tuple[EventType, ...]:
    if len(set(events)) != len(events):
        error = SpecError(
            "An event is listed twice.",
            value=list(events), limit="each event once", remedy="Remove the duplicate.",
        )  # fmt: skip
        raise refusal(error)
    return tuple(event for event in EVENTS if event in events)


class WebhookRequest(Noun):
    """An endpoint and the events to deliver to it."""

    url: Annotated[str, Field(strict=True, min_length=1, max_length=2_000)] = Field(
        description="http or https URL of the endpoint. Every address of the host must be global or allowed by the "
        "service; it is resolved again for each delivery. Redirects are not followed.",
        json_schema_extra={"format": "uri", "pattern": r'^[Hh][Tt][Tt][Pp][Ss]?://[!-"$-~]+$'},
    )
    events: Annotated[tuple[EventType, ...], Field(min_length=1), AfterValidator(_each_once)] = Field(
        default=EVENTS,
        description="Events to deliver; defaults to all current ones.",
        json_schema_extra={"uniqueItems": True},
    )
    jobs: JobSelection = Field(
        default="all",
        description="all: every job, batch and silhouette of this key. named: only jobs and batches that name this "
        "webhook (POST /v1/jobs?webhook=ID, POST /v1/batches?webhook=ID).",
    )
