"""How the routes that take a spec are documented."""

from typing import Any, Final

from api.openapi.examples import document, names

__all__ = ["SPEC_BODY", "SPEC_EXAMPLES"]

#: The request body, for a route's `openapi_extra`: it is read as bytes, so the framework knows nothing of it.
SPEC_BODY: Final[dict[str, Any]] = {
    "requestBody": {
        "required": True,
        "content": {
            "application/json": {
                "schema": {"$ref": "#/components/schemas/Spec"},
                "examples": {name: {"$ref": f"#/components/examples/{name}"} for name in names()},
            }
        },
    }
}

#: The examples that it refers to, by name.
SPEC_EXAMPLES: Final[dict[str, Any]] = {
    name: {"summary": f"{document(name)['name']}, see openapi/examples/{name}.json", "value": document(name)}
    for name in names()
}
