"""Webhooks: endpoints that receive the events of an API key's jobs and batches (Standard Webhooks 1.0)."""

from datetime import datetime, timedelta
from http import HTTPStatus
from typing import Annotated, Any, Final

from fastapi import APIRouter, Depends, Query, Request, Response
from pydantic import BaseModel, ConfigDict, Field
from pydantic.config import JsonDict

from api.app_state import JobServiceDep
from api.auth.access import caller_of
from api.documents.batches import BatchOverview
from api.documents.jobs import JobDocument
from api.documents.prints import PrintDocument
from api.documents.silhouettes import SilhouetteOverview
from api.http.problems.errors import BodyTooLarge, BodyTooSlow, BodyTypeRefused, ParameterRefused, ScopeMissing
from api.http.problems.problem_documents import refusals
from api.http.requests.base_url import base_of
from api.http.requests.body import read_noun
from api.http.requests.preconditions import IF_MATCH_PARAMETER, check_match
from api.http.responses.ranges import content_tag
from worker.jobs.common.errors import (
    DeliveryNotFound,
    PreconditionFailed,
    QuotaReached,
    RedeliveryRefused,
    WebhookNotFound,
    WebhookRefused,
)
from worker.jobs.common.ids import ID_PATTERN
from worker.jobs.job_service import JobService
from worker.jobs.records.webhooks.deliveries import KEPT_DELIVERIES, Delivery
from worker.jobs.records.webhooks.endpoints import WebhookEndpoint
from worker.spec.requests.webhook import (
    BATCH_EVENTS,
    EVENTS,
    SILHOUETTE_EVENTS,
    BatchEventType,
    EventType,
    JobEventType,
    JobSelection,
    SilhouetteEventType,
    WebhookRequest,
)

__all__ = ["BatchMessage", "SilhouetteMessage", "WebhookMessage", "described", "router"]

router = APIRouter(prefix="/v1/webhooks", tags=["webhooks"])

#: Largest body of a request to create a webhook, in bytes.
_LARGEST: Final = 16 * 1024


_ID: Final = "01k9x5m8w2q4r6t8v0y2a4c6e8"
_URL: Final = f"http://127.0.0.1:8765/v1/webhooks/{_ID}"
_EXAMPLE: Final[JsonDict] = {
    "id": _ID,
    "url": "https://home.example/drawers",
    "events": ["job.succeeded", "job.failed"],
    "jobs": "all",
    "created": "2026-03-07T18:42:00Z",
    "state": "active",
    "delivered": 12,
    "waiting": 0,
    "dropped": 0,
    "last_success": "2026-03-07T18:42:00Z",
    "last_failure": None,
    "problem": None,
    "self": _URL,
}


_DELIVERY_EXAMPLE: Final[JsonDict] = {
    "id": _ID,
    "message_id": "msg_5f0a",
    "type": "job.succeeded",
    "job_id": _ID,
    "batch_id": None,
    "silhouette_id": None,
    "attempt": 1,
    "at": "2026-03-07T18:42:00Z",
    "milliseconds": 84,
    "status": 204,
    "problem": None,
}


class WebhookDocument(BaseModel):
    """A webhook and the state of its deliveries."""

    model_config = ConfigDict(frozen=True, json_schema_extra={"examples": [_EXAMPLE]})

    id: str = Field(description="The webhook's identifier.")
    url: str = Field(description="The endpoint that receives the messages.")
    events: tuple[EventType, ...] = Field(description="The events that are sent.")
    jobs: JobSelection
    created: datetime = Field(description="When the webhook was created.")
    state: str = Field(
        description="active: messages are delivered. failing: a message was dropped after its last retry, and new ones "
        "are sent once each, until one is accepted. disabled: the endpoint answered 410 and receives nothing more."
    )
    delivered: int = Field(ge=0, description="Messages that the endpoint accepted.")
    waiting: int = Field(ge=0, description="Messages waiting for delivery or a retry.")
    dropped: int = Field(ge=0, description="Messages given up without being accepted.")
    last_success: datetime | None = Field(description="When a message was last accepted.")
    last_failure: datetime | None = Field(description="When a delivery last failed.")
    problem: str | None = Field(description="Why the latest delivery failed; null if it succeeded.")
    self: str = Field(description="This webhook. DELETE removes it.")


class NewWebhookDocument(WebhookDocument):
    """A webhook with its signing secret, which is shown only once."""

    model_config = ConfigDict(
        frozen=True,
        json_schema_extra={"examples": [{**_EXAMPLE, "secret": "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"}]},
    )

    secret: str = Field(description="The secret that signs the messages (whsec_...). Store it: it is not shown again.")


