"""The OpenAPI document: what FastAPI derives from the routes, completed with what it cannot know."""

from collections.abc import Callable, Iterator
from threading import Lock
from typing import Any, Final, Literal, cast

import orjson
from fastapi import FastAPI, Request, Response
from fastapi.openapi.utils import get_openapi
from pydantic import BaseModel
from pydantic.json_schema import models_json_schema

from api.auth.access import calendar_of, scope_of
from api.http.problems.errors import (
    CrossSiteRefused,
    HostRefused,
    KeyRequired,
    RateExceeded,
    RecordBusy,
    RecordDamaged,
    RecordFull,
    ScopeMissing,
    ServiceNotReady,
)
from api.http.problems.problem_documents import refusals
from api.http.problems.status_codes import status_of
from api.openapi.links import add_links
from api.openapi.spec_body import SPEC_EXAMPLES
from api.routes.catalogue import CatalogueDocument
from api.routes.webhooks import BatchMessage, SilhouetteMessage, WebhookMessage, described
from worker.spec import Spec
from worker.spec.errors import DrawerwrightError
from worker.spec.manifest.examples import MANIFEST_EXAMPLES
from worker.spec.requests.batch import BatchRequest
from worker.spec.requests.household import ChangesRequest, DrawerRequest, LayoutRequest, PieceRequest, ThingRequest
from worker.spec.requests.household_document import HouseholdDocument
from worker.spec.requests.job_patch import JobPatch
from worker.spec.requests.key import KeyRequest
from worker.spec.requests.print_event import PrintEvent
from worker.spec.requests.silhouette import OutlineRequest, PolygonRequest, SilhouetteRequest
from worker.spec.requests.webhook import WebhookRequest

__all__ = ["DESCRIPTION", "VERSION", "document", "send_document"]

DESCRIPTION: Final = (
    "Drawerwright turns the tape readings of a drawer, and a list of the trays or things to keep in it, into "
    "checked, printable parts. POST a spec to /v1/jobs, follow the job at the URL in Location, then download its "
    "manifest and files. All lengths are in millimetres; a spec can also give them as text, as written on a tape. "
    "Errors are problem documents (RFC 9457). Without API keys the service accepts requests from its own machine "
    "only. With API keys every request needs one as a bearer token, and sees only the jobs of that key. The API "
    "only grows: fields and routes can be added at any time, so clients must ignore what they do not recognise. A "
    "feature that is to be removed is announced at least six months ahead by the headers Deprecation (RFC 9745) and "
    "Sunset (RFC 8594), and is never removed within one version of the API."
)

#: The version of the API, not of the program.
VERSION: Final = "1"

_TAGS: Final = [
    {"name": "jobs", "description": "Submit specs and download the parts that workers make of them."},
    {"name": "batches", "description": "Submit many specs at once, with print runs packed across all of them."},
    {"name": "prints", "description": "Record print events and follow the progress, remaining runs and schedule."},
    {"name": "webhooks", "description": "Register endpoints that receive the events of jobs."},
    {"name": "household", "description": "Keep drawers, things and printed pieces over many jobs."},
    {"name": "keys", "description": "Create, list and revoke API keys."},
    {"name": "plans", "description": "Lay out a spec without making its parts."},
    {"name": "catalogue", "description": "Look up the sizes of standard things."},
    {"name": "silhouettes", "description": "Take the shapes of things from photos, drawings and models."},
    {"name": "problems", "description": "Look up the kinds of problem that the service reports."},
    {"name": "health", "description": "Monitor the service."},
]

#: The names of the security schemes.
_KEY: Final = "key"
_LINK: Final = "schedule_link"

_TEXT: Final = {"schema": {"type": "string"}}
_RETRY_AFTER: Final = {
    "schema": {"type": "integer"},
    "description": "Seconds after which a retry can succeed; absent if waiting alone does not help.",
}

