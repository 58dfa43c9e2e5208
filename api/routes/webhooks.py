"""Webhooks: endpoints that are told of a key's jobs (Standard Webhooks 1.0)."""

from datetime import datetime, timedelta
from http import HTTPStatus
from typing import Annotated, Any, Final

from fastapi import APIRouter, Depends, Query, Request, Response
from pydantic import BaseModel, ConfigDict, Field

from api.app_state import JobServiceDep
from api.auth.access import caller_of
from api.documents.jobs import JobDocument
from api.documents.prints import PrintDocument
from api.http.base_url import base_of
from api.http.body import read_noun
from api.http.errors import BodyTooLarge, BodyTooSlow, BodyTypeRefused, ParameterRefused, ScopeMissing
from api.http.problems import refusals
from worker.jobs.common.errors import QuotaReached, WebhookNotFound, WebhookRefused
from worker.jobs.records.webhook_endpoints import WebhookEndpoint
from worker.spec.requests.webhook import EVENTS, EventType, JobSelection, WebhookRequest

__all__ = ["WebhookMessage", "described", "router"]

router = APIRouter(prefix="/v1/webhooks", tags=["webhooks"])

#: Bytes that a request for one may have.
_LARGEST: Final = 16 * 1024


class WebhookDocument(BaseModel):
    """An endpoint, and how it does."""

    model_config = ConfigDict(frozen=True)

    id: str
    url: str
    events: tuple[EventType, ...]
    jobs: JobSelection
    created: datetime
    state: str = Field(
        description="active; failing: a message was not taken in a day of tries, and each new one is tried once until "
        "one is taken; disabled: it answered 410 and is told nothing more."
    )
    delivered: int = Field(ge=0, description="Messages that it took.")
    waiting: int = Field(ge=0, description="Messages that will be tried (again).")
    dropped: int = Field(ge=0, description="Messages that it never took.")
    last_success: datetime | None
    last_failure: datetime | None
    problem: str | None = Field(description="What went wrong the last time, if nothing went well since.")
    self: str = Field(description="Its address; DELETE removes it.")


class NewWebhookDocument(WebhookDocument):
    """An endpoint with its secret, which is told this once."""

    secret: str = Field(description="Signs the messages (whsec_...). Keep it now: it is not told again.")


class WebhookList(BaseModel):
    """All endpoints of a key."""

    model_config = ConfigDict(frozen=True)

    webhooks: tuple[WebhookDocument, ...]


class Overlap(BaseModel):
    """For how long the secret before signs too."""

    model_config = ConfigDict(extra="forbid")

    overlap_hours: float = Field(default=24.0, ge=0.0, le=168.0, description="Hours for which both secrets sign.")


class WebhookData(JobDocument):
    """The job as it stood when the event happened."""

    printed: PrintDocument | None = Field(default=None, description="Of job.printed: what was recorded.")


class WebhookMessage(BaseModel):
    """The body of a message."""

    model_config = ConfigDict(frozen=True)

    type: EventType
    timestamp: datetime = Field(description="When it happened; the header has the time of the try.")
    data: WebhookData = Field(
        description="The job. Links are paths where the service does not know its address (DRAWERWRIGHT_PUBLIC_URL)."
    )


async def read_webhook(request: Request) -> WebhookRequest:
    """Return the endpoint that the body asks for.

    Raises:
        WebhookRefused: with each of its problems.
    """
    return await read_noun(request, WebhookRequest, _LARGEST, WebhookRefused, "webhook")


_BODY: Final[dict[str, Any]] = {
    "requestBody": {
        "required": True,
        "content": {
            "application/json": {
                "schema": {"$ref": "#/components/schemas/WebhookRequest"},
                "examples": {
                    "ends": {
                        "summary": "Told of how jobs ended",
                        "value": {
                            "url": "https://home.example/drawers",
                            "events": ["job.succeeded", "job.failed", "job.cancelled"],
                        },
                    }
                },
            }
        },
    }
}


@router.post(
    "",
    status_code=HTTPStatus.CREATED,
    operation_id="createWebhook",
    summary="Have an endpoint told of events",
    responses=refusals(WebhookRefused, QuotaReached, BodyTooLarge, BodyTooSlow, BodyTypeRefused),
    openapi_extra=_BODY,
)
def create_webhook(
    request: Request,
    response: Response,
    job_service: JobServiceDep,
    wanted: Annotated[WebhookRequest, Depends(read_webhook)],
) -> NewWebhookDocument:
    """Add an endpoint for this key's jobs. A key that only runs a shared screen may not."""
    _check_own(request)
    job_service.reach.check(wanted.url)
    made, secret = job_service.webhooks.create(caller_of(request).owner, wanted)
    document = NewWebhookDocument(**_fields(request, made), secret=secret.get_secret_value())
    response.headers["Location"] = document.self
    return document


