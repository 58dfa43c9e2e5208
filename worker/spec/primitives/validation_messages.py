"""Our own wording of pydantic's validation errors: message, limit and remedy for every error type.

`spec_error` is the only place where an error of pydantic becomes one of ours; no text of pydantic reaches a caller.
"""

from typing import Any, Final, NamedTuple

from pydantic_core import ErrorDetails

from worker.spec.errors import SpecError
from worker.spec.primitives.pydantic_errors import CARRIED

__all__ = ["MESSAGES", "Message", "spec_error"]


class Message(NamedTuple):
    """Texts for one error type. ``limit`` is a format string over the context of pydantic's error."""

    message: str
    limit: str
    remedy: str


_NUMBER: Final = Message("The value must be a number.", "a JSON number", "Write it without quotes, as in 12 or 0.5.")
_INTEGER: Final = Message(
    "The value must be a whole number.", "a whole number", "Write it without quotes or decimals, as in 3."
)
_BOOLEAN: Final = Message("The value must be true or false.", "true or false", "Write true or false without quotes.")
_TEXT: Final = Message("The value must be text.", "a JSON string", "Put it in double quotes.")
_LIST: Final = Message("The value must be a list.", "a JSON array", "Write the items in square brackets, as in [1, 2].")
_OBJECT: Final = Message(
    "The value must be an object.", "a JSON object", 'Write the fields in braces, as in {"name": "a"}.'
)
_DATE_TIME: Final = Message(
    "The value must be a date and time with its UTC offset.",
    "a date and time (RFC 3339)",
    'Write it as in "2026-03-01T18:00:00+01:00".',
)
_NULL: Final = Message("The value must be null.", "null", "Write null, or leave the field out.")
_CHOICE: Final = Message("The value is not one of those allowed.", "{expected}", "Use one of the values in the limit.")
_TOO_SMALL: Final = Message("The number is too small.", "at least {ge:g}", "Use a larger number.")
_TOO_LARGE: Final = Message("The number is too large.", "at most {le:g}", "Use a smaller number.")
_SHAPE: Final = Message("The kind of shape is unknown.", "{expected}", "Use one of the kinds in the limit.")

#: The values of each field that tells kinds of shapes apart.
_TAGS: Final = {"shape": "circle, rectangle or polygon", "kind": "box, cylinder, polygon or standard"}

#: Text for the error types that no model of the contract can raise.
_OTHER: Final = Message(
    "The value is not valid for this field.",
    "a value of the published schema",
    "Compare the field with the schema in openapi/openapi.json.",
)

#: The texts by pydantic's error type.
MESSAGES: Final = {
    **dict.fromkeys(("float_type", "float_parsing"), _NUMBER),
    **dict.fromkeys(("int_type", "int_parsing", "int_from_float"), _INTEGER),
    **dict.fromkeys(("bool_type", "bool_parsing"), _BOOLEAN),
    **dict.fromkeys(("string_type", "string_sub_type"), _TEXT),
    **dict.fromkeys(("tuple_type", "list_type", "iterable_type"), _LIST),
    **dict.fromkeys(("model_type", "model_attributes_type", "dict_type", "mapping_type"), _OBJECT),
    **dict.fromkeys(
        (
            "datetime_type",
            "datetime_parsing",
            "datetime_object_invalid",
            "datetime_from_date_parsing",
            "timezone_aware",
        ),
        _DATE_TIME,
    ),
    **dict.fromkeys(("literal_error", "enum"), _CHOICE),
    "none_required": _NULL,
    "int_parsing_size": _INTEGER._replace(
        message="The number has too many digits.", limit="a whole number of at most 19 digits"
    ),
    "finite_number": _NUMBER._replace(message="The number must be finite.", limit="a finite number"),
    "string_unicode": _TEXT._replace(
        message="The text is not valid Unicode.",
        limit="valid UTF-8",
        remedy="Remove lone surrogates (\\ud800 to \\udfff).",
    ),
    "greater_than_equal": _TOO_SMALL,
    "greater_than": _TOO_SMALL._replace(limit="over {gt:g}"),
    "less_than_equal": _TOO_LARGE,
    "less_than": _TOO_LARGE._replace(limit="under {lt:g}"),
    "too_long": Message("The list has too many items.", "at most {max_length} items", "Shorten the list."),
    "too_short": Message("The list has too few items.", "at least {min_length} items", "Add the missing items."),
    "string_too_long": Message("The text is too long.", "at most {max_length} characters", "Shorten the text."),
    "string_too_short": Message("The text is too short.", "at least {min_length} characters", "Write a longer text."),
    "string_pattern_mismatch": Message(
        "The text does not have the required form.", "text that matches {pattern}", "Change the text to that form."
    ),
    "invalid_key": Message("A field name must be text.", "a JSON string", "Put the name in double quotes."),
    "union_tag_invalid": _SHAPE,
    "union_tag_not_found": _SHAPE._replace(
        message="The field is required.", remedy="Add it, with one of the kinds in the limit."
    ),
    "missing": Message("The field is required.", "required", "Add the field."),
    "extra_forbidden": Message("The field is not known.", "known fields", "Remove it."),
}


def spec_error(error: ErrorDetails, pointer: str) -> SpecError:
    """Return pydantic's error as ours, with pointer, value, limit and remedy.

    Args:
        error: the error; one that carries a `SpecError` of our own is unpacked.
        pointer: JSON Pointer (RFC 6901) of the value in the caller's document.
    """
    context: dict[str, Any] = error.get("ctx", {})
    carried = context.get(CARRIED)
    if isinstance(carried, SpecError):
        carried.pointer = pointer
        return carried
    kind = error["type"]
    text, value = MESSAGES.get(kind, _OTHER), error["input"]
    if kind == "missing":
        name = error["loc"][-1]
        if isinstance(name, int):
            text = text._replace(message=f"The list has no item {name}.", remedy="Add the missing items.")
        else:
            text = text._replace(remedy=f'Add "{name}".')
        value = None  # pydantic gives the whole object
    elif kind in {"union_tag_invalid", "union_tag_not_found"}:
        tag = str(context["discriminator"]).strip("'")
        pointer, value = f"{pointer}/{tag}", value.get(tag)
        context = {"expected": _TAGS[tag]}
        if value is None:
            text = MESSAGES["union_tag_not_found"]
    elif "expected" in context:
        context = {**context, "expected": str(context["expected"]).replace("'", '"')}
    return SpecError(text.message, pointer=pointer, value=value, limit=_limit(text.limit, context), remedy=text.remedy)


def _limit(template: str, context: dict[str, Any]) -> str:
    limit = template.format(**context)
    return limit.removesuffix("s") if limit.endswith((" 1 items", " 1 characters")) else limit