#: Headers of the responses of every operation, by status.
_HEADERS: Final[dict[str, dict[str, Any]]] = {
    "401": {"WWW-Authenticate": {**_TEXT, "description": "The authentication scheme (RFC 6750)."}},
    "403": {"WWW-Authenticate": {**_TEXT, "description": "The missing scope (RFC 6750)."}},
    "429": {
        "Retry-After": _RETRY_AFTER,
        "RateLimit": {**_TEXT, "description": "What is left (draft-ietf-httpapi-ratelimit-headers-10)."},
        "RateLimit-Policy": {**_TEXT, "description": "The quota and the window of the rate limit."},
    },
    "503": {"Retry-After": _RETRY_AFTER},
}

#: Descriptions of path parameters, which mean the same wherever they occur.
_PATH_PARAMETERS: Final = {
    "job_id": "The job's identifier.",
    "batch_id": "The batch's identifier.",
    "key_id": "The key's identifier.",
    "delivery_id": "The identifier of a delivery attempt.",
    "webhook_id": "The webhook's identifier.",
    "drawer_id": "The drawer's identifier.",
    "thing_id": "The thing's identifier.",
    "silhouette_id": "The silhouette's identifier.",
    "piece_id": "The piece's identifier.",
    "name": "The file's name in the manifest.",
    "number": "The run's number.",
}

_TEMPLATE: Final = "#/components/schemas/{model}"

_lock: Final = Lock()


def document(app: FastAPI) -> dict[str, Any]:
    """Return the OpenAPI document of the app; the first call for each app builds it, which takes about a second."""
    with _lock:
        if app.openapi_schema is None:
            app.openapi_schema = _document(app)
    return app.openapi_schema


def send_document(request: Request) -> Response:
    """Respond with the document, which names the path prefix behind a proxy. Call it outside of the event loop."""
    content = document(request.app)
    if prefix := request.scope.get("root_path", "").rstrip("/"):
        content = {**content, "servers": [{"url": prefix}]}
    return Response(orjson.dumps(content), media_type="application/json")


def _document(app: FastAPI) -> dict[str, Any]:
    made = get_openapi(
        title=app.title,
        version=app.version,
        description=app.description,
        license_info=app.license_info,
        routes=app.routes,
        tags=_TAGS,
    )
    schemas = made.setdefault("components", {}).setdefault("schemas", {})
    _drop_validation_errors(made, schemas)
    _drop_unused(made["paths"], schemas)
    for name, schema in _request_schemas().items():
        if schemas.setdefault(name, schema) != schema:
            raise ValueError(f"Two models are called {name}.")
    messages: tuple[tuple[type[BaseModel], Literal["serialization"]], ...] = (
        (WebhookMessage, "serialization"),
        (BatchMessage, "serialization"),
        (SilhouetteMessage, "serialization"),
    )
    _, webhook_schemas = models_json_schema(messages, ref_template=_TEMPLATE)
    for name, schema in webhook_schemas["$defs"].items():
        schemas.setdefault(name, schema)  # those that responses use too are there already
    _restore_examples(schemas)
    made["components"]["schemas"] = dict(sorted(schemas.items()))
    made["components"]["examples"] = SPEC_EXAMPLES
    made["webhooks"] = described()
    _describe_access(made)
    _describe_path_parameters(made["paths"])
    _drop_response_titles(made["paths"])
    add_links(made["paths"])
    return made


def _restore_examples(schemas: dict[str, Any]) -> None:
    """Take the examples of models from the models again: FastAPI removes every null from them."""
    for model in _subclasses(BaseModel):
        extra = model.model_config.get("json_schema_extra")
        schema: dict[str, Any] = {}
        if callable(extra):
            cast("Callable[[dict[str, Any]], None]", extra)(schema)
        elif extra is not None:
            schema = dict(extra)
        if "examples" in schema and model.__name__ in schemas:
            schemas[model.__name__]["examples"] = schema["examples"]
    for name, example in MANIFEST_EXAMPLES.items():
        schemas[name]["examples"] = [example]


def _subclasses(model: type[BaseModel]) -> Iterator[type[BaseModel]]:
    for subclass in model.__subclasses__():
        yield subclass
        yield from _subclasses(subclass)


