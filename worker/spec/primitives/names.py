"""Field types for names, labels, counts, plain numbers and grid positions."""

import unicodedata
from collections.abc import Callable
from typing import Annotated, Any, Final, TypeAlias

from pydantic import AfterValidator, BeforeValidator, Field

from worker.spec.errors import SpecError
from worker.spec.primitives.pydantic_errors import refusal

__all__ = [
    "ID_PATTERN",
    "Cells",
    "Count",
    "HouseholdId",
    "Label",
    "Name",
    "Note",
    "Number",
    "Position",
    "complete_or_by_id",
]

#: A regular expression for an id that the service gives, without anchors.
ID_PATTERN: Final = "[0-9a-hjkmnp-tv-z]{26}"

#: Unicode categories without a visible character: controls, surrogates, line and paragraph separators.
_UNSHOWN: Final = frozenset({"Cc", "Cs", "Zl", "Zp"})
#: Bidirectional control characters, which can disguise a name.
_TURNING: Final = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")


def _shown(text: str) -> str:
    if text.isprintable() and text.strip():
        return text
    for place, sign in enumerate(text):
        if unicodedata.category(sign) in _UNSHOWN or sign in _TURNING:
            message = f"Character {place + 1} is a control character."
            raise refusal(SpecError(message, value=text, limit="printable characters", remedy="Remove the character."))
    if text and not text.strip():
        error = SpecError(
            "The text is blank.",
            value=text, limit="at least one visible character", remedy="Write a name.",
        )  # fmt: skip
        raise refusal(error)
    return text


def _json_number(value: Any) -> Any:
    if type(value) is int or type(value) is float:
        return value
    # pydantic's lax mode accepts "5" and true as numbers, and its strict mode refuses 5.0 as a count
    if isinstance(value, bool | str | bytes):
        error = SpecError(
            "The value must be a number.",
            value=value, limit="a JSON number", remedy="Write it without quotes, as in 12 or 0.5.",
        )  # fmt: skip
        raise refusal(error)
    return value


def _halves(value: float) -> float:
    if value * 2.0 != round(value * 2.0):
        error = SpecError(
            "The value is not a whole number of half cells.",
            value=value, limit="a multiple of 0.5", remedy="Round it to whole or half cells.",
        )  # fmt: skip
        raise refusal(error)
    return value + 0.0  # minus zero is zero


Name: TypeAlias = Annotated[str, Field(strict=True, min_length=1, max_length=80), AfterValidator(_shown)]
#: One or two lines of text for people.
Note: TypeAlias = Annotated[str, Field(strict=True, min_length=1, max_length=200), AfterValidator(_shown)]
#: Text that is printed onto a part.
Label: TypeAlias = Annotated[str, Field(strict=True, min_length=1, max_length=40), AfterValidator(_shown)]
#: Bounds listed before this validator are checked by pydantic itself, which is faster.
_IS_NUMBER: Final = BeforeValidator(_json_number)
_Finite: TypeAlias = Annotated[float, Field(allow_inf_nan=False)]
Count: TypeAlias = Annotated[int, _IS_NUMBER]
Number: TypeAlias = Annotated[_Finite, _IS_NUMBER]
#: Side of a tray, in cells.
Cells: TypeAlias = Annotated[_Finite, Field(ge=0.5, le=40.0), _IS_NUMBER, AfterValidator(_halves)]
#: Grid position, in cells from the origin of the grid.
Position: TypeAlias = Annotated[_Finite, Field(ge=0.0, le=250.0), _IS_NUMBER, AfterValidator(_halves)]
#: Id of a drawer or thing of the household.
HouseholdId: TypeAlias = Annotated[str, Field(strict=True, pattern=f"^{ID_PATTERN}$")]


def complete_or_by_id(*names: str) -> Callable[[dict[str, Any]], None]:
    """Return a change of a model's JSON Schema: these fields are required unless the field `id` is given.

    The model itself requires them: a service has filled them in from the household by then.
    """

    def change(schema: dict[str, Any]) -> None:
        required = [name for name in schema.pop("required", ()) if name not in names]
        schema |= {"required": required} if required else {}
        schema |= {"if": {"required": ["id"], "properties": {"id": {"type": "string"}}}, "then": True}
        schema["else"] = {"required": list(names)}

    return change
