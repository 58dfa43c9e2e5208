"""The contract as OpenAPI: what the framework finds, and the models that it cannot know of."""

from threading import Lock
from typing import Any, Final

import orjson
from fastapi import FastAPI, Request, Response
from fastapi.openapi.utils import get_openapi
from pydantic.json_schema import models_json_schema

from api.auth.access import calendar_of, scope_of
from api.http.errors import (
    CrossSiteRefused,
    HostRefused,
    KeyRequired,
    RateExceeded,
    RecordBusy,
    RecordFull,
    ScopeMissing,
    ServiceNotReady,
)
from api.http.problems import refusals
from api.http.status_codes import status_of
from api.openapi.links import add_links
from api.openapi.print_examples import PRINT_EXAMPLES
from api.openapi.response_examples import ANSWER_EXAMPLES, add_answer_examples
from api.openapi.spec_body import SPEC_EXAMPLES
from api.routes.catalogue import CatalogueDocument
from api.routes.webhooks import WebhookMessage, described
from worker.spec import Spec
from worker.spec.errors import DrawerwrightError
from worker.spec.requests.batch import BatchRequest
from worker.spec.requests.print_event import PrintEvent
from worker.spec.requests.webhook import WebhookRequest

__all__ = ["DESCRIPTION", "VERSION", "document", "send_document"]

DESCRIPTION: Final = (
    "From a drawer's tape readings and the trays that should stand in it to checked printable parts. "
    "POST a spec to /v1/jobs, follow the job at the address in Location, then fetch its manifest and files. "
    "Lengths are millimetres; a spec may also give them as text, as on a tape. "
    "Every error is a problem document (RFC 9457). "
    "A service without keys answers its own machine only; with keys every request needs one, as a bearer token, and "
    "shows the jobs of that key alone. "
    "What is here stays: fields and routes are added without notice, and a client passes over what it does not know. "
    "What has to go is told of at least six months ahead, by the fields Deprecation (RFC 9745) and Sunset (RFC 8594) "
    "of its answers, and never goes within one version of the contract."
)

#: Of the contract, not of the program.
VERSION: Final = "1"

#: The names of the security schemes.
_KEY: Final = "key"
_LINK: Final = "schedule_link"

_TEXT: Final = {"schema": {"type": "string"}}
_FIELDS: Final[dict[str, dict[str, Any]]] = {
    "401": {"WWW-Authenticate": {**_TEXT, "description": "How to ask (RFC 6750)."}},
    "403": {"WWW-Authenticate": {**_TEXT, "description": "The scope that is missing (RFC 6750)."}},
    "429": {
        "Retry-After": {"schema": {"type": "integer"}, "description": "Seconds, where waiting helps."},
        "RateLimit": {**_TEXT, "description": "What is left (draft-ietf-httpapi-ratelimit-headers-10)."},
        "RateLimit-Policy": {**_TEXT, "description": "Requests and window of the limit."},
    },
    "503": {"Retry-After": {"schema": {"type": "integer"}, "description": "Seconds, where waiting helps."}},
}

_TEMPLATE: Final = "#/components/schemas/{model}"


_making: Final = Lock()


def document(app: FastAPI) -> dict[str, Any]:
    """Return the OpenAPI document, made once for each app. The first time takes long."""
    with _making:
        if app.openapi_schema is None:
            app.openapi_schema = _document(app)
    return app.openapi_schema


def send_document(request: Request) -> Response:
    """Answer with the document; behind a proxy it tells under which path the service is. Not for the event loop."""
    told = document(request.app)
    if prefix := request.scope.get("root_path", "").rstrip("/"):
        told = {**told, "servers": [{"url": prefix}]}
    return Response(orjson.dumps(told), media_type="application/json")