def _describe_path_parameters(paths: dict[str, Any]) -> None:
    """Add the descriptions of path parameters that the routes do not describe themselves."""
    for operations in paths.values():
        for operation in operations.values():
            for parameter in operation.get("parameters", []):
                if parameter["in"] == "path":
                    parameter.setdefault("description", _PATH_PARAMETERS.get(parameter["name"]))


def _drop_response_titles(paths: dict[str, Any]) -> None:
    """Remove the titles of inline response schemas, which FastAPI generates from operation ids."""
    for operations in paths.values():
        for operation in operations.values():
            for response in operation["responses"].values():
                for content in response.get("content", {}).values():
                    content.get("schema", {}).pop("title", None)


def _describe_access(made: dict[str, Any]) -> None:
    """Add the security schemes, and to each operation its scope and the errors of authentication and rate limits."""
    made["components"]["securitySchemes"] = {
        _KEY: {
            "type": "http",
            "scheme": "bearer",
            "bearerFormat": "dw_<id>_<secret>",
            "description": "An API key, created with `drawerwright keys create`. A service without API keys accepts "
            "requests from its own machine without one.",
        },
        _LINK: {
            "type": "apiKey",
            "in": "query",
            "name": "token",
            "description": "The token in the URL that `POST /v1/jobs/{job_id}/schedule-link` returns.",
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
            errors: list[type[DrawerwrightError]] = [
                KeyRequired,
                ScopeMissing,
                HostRefused,
                ServiceNotReady,
                RecordBusy,
                RecordDamaged,
            ]
            if method not in ("get", "head"):
                errors += [CrossSiteRefused, RecordFull]
            _add_errors(operation["responses"], errors)
        for operation in operations.values():
            if path not in ("/livez", "/readyz"):
                _add_errors(operation["responses"], [RateExceeded])


def _add_errors(responses: dict[str, Any], errors: list[type[DrawerwrightError]]) -> None:
    """Add the responses of these errors to those that a route documents itself."""
    for error in errors:
        status = str(status_of(error))
        added = refusals(error)[status_of(error)]
        response = responses.setdefault(status, added)
        if f"`{error.slug}`" not in response["description"]:
            response["description"] = f"{response['description']} {added['description']}"
        if headers := _HEADERS.get(status):
            response["headers"] = {**headers, **response.get("headers", {})}


def _drop_validation_errors(made: dict[str, Any], schemas: dict[str, Any]) -> None:
    """Remove FastAPI's own validation error, with which the service never answers."""
    for path in made["paths"].values():
        for operation in path.values():
            if "HTTPValidationError" in str(operation["responses"].get("422")):
                del operation["responses"]["422"]
    for name in ("HTTPValidationError", "ValidationError"):
        schemas.pop(name, None)


def _drop_unused(roots: Any, schemas: dict[str, Any]) -> None:
    """Remove the schemas to which no reference leads from the roots, such as the operations."""
    waiting, used = [_refs(roots)], set[str]()
    while waiting:
        for name in waiting.pop() - used:
            used.add(name)
            waiting.append(_refs(schemas.get(name)))
    for name in schemas.keys() - used:
        del schemas[name]


def _refs(node: Any) -> set[str]:
    """Return the names of all schemas to which a part of the document refers."""
    if isinstance(node, dict):
        own = {node["$ref"].rpartition("/")[2]} if isinstance(node.get("$ref"), str) else set[str]()
        return own.union(*(_refs(value) for value in node.values()))
    return set[str]().union(*(_refs(item) for item in node)) if isinstance(node, list) else set()


def _request_schemas() -> dict[str, Any]:
    """Return the schemas of request bodies and of the catalogue, which no route's signature names."""
    models = (
        *(Spec, CatalogueDocument, PrintEvent, BatchRequest, JobPatch, KeyRequest, WebhookRequest, DrawerRequest),
        *(ThingRequest, PieceRequest, LayoutRequest, ChangesRequest, HouseholdDocument),
        *(SilhouetteRequest, PolygonRequest, OutlineRequest),
    )
    roots, top = models_json_schema([(model, "validation") for model in models], ref_template=_TEMPLATE)
    schemas: dict[str, Any] = top["$defs"]
    # fields with a schema of their own leave those of their types behind
    _drop_unused(list(roots.values()), schemas)
    return schemas
