"""Webhooks: what a caller says of an endpoint that is to be told of events."""

from typing import Annotated, Final, Literal, TypeAlias, get_args

from pydantic import AfterValidator, Field

from worker.spec.errors import SpecError
from worker.spec.primitives.model import Noun
from worker.spec.primitives.pydantic_errors import refusal

__all__ = ["EVENTS", "EventType", "JobsTold", "WebhookRequest"]

EventType: TypeAlias = Literal["job.running", "job.succeeded", "job.failed", "job.cancelled", "job.printed"]
JobsTold: TypeAlias = Literal["all", "named"]

EVENTS: Final[tuple[EventType, ...]] = get_args(EventType)


def _each_once(events: tuple[EventType, ...]) -> tuple[EventType, ...]:
    if len(set(events)) != len(events):
        raise refusal(SpecError("An event is named twice.", value=list(events), limit="each event once"))
    return tuple(event for event in EVENTS if event in events)


class WebhookRequest(Noun):
    """An endpoint, and what it is to be told."""

    url: Annotated[str, Field(strict=True, min_length=1, max_length=2_000)] = Field(
        description="https:// or http://. The host must have global addresses only, or ones that the service allows; "
        "it is looked up for each message. Redirects are not followed.",
        json_schema_extra={"format": "uri", "pattern": r'^[Hh][Tt][Tt][Pp][Ss]?://[!-"$-~]+$'},
    )
    events: Annotated[tuple[EventType, ...], Field(min_length=1), AfterValidator(_each_once)] = Field(
        default=EVENTS,
        description="Which events; left out, all that there are now.",
        json_schema_extra={"uniqueItems": True},
    )
    jobs: JobsTold = Field(
        default="all",
        description="all: every job of this key. named: only jobs that name it (POST /v1/jobs?webhook=ID).",
    )