@router.head("", include_in_schema=False)
@router.get("", operation_id="listWebhooks", summary="List webhooks")
def list_webhooks(request: Request, job_service: JobServiceDep) -> WebhookList:
    """List the endpoints, oldest first, with what went wrong where something did."""
    _check_own(request)
    found = job_service.webhooks.list(caller_of(request).sees)
    return WebhookList(webhooks=tuple(WebhookDocument(**_fields(request, one)) for one in found))


@router.head("/{webhook_id}", include_in_schema=False)
@router.get("/{webhook_id}", operation_id="getWebhook", summary="One webhook", responses=refusals(WebhookNotFound))
def get_webhook(request: Request, job_service: JobServiceDep, webhook_id: str) -> WebhookDocument:
    """Tell how an endpoint does."""
    _check_own(request)
    return WebhookDocument(**_fields(request, job_service.webhooks.find(webhook_id, caller_of(request).sees)))


@router.delete(
    "/{webhook_id}",
    status_code=HTTPStatus.NO_CONTENT,
    operation_id="removeWebhook",
    summary="Remove a webhook",
    responses=refusals(WebhookNotFound),
    response_class=Response,
)
def remove_webhook(request: Request, job_service: JobServiceDep, webhook_id: str) -> None:
    """Remove an endpoint with the messages that wait for it."""
    _check_own(request)
    job_service.webhooks.remove(webhook_id, caller_of(request).sees)


@router.post(
    "/{webhook_id}/secret",
    operation_id="rotateWebhookSecret",
    summary="Make a new secret",
    responses=refusals(WebhookNotFound, ParameterRefused),
)
def rotate_secret(
    request: Request, job_service: JobServiceDep, webhook_id: str, overlap: Annotated[Overlap, Query()]
) -> NewWebhookDocument:
    """Make a new secret and tell it this once; until the overlap is over the one before signs too."""
    _check_own(request)
    hours = timedelta(hours=overlap.overlap_hours)
    made, secret = job_service.webhooks.rotate(webhook_id, caller_of(request).sees, hours)
    return NewWebhookDocument(**_fields(request, made), secret=secret.get_secret_value())


def described() -> dict[str, Any]:
    """Return what OpenAPI says of the messages, by event."""
    text = {"schema": {"type": "string"}}
    headers = [
        {"name": "webhook-id", "in": "header", "required": True, "description": "The same in every try.", **text},
        {"name": "webhook-timestamp", "in": "header", "required": True, "description": "Seconds since 1970.", **text},
        {
            "name": "webhook-signature",
            "in": "header",
            "required": True,
            "description": "v1,<base64 of HMAC-SHA256 over id.timestamp.body>; two while a secret is changed.",
            **text,
        },
    ]
    content = {"application/json": {"schema": {"$ref": "#/components/schemas/WebhookMessage"}}}
    answers = {
        "2XX": {"description": "It was taken."},
        "410": {"description": "Send nothing more, ever."},
        "default": {"description": "It was not taken, and is tried again with growing pauses for most of a day."},
    }
    return {
        event: {
            "post": {
                "operationId": f"on{''.join(word.title() for word in event.split('.'))}",
                "summary": _SAYS[event],
                "description": f"{_SAYS[event]} Sent to endpoints of the job's key (Standard Webhooks 1.0). A message "
                "may come twice, and two may come in another order than they happened.",
                "tags": ["webhooks"],
                "security": [],
                "parameters": headers,
                "requestBody": {"required": True, "content": content},
                "responses": answers,
            }
        }
        for event in EVENTS
    }


_SAYS: Final[dict[EventType, str]] = {
    "job.running": "A worker took the job up; again for each attempt.",
    "job.succeeded": "The job's files are there.",
    "job.failed": "The job ended with a problem.",
    "job.cancelled": "The job was cancelled.",
    "job.printed": "Something was recorded of the job's prints.",
}


def _check_own(request: Request) -> None:
    """Refuse who may not submit jobs of their own: the address of an endpoint may hold a secret."""
    scopes = caller_of(request).scopes
    if not scopes & {"submit", "admin"}:
        raise ScopeMissing(value=sorted(scopes), limit="submit", remedy="Use a key with the scope submit.")


def _fields(request: Request, one: WebhookEndpoint) -> dict[str, Any]:
    told = {name: getattr(one, name) for name in WebhookEndpoint.__slots__ if name != "owner"}
    return {**told, "self": f"{base_of(request)}/v1/webhooks/{one.id}"}