def _document(app: FastAPI) -> dict[str, Any]:
    made = get_openapi(
        title=app.title,
        version=app.version,
        description=app.description,
        license_info=app.license_info,
        routes=app.routes,
        tags=[
            {"name": "jobs", "description": "A job makes the parts of a spec."},
            {"name": "batches", "description": "A batch is many jobs, and what they come to together."},
            {"name": "prints", "description": "What of a job is printed, and what remains."},
            {"name": "webhooks", "description": "Endpoints that are told of a key's jobs, and what they are told."},
            {"name": "plans", "description": "A plan is a job laid out in numbers."},
            {"name": "catalogue", "description": "Standard things with their sizes."},
            {"name": "problems", "description": "What can go wrong."},
            {"name": "health", "description": "For whoever watches the service."},
        ],
    )
    schemas = made.setdefault("components", {}).setdefault("schemas", {})
    _drop_frameworks_own(made, schemas)
    _drop_unused(made["paths"], schemas)
    for name, schema in _own().items():
        if schemas.setdefault(name, schema) != schema:
            raise ValueError(f"Two models are called {name}.")
    _, told = models_json_schema([(WebhookMessage, "serialization")], ref_template=_TEMPLATE)
    for name, schema in told["$defs"].items():
        schemas.setdefault(name, schema)  # the framework has those of answers already, in its own wording
    made["components"]["schemas"] = dict(sorted(schemas.items()))
    made["components"]["examples"] = SPEC_EXAMPLES | PRINT_EXAMPLES | ANSWER_EXAMPLES
    made["webhooks"] = described()
    _tell_access(made)
    add_links(made["paths"])
    add_answer_examples(made["paths"])
    return made


def _tell_access(made: dict[str, Any]) -> None:
    """Tell of each operation which scope it needs, and what whoever has it not, or asks too often, is answered."""
    made["components"]["securitySchemes"] = {
        _KEY: {
            "type": "http",
            "scheme": "bearer",
            "bearerFormat": "dw_<id>_<secret>",
            "description": "A key of `drawerwright keys create`. A service without keys needs none on its own machine.",
        },
        _LINK: {
            "type": "apiKey",
            "in": "query",
            "name": "token",
            "description": "The token in the secret address of `POST /v1/jobs/{job_id}/schedule-link`.",
        },
    }
    for path, operations in made["paths"].items():
        for method, operation in operations.items():
            scope = scope_of(method.upper(), path)
            if scope is None:
                operation["security"] = []
                continue
            link: list[dict[str, list[str]]] = [] if calendar_of(method.upper(), path) is None else [{_LINK: []}]
            operation["security"] = [{_KEY: [scope]}, *link, {}]
            told: list[type[DrawerwrightError]] = [KeyRequired, ScopeMissing, HostRefused, ServiceNotReady, RecordBusy]
            if method not in ("get", "head"):
                told += [CrossSiteRefused, RecordFull]
            _add(operation["responses"], told)
        for operation in operations.values():
            if path not in ("/livez", "/readyz"):
                _add(operation["responses"], [RateExceeded])


def _add(responses: dict[str, Any], errors: list[type[DrawerwrightError]]) -> None:
    """Tell of these errors beside those that a route tells of itself."""
    for error in errors:
        status, told = str(status_of(error)), refusals(error)[status_of(error)]
        known = responses.setdefault(status, told)
        if f"`{error.slug}`" not in known["description"]:
            known["description"] = f"{known['description']} {told['description']}"
        if fields := _FIELDS.get(status):
            known["headers"] = {**fields, **known.get("headers", {})}


def _drop_frameworks_own(made: dict[str, Any], schemas: dict[str, Any]) -> None:
    """Take out the validation error that the framework documents wherever there is a parameter, of any type."""
    for path in made["paths"].values():
        for operation in path.values():
            if "HTTPValidationError" in str(operation["responses"].get("422")):
                del operation["responses"]["422"]
    for leftover in ("HTTPValidationError", "ValidationError"):
        schemas.pop(leftover, None)


def _drop_unused(paths: dict[str, Any], schemas: dict[str, Any]) -> None:
    """Take out the models that the framework found inside others which do not spell them out."""
    waiting, used = [_refs(paths)], set[str]()
    while waiting:
        for name in waiting.pop() - used:
            used.add(name)
            waiting.append(_refs(schemas.get(name)))
    for name in schemas.keys() - used:
        del schemas[name]


def _refs(told: Any) -> set[str]:
    """Return the names of all schemas that something refers to."""
    if isinstance(told, dict):
        own = {told["$ref"].rpartition("/")[2]} if isinstance(told.get("$ref"), str) else set[str]()
        return own.union(*(_refs(one) for one in told.values()))
    return set[str]().union(*(_refs(one) for one in told)) if isinstance(told, list) else set()


def _own() -> dict[str, Any]:
    """Return the schemas of spec and catalogue, which no route's signature names."""
    _, top = models_json_schema(
        [
            (Spec, "validation"),
            (CatalogueDocument, "validation"),
            (PrintEvent, "validation"),
            (BatchRequest, "validation"),
            (WebhookRequest, "validation"),
        ],
        ref_template=_TEMPLATE,
    )
    found: dict[str, Any] = top["$defs"]
    return found