class WebhookList(BaseModel):
    """All webhooks of an API key."""

    model_config = ConfigDict(frozen=True, json_schema_extra={"examples": [{"webhooks": [_EXAMPLE]}]})

    webhooks: tuple[WebhookDocument, ...] = Field(description="The webhooks, oldest first.")


class RotationQuery(BaseModel):
    """The query parameters of a secret rotation."""

    model_config = ConfigDict(extra="forbid")

    overlap_hours: float = Field(
        default=24.0,
        ge=0.0,
        le=168.0,
        description="Hours for which the old secret signs messages too.",
    )


class WebhookData(JobDocument):
    """The job as it stood when the event happened."""

    printed: PrintDocument | None = Field(default=None, description="The recorded print event, for job.printed.")


class WebhookMessage(BaseModel):
    """The body of a webhook message about a job."""

    model_config = ConfigDict(frozen=True)

    type: JobEventType = Field(description="The event.")
    timestamp: datetime = Field(description="When the event happened, unlike the header webhook-timestamp.")
    data: WebhookData = Field(
        description="The job. Its links are relative paths unless DRAWERWRIGHT_PUBLIC_URL sets the service's URL."
    )


class BatchMessage(BaseModel):
    """The body of a webhook message about a batch."""

    model_config = ConfigDict(frozen=True)

    type: BatchEventType = Field(description="The event.")
    timestamp: datetime = Field(description="When the batch ended, unlike the header webhook-timestamp.")
    data: BatchOverview = Field(
        description="The batch. Its links are relative paths unless DRAWERWRIGHT_PUBLIC_URL sets the service's URL."
    )


class SilhouetteMessage(BaseModel):
    """The body of a webhook message about a silhouette."""

    model_config = ConfigDict(frozen=True)

    type: SilhouetteEventType = Field(description="The event.")
    timestamp: datetime = Field(description="When it ended, unlike the header webhook-timestamp.")
    data: SilhouetteOverview = Field(
        description="The silhouette. Its links are relative paths unless DRAWERWRIGHT_PUBLIC_URL sets the service's "
        "URL."
    )


async def read_webhook(request: Request) -> WebhookRequest:
    """Return the webhook described in the body.

    Raises:
        WebhookRefused: with every fault of the body.
    """
    return await read_noun(request, WebhookRequest, _LARGEST, WebhookRefused, "webhook")


