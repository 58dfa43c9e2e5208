"""The base class of the models that a caller sends."""

from typing import Any, Final

from pydantic import BaseModel, ConfigDict, GetJsonSchemaHandler
from pydantic.json_schema import JsonSchemaValue
from pydantic_core import CoreSchema

#: JSON Schema's names for the bounds of a number, by pydantic's; it leaves its own on fields with a custom validator.
_BOUNDS: Final = {"ge": "minimum", "gt": "exclusiveMinimum", "le": "maximum", "lt": "exclusiveMaximum"}


class Noun(BaseModel):
    """A frozen model that refuses unknown fields."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    @classmethod
    def __get_pydantic_json_schema__(cls, core_schema: CoreSchema, handler: GetJsonSchemaHandler) -> JsonSchemaValue:
        """Rename the bounds of numbers as JSON Schema does."""
        schema = handler(core_schema)
        properties = handler.resolve_ref_schema(schema).get("properties", {})
        for name, field in properties.items():
            properties[name] = _bounded(field)
        return schema


def _bounded(schema: Any) -> Any:
    if isinstance(schema, dict):
        return {_BOUNDS.get(key, key): _bounded(value) for key, value in schema.items()}
    return [_bounded(member) for member in schema] if isinstance(schema, list) else schema
