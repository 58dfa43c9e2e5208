"""Pages of the household's lists, and the bodies of its requests."""

from typing import Any, Final

from pydantic import BaseModel, Field

from api.http.problems.errors import BodyTooLarge, BodyTooSlow, BodyTypeRefused
from api.http.requests.revisions import REVISION_TAG
from api.http.responses.pages import PageQuery
from worker.jobs.common.errors import HouseholdRefused
from worker.jobs.common.ids import ID_PATTERN
from worker.spec.manifest import JSON_TYPE

__all__ = ["BODY_ERRORS", "LARGEST_BODY", "ListQuery", "created", "example_body", "linked_pages", "revised"]

#: Largest body of a drawer, thing or piece, in bytes: an outline has many corners.
LARGEST_BODY: Final = 128 * 1024

#: Errors of requests with a body.
BODY_ERRORS: Final = (HouseholdRefused, BodyTooLarge, BodyTooSlow, BodyTypeRefused)


class ListQuery(PageQuery):
    """The query parameters that all lists of the household share."""

    limit: int = Field(default=50, ge=1, le=200, description="The number of entries on a page.")
    after: str | None = Field(
        default=None, pattern=f"^{ID_PATTERN}$", description="The last entry of the previous page."
    )


def linked_pages(description: str) -> dict[int | str, dict[str, Any]]:
    """Return the OpenAPI response of a page with a link to the next one."""
    link = {"schema": {"type": "string"}, "description": "The next page (RFC 8288, rel=next)."}
    return {200: {"description": description, "headers": {"Link": link}}}


def revised(model: type[BaseModel], description: str) -> dict[int | str, dict[str, Any]]:
    """Return the OpenAPI response with a document and its revision."""
    return {200: {"model": model, "description": description, "headers": REVISION_TAG}}


def created(model: type[BaseModel], noun: str) -> dict[int | str, dict[str, Any]]:
    """Return the OpenAPI response with the document, revision and URL of what was added."""
    location = {"schema": {"type": "string", "format": "uri"}, "description": f"The {noun}."}
    headers = {**REVISION_TAG, "Location": location}
    return {201: {"model": model, "description": f"The {noun} was added.", "headers": headers}}


def example_body(model: str, *parameters: dict[str, Any], **examples: dict[str, Any]) -> dict[str, Any]:
    """Return the OpenAPI description of a body, which is read as bytes, and of further parameters."""
    content = {
        "schema": {"$ref": f"#/components/schemas/{model}"},
        "examples": {name: {"value": value} for name, value in examples.items()},
    }
    body = {"requestBody": {"required": True, "content": {JSON_TYPE: content}}}
    return {**body, "parameters": list(parameters)} if parameters else body