_BODY: Final[dict[str, Any]] = {
    "requestBody": {
        "required": True,
        "content": {
            "application/json": {
                "schema": {"$ref": "#/components/schemas/WebhookRequest"},
                "examples": {
                    "final-states": {
                        "summary": "Every final state of a job",
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
    summary="Create a webhook",
    response_description="The webhook was created; its secret is shown only here.",
    responses=refusals(WebhookRefused, QuotaReached, BodyTooLarge, BodyTooSlow, BodyTypeRefused),
    openapi_extra=_BODY,
)
def create_webhook(
    request: Request,
    response: Response,
    job_service: JobServiceDep,
    webhook: Annotated[WebhookRequest, Depends(read_webhook)],
) -> NewWebhookDocument:
    """Create a webhook for the jobs, batches and silhouettes of this API key. The key needs the scope submit."""
    _check_own(request)
    job_service.http_client.check(webhook.url)
    made, secret = job_service.webhooks.create(caller_of(request).owner, webhook)
    document = NewWebhookDocument(**_fields(request, made), secret=secret.get_secret_value())
    response.headers["Location"] = document.self
    return document


@router.head("", include_in_schema=False)
@router.get("", operation_id="listWebhooks", summary="List webhooks", response_description="The webhooks.")
def list_webhooks(request: Request, job_service: JobServiceDep) -> WebhookList:
    """List the webhooks of this API key, oldest first."""
    _check_own(request)
    endpoints = job_service.webhooks.list(caller_of(request).sees)
    return WebhookList(webhooks=tuple(WebhookDocument(**_fields(request, endpoint)) for endpoint in endpoints))


@router.head("/{webhook_id}", include_in_schema=False)
@router.get(
    "/{webhook_id}",
    operation_id="getWebhook",
    summary="Get a webhook",
    responses={
        200: {
            "description": "The webhook.",
            "headers": {"ETag": {"schema": {"type": "string"}, "description": "Of the webhook as it is now."}},
        },
        **refusals(WebhookNotFound),
    },
)
def get_webhook(request: Request, response: Response, job_service: JobServiceDep, webhook_id: str) -> WebhookDocument:
    """Get a webhook and the state of its deliveries."""
    _check_own(request)
    document = _webhook_document(request, job_service, webhook_id)
    response.headers["ETag"] = _tag_of(document)
    return document


def _webhook_document(request: Request, job_service: JobService, webhook_id: str) -> WebhookDocument:
    endpoint = job_service.webhooks.find(webhook_id, caller_of(request).sees)
    return WebhookDocument(**_fields(request, endpoint))


def _tag_of(document: WebhookDocument) -> str:
    return content_tag(document.model_dump_json().encode())


def _matched(request: Request, job_service: JobServiceDep, webhook_id: str) -> None:
    """Check If-Match against the webhook.

    Raises:
        WebhookNotFound: when there is no such webhook.
        PreconditionFailed: when the webhook has changed.
    """
    _check_own(request)
    check_match(request, lambda: _tag_of(_webhook_document(request, job_service, webhook_id)))


_Matched = Annotated[None, Depends(_matched)]
_MATCHED: Final[dict[str, Any]] = {"parameters": [IF_MATCH_PARAMETER]}


@router.delete(
    "/{webhook_id}",
    status_code=HTTPStatus.NO_CONTENT,
    operation_id="removeWebhook",
    summary="Remove a webhook",
    response_description="The webhook was removed.",
    responses=refusals(WebhookNotFound, PreconditionFailed),
    response_class=Response,
    openapi_extra=_MATCHED,
)
def remove_webhook(request: Request, job_service: JobServiceDep, webhook_id: str, _: _Matched) -> None:
    """Remove a webhook and its undelivered messages."""
    _check_own(request)
    job_service.webhooks.remove(webhook_id, caller_of(request).sees)


@router.post(
    "/{webhook_id}/secret",
    operation_id="rotateWebhookSecret",
    summary="Rotate the signing secret",
    response_description="The webhook with its new secret, which is shown only here.",
    responses=refusals(WebhookNotFound, ParameterRefused, PreconditionFailed),
    openapi_extra=_MATCHED,
)
def rotate_secret(
    request: Request, job_service: JobServiceDep, webhook_id: str, query: Annotated[RotationQuery, Query()], _: _Matched
) -> NewWebhookDocument:
    """Replace the signing secret. During the overlap, messages are signed with the old secret too."""
    _check_own(request)
    hours = timedelta(hours=query.overlap_hours)
    made, secret = job_service.webhooks.rotate(webhook_id, caller_of(request).sees, hours)
    return NewWebhookDocument(**_fields(request, made), secret=secret.get_secret_value())


class DeliveryDocument(BaseModel):
    """One attempt to deliver a message."""

    model_config = ConfigDict(frozen=True, json_schema_extra={"examples": [_DELIVERY_EXAMPLE]})

    id: str = Field(description="The attempt's identifier.")
    message_id: str = Field(description="The header webhook-id: the same in all attempts at a message.")
    type: str = Field(description="The event, or webhook.test.")
    job_id: str | None = Field(description="The job of the event; null if it has none.")
    batch_id: str | None = Field(description="The batch of the event; null if it has none.")
    silhouette_id: str | None = Field(description="The silhouette of the event; null if it has none.")
    attempt: int = Field(ge=1, description="The number of the attempt at this message.")
    at: datetime = Field(description="When the attempt ended.")
    milliseconds: int = Field(ge=0, description="How long the attempt took.")
    status: int | None = Field(description="The HTTP status of the response; null if there was none.")
    problem: str | None = Field(description="Why the attempt failed; null if it succeeded.")


class DeliveryList(BaseModel):
    """The latest attempts to deliver messages to a webhook."""

    model_config = ConfigDict(frozen=True, json_schema_extra={"examples": [{"deliveries": [_DELIVERY_EXAMPLE]}]})

    deliveries: tuple[DeliveryDocument, ...] = Field(description="The attempts, newest first.")


class DeliveryQuery(BaseModel):
    """The query parameters of the delivery log."""

    model_config = ConfigDict(extra="forbid")

    limit: int = Field(default=50, ge=1, le=KEPT_DELIVERIES, description="The number of attempts.")
    after: str | None = Field(
        default=None, pattern=f"^{ID_PATTERN}$", description="The id of the last attempt of the previous page."
    )


@router.post(
    "/{webhook_id}/test",
    operation_id="testWebhook",
    summary="Send a test message",
    response_description="The attempt; `problem` says why it failed.",
    responses=refusals(WebhookNotFound),
)
def send_test(request: Request, job_service: JobServiceDep, webhook_id: str) -> DeliveryDocument:
    """Send a signed message of the type `webhook.test` at once, without retries, and return what came of it."""
    _check_own(request)
    endpoint = job_service.webhooks.find(webhook_id, caller_of(request).sees)
    return _delivery_document(job_service.webhook_delivery().test(endpoint.id))


@router.head("/{webhook_id}/deliveries", include_in_schema=False)
@router.get(
    "/{webhook_id}/deliveries",
    operation_id="listDeliveries",
    summary="List the latest deliveries",
    response_description="The latest attempts.",
    responses=refusals(WebhookNotFound, ParameterRefused),
)
def list_deliveries(
    request: Request, job_service: JobServiceDep, webhook_id: str, page: Annotated[DeliveryQuery, Query()]
) -> DeliveryList:
    """List the latest attempts to deliver messages, newest first. The last 100 of each webhook are kept."""
    _check_own(request)
    endpoint = job_service.webhooks.find(webhook_id, caller_of(request).sees)
    attempts = job_service.deliveries.latest(endpoint.id, page.limit, page.after)
    return DeliveryList(deliveries=tuple(_delivery_document(attempt) for attempt in attempts))


@router.post(
    "/{webhook_id}/deliveries/{delivery_id}/redeliver",
    status_code=HTTPStatus.ACCEPTED,
    operation_id="redeliver",
    summary="Deliver a message again",
    response_description="The attempt whose message is delivered again soon.",
    responses=refusals(WebhookNotFound, DeliveryNotFound, RedeliveryRefused),
)
def redeliver(request: Request, job_service: JobServiceDep, webhook_id: str, delivery_id: str) -> DeliveryDocument:
    """Deliver the message of an attempt again, with the same webhook-id and with retries."""
    _check_own(request)
    endpoint = job_service.webhooks.find(webhook_id, caller_of(request).sees)
    return _delivery_document(job_service.deliveries.redeliver(endpoint.id, delivery_id))


def _delivery_document(delivery: Delivery) -> DeliveryDocument:
    return DeliveryDocument(**{name: getattr(delivery, name) for name in Delivery.__slots__})


def described() -> dict[str, Any]:
    """Return the OpenAPI description of the messages, by event."""
    text = {"schema": {"type": "string"}}
    headers = [
        {
            "name": "webhook-id",
            "in": "header",
            "required": True,
            "description": "The same in every retry.",
            **text,
        },
        {
            "name": "webhook-timestamp",
            "in": "header",
            "required": True,
            "description": "Seconds since 1970.",
            **text,
        },
        {
            "name": "webhook-signature",
            "in": "header",
            "required": True,
            "description": "v1,<base64 of HMAC-SHA256 over id.timestamp.body>; two during a rotation of the secret.",
            **text,
        },
    ]
    answers = {
        "2XX": {"description": "The message was accepted."},
        "410": {"description": "The endpoint is gone: the webhook is disabled."},
        "default": {"description": "The delivery failed. It is retried up to 12 times over about 20 hours."},
    }
    return {
        event: {
            "post": {
                "operationId": f"on{''.join(word.title() for word in event.split('.'))}",
                "summary": _SUMMARIES[event],
                "description": f"{_SUMMARIES[event]} Sent to the webhooks of its API key (Standard Webhooks 1.0). "
                "Messages can arrive more than once and out of order.",
                "tags": ["webhooks"],
                "security": [],
                "parameters": headers,
                "requestBody": {"required": True, "content": _message_content(event)},
                "responses": answers,
            }
        }
        for event in EVENTS
    }


_SUMMARIES: Final[dict[EventType, str]] = {
    "job.running": "An attempt at the job has started.",
    "job.succeeded": "The job has succeeded.",
    "job.failed": "The job has failed.",
    "job.cancelled": "The job was cancelled.",
    "job.printed": "A print event was recorded.",
    "silhouette.ended": "A silhouette has been read, or could not be.",
    "batch.ended": "A batch has ended: its last job has, and the files of the whole batch are ready.",
}


def _message_content(event: EventType) -> dict[str, Any]:
    model: type[BaseModel] = WebhookMessage
    if event in BATCH_EVENTS:
        model = BatchMessage
    elif event in SILHOUETTE_EVENTS:
        model = SilhouetteMessage
    return {"application/json": {"schema": {"$ref": f"#/components/schemas/{model.__name__}"}}}


def _check_own(request: Request) -> None:
    """Raise ScopeMissing unless the key may submit jobs: the URL of an endpoint can contain a secret."""
    scopes = caller_of(request).scopes
    if not scopes & {"submit", "admin"}:
        raise ScopeMissing(value=sorted(scopes), limit="submit", remedy="Use a key with the scope submit.")


def _fields(request: Request, endpoint: WebhookEndpoint) -> dict[str, Any]:
    fields = {name: getattr(endpoint, name) for name in WebhookEndpoint.__slots__ if name != "owner"}
    return {**fields, "self": f"{base_of(request)}/v1/webhooks/{endpoint.id}"}
