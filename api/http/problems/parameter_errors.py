"""Faults of query, path and header parameters in the service's own words: pydantic's messages speak of Python."""

from collections.abc import Mapping
from typing import Any, Final

from api.http.problems.errors import ParameterRefused

__all__ = ["parameter_error"]

#: Message and limit by pydantic's error type; the braces are fields of the error's context.
_TEXTS: Final[Mapping[str, tuple[str, str]]] = {
    "missing": ("The parameter is required.", "a value"),
    "extra_forbidden": ("The parameter is not supported.", "a documented parameter"),
    "int_parsing": ("The value is not a whole number.", "a whole number"),
    "int_parsing_size": ("The number has too many digits.", "a whole number of fewer digits"),
    "int_type": ("The value is not a whole number.", "a whole number"),
    "float_parsing": ("The value is not a number.", "a number"),
    "finite_number": ("The value is not a finite number.", "a finite number"),
    "bool_parsing": ("The value is neither true nor false.", "true or false"),
    "greater_than_equal": ("The value is too small.", "at least {ge}"),
    "less_than_equal": ("The value is too large.", "at most {le}"),
    "string_too_short": ("The text is too short.", "at least {min_length} characters"),
    "string_too_long": ("The text is too long.", "at most {max_length} characters"),
    "string_pattern_mismatch": ("The text does not have the required form.", "a text that matches {pattern}"),
    "string_type": ("The value is not a text.", "a text"),
    "literal_error": ("The value is not one of those allowed.", "{expected}"),
    "enum": ("The value is not one of those allowed.", "{expected}"),
    "too_short": ("The parameter has too few values.", "at least {min_length}"),
    "too_long": ("The parameter has too many values.", "at most {max_length}"),
    "timezone_aware": ("The time has no time zone.", "an RFC 3339 time with an offset"),
    "datetime_from_date_parsing": ("The value is not a time.", "an RFC 3339 time with an offset"),
    "datetime_parsing": ("The value is not a time.", "an RFC 3339 time with an offset"),
}

_OTHERWISE: Final = ("The value is not valid.", "a value as the API's description has it")


def parameter_error(fault: Mapping[str, Any]) -> ParameterRefused:
    """Return the error of one faulty parameter.

    Args:
        fault: pydantic's error details: `type`, `loc`, `input`, `ctx`.
    """
    location = fault["loc"]
    name = next((step for step in reversed(location) if isinstance(step, str)), "")
    message, limit = _TEXTS.get(fault["type"], _OTHERWISE)
    if fault["type"] == "value_error":  # raised by a validator of ours, in our own words
        message = str(fault["ctx"]["error"])
    remedy = "Remove it." if fault["type"] == "extra_forbidden" else "Correct it; see /openapi.json."
    return ParameterRefused.of(
        name, message, fault.get("input"), limit=limit.format(**fault.get("ctx", {})), remedy=remedy
    )
