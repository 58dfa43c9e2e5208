"""Names, counts and plain numbers: the fields that are no lengths."""

import unicodedata
from typing import Annotated, Any, Final, TypeAlias

from pydantic import AfterValidator, BeforeValidator, Field

from worker.spec.errors import SpecError
from worker.spec.primitives.pydantic_errors import refusal

__all__ = ["Cells", "Count", "Label", "Name", "Note", "Number", "Position"]

#: Unicode categories that no printed name can show: controls, surrogates, line and paragraph separators.
_UNSHOWN: Final = frozenset({"Cc", "Cs", "Zl", "Zp"})
#: Marks that turn the direction of what follows, and so can disguise a name.
_TURNING: Final = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")


def _shown(text: str) -> str:
    if text.isprintable() and text.strip():
        return (
            text  # it has no sign of another category than letters, marks, numbers, punctuation, symbols and the space
        )
    for place, sign in enumerate(text):
        if unicodedata.category(sign) in _UNSHOWN or sign in _TURNING:
            message = f"Character {place + 1} is a control character."
            raise refusal(SpecError(message, value=text, limit="printable characters", remedy="Leave it out."))
    if text and not text.strip():
        raise refusal(SpecError("This is blank.", value=text, limit="at least one visible character"))
    return text


def _no_text_or_truth(value: Any) -> Any:
    if type(value) is int or type(value) is float:
        return value
    # pydantic's lax numbers take "5" and true, its strict ones refuse 5.0 as a count
    if isinstance(value, bool | str | bytes):
        raise refusal(SpecError("This must be a number.", value=value, limit="a JSON number"))
    return value


def _halves(value: float) -> float:
    if value * 2.0 != round(value * 2.0):
        raise refusal(SpecError("Cells come whole or in halves.", value=value, limit="a multiple of 0.5"))
    return value + 0.0  # minus zero is zero


Name: TypeAlias = Annotated[str, Field(strict=True, min_length=1, max_length=80), AfterValidator(_shown)]
#: A line or two for people.
Note: TypeAlias = Annotated[str, Field(strict=True, min_length=1, max_length=200), AfterValidator(_shown)]
#: Text that is printed onto a part.
Label: TypeAlias = Annotated[str, Field(strict=True, min_length=1, max_length=40), AfterValidator(_shown)]
#: Bounds that stand before it are checked by pydantic itself, which takes less time than a call of ours for each.
_IS_NUMBER: Final = BeforeValidator(_no_text_or_truth)
_Finite: TypeAlias = Annotated[float, Field(allow_inf_nan=False)]
Count: TypeAlias = Annotated[int, _IS_NUMBER]
Number: TypeAlias = Annotated[_Finite, _IS_NUMBER]
#: A side of a tray in cells.
Cells: TypeAlias = Annotated[_Finite, Field(ge=0.5, le=40.0), _IS_NUMBER, AfterValidator(_halves)]
#: A place on the grid, in cells from the lattice's origin.
Position: TypeAlias = Annotated[_Finite, Field(ge=0.0, le=250.0), _IS_NUMBER, AfterValidator(_halves)]
