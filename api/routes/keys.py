"""API keys: create, list and revoke them, with the scope admin."""

from datetime import UTC, datetime
from http import HTTPStatus
from typing import Annotated, Any, Final

from fastapi import APIRouter, Depends, Request, Response
from pydantic import BaseModel, ConfigDict, Field
from pydantic.config import JsonDict

from api.app_state import JobServiceDep
from api.http.problems.errors import BodyTooLarge, BodyTooSlow, BodyTypeRefused
from api.http.problems.problem_documents import refusals
from api.http.requests.base_url import base_of
from api.http.requests.body import read_noun
from api.http.requests.preconditions import IF_MATCH_PARAMETER, check_match
from api.http.responses.ranges import content_tag
from worker.jobs.common.errors import KeyNotFound, KeyRefused, PreconditionFailed
from worker.jobs.common.principal import Quotas, Scope
from worker.jobs.job_service import JobService
from worker.jobs.records.api_keys import ApiKey
from worker.spec.requests.key import KeyRequest

__all__ = ["router"]

router = APIRouter(prefix="/v1/keys", tags=["keys"])

#: Largest body of a request to create a key, in bytes.
_LARGEST: Final = 16 * 1024

_ID: Final = "5m8w2q4r6t"
_EXAMPLE: Final[JsonDict] = {
    "id": _ID,
    "name": "shop kiosk",
    "scopes": ["kiosk"],
    "quotas": {"daily": 20},
    "state": "active",
    "created": "2026-03-07T18:42:00Z",
    "expires": None,
    "revoked": None,
    "last_used": None,
    "self": f"http://127.0.0.1:8765/v1/keys/{_ID}",
}


class KeyDocument(BaseModel):
    """An API key without its secret."""

    model_config = ConfigDict(frozen=True, json_schema_extra={"examples": [_EXAMPLE]})

    id: str = Field(description="The key's identifier, which is not secret.")
    name: str = Field(description="The name of the key's owner or purpose.")
    scopes: tuple[Scope, ...] = Field(description="The key's permissions.")
    quotas: dict[str, int] = Field(description="The quotas that differ from the defaults of the service.")
    state: str = Field(description="active, expired or revoked.")
    created: datetime = Field(description="When the key was created.")
    expires: datetime | None = Field(description="When the key expires; null: never.")
    revoked: datetime | None = Field(description="When the key was revoked.")
    last_used: datetime | None = Field(description="When the key was last used, to the hour.")
    self: str = Field(description="This key. DELETE revokes it.")


class NewKeyDocument(KeyDocument):
    """An API key with its secret, which is shown only once."""

    model_config = ConfigDict(
        frozen=True, json_schema_extra={"examples": [{**_EXAMPLE, "key": f"dw_{_ID}_{'0' * 40}"}]}
    )

    key: str = Field(description="The bearer token (dw_...). Store it: it is not shown again.")


class KeyList(BaseModel):
    """All API keys."""

    model_config = ConfigDict(frozen=True, json_schema_extra={"examples": [{"keys": [_EXAMPLE]}]})

    keys: tuple[KeyDocument, ...] = Field(description="The keys, oldest first, with expired and revoked ones.")


async def _read_key(request: Request) -> KeyRequest:
    """Return the key described in the body.

    Raises:
        KeyRefused: with every fault of the body.
    """
    return await read_noun(request, KeyRequest, _LARGEST, KeyRefused, "key")


_BODY: Final[dict[str, Any]] = {
    "requestBody": {
        "required": True,
        "content": {
            "application/json": {
                "schema": {"$ref": "#/components/schemas/KeyRequest"},
                "examples": {
                    "kiosk": {
                        "summary": "A key for a shared screen",
                        "value": {"name": "shop kiosk", "scopes": ["kiosk"], "quotas": {"daily": 20}},
                    }
                },
            }
        },
    }
}


@router.post(
    "",
    status_code=HTTPStatus.CREATED,
    operation_id="createKey",
    summary="Create an API key",
    response_description="The key was created; its secret is shown only here.",
    responses=refusals(KeyRefused, BodyTooLarge, BodyTooSlow, BodyTypeRefused),
    openapi_extra=_BODY,
)
def create_key(
    request: Request, response: Response, job_service: JobServiceDep, key: Annotated[KeyRequest, Depends(_read_key)]
) -> NewKeyDocument:
    """Create an API key. With the first key of a service every request requires one."""
    quotas = Quotas(**key.quotas.model_dump())
    made, token = job_service.keys.create(key.name, key.scopes, quotas=quotas, days=key.expires_days)
    document = NewKeyDocument(**_fields(request, made), key=token.get_secret_value())
    response.headers["Location"] = document.self
    return document


@router.head("", include_in_schema=False)
@router.get("", operation_id="listKeys", summary="List API keys", response_description="The keys.")
def list_keys(request: Request, job_service: JobServiceDep) -> KeyList:
    """List all API keys, oldest first."""
    return KeyList(keys=tuple(KeyDocument(**_fields(request, key)) for key in job_service.keys.list()))


@router.head("/{key_id}", include_in_schema=False)
@router.get(
    "/{key_id}",
    operation_id="getKey",
    summary="Get an API key",
    responses={
        200: {
            "description": "The key.",
            "headers": {"ETag": {"schema": {"type": "string"}, "description": "Of the key as it is now."}},
        },
        **refusals(KeyNotFound),
    },
)
def get_key(request: Request, response: Response, job_service: JobServiceDep, key_id: str) -> KeyDocument:
    """Get an API key, without its secret."""
    document = _key_document(request, job_service, key_id)
    response.headers["ETag"] = _tag_of(document)
    return document


def _key_document(request: Request, job_service: JobService, key_id: str) -> KeyDocument:
    return KeyDocument(**_fields(request, job_service.keys.key(key_id)))


def _tag_of(document: KeyDocument) -> str:
    return content_tag(document.model_dump_json().encode())


def _matched(request: Request, job_service: JobServiceDep, key_id: str) -> None:
    """Check If-Match against the key.

    Raises:
        KeyNotFound: when there is no such key.
        PreconditionFailed: when the key has changed.
    """
    check_match(request, lambda: _tag_of(_key_document(request, job_service, key_id)))


@router.delete(
    "/{key_id}",
    operation_id="revokeKey",
    summary="Revoke an API key",
    response_description="The revoked key.",
    responses=refusals(KeyNotFound, PreconditionFailed),
    openapi_extra={"parameters": [IF_MATCH_PARAMETER]},
)
def revoke_key(
    request: Request, job_service: JobServiceDep, key_id: str, _: Annotated[None, Depends(_matched)]
) -> KeyDocument:
    """Revoke an API key for good. Requests with it are refused within two seconds; its jobs stay."""
    return KeyDocument(**_fields(request, job_service.keys.revoke(job_service.keys.key(key_id).id)))


def _fields(request: Request, key: ApiKey) -> dict[str, Any]:
    return {
        "id": key.id,
        "name": key.name,
        "scopes": key.scopes,
        "quotas": key.quotas.limits(),
        "state": key.state(datetime.now(UTC)),
        "created": key.created,
        "expires": key.expires,
        "revoked": key.revoked,
        "last_used": key.last_used,
        "self": f"{base_of(request)}/v1/keys/{key.id}",
    }
