"""Moments: a date and time as a caller writes it (RFC 3339)."""

from datetime import datetime
from typing import Any, Final

from worker.spec.errors import SpecError
from worker.spec.primitives.pydantic_errors import refusal

__all__ = ["FIRST_YEAR", "LAST_YEAR", "read_moment", "within_years"]

#: Years that a moment can be of: what any database and time zone can hold. Further off a calendar of weeks, zones and
#: leap days is guesswork.
FIRST_YEAR: Final = 2000
LAST_YEAR: Final = 2199


def read_moment(value: Any, form: str) -> datetime:
    """Return the moment, with a zone if it says one.

    Raises:
        ValueError: pydantic's form of a `SpecError`, which names the ``form`` that it must have.
    """
    if isinstance(value, datetime):
        return value
    refused = refusal(SpecError("This is no date and time.", value=value, limit=form))
    if not isinstance(value, str) or "T" not in value:
        raise refused
    try:
        return datetime.fromisoformat(value)
    except ValueError:
        raise refused from None


def within_years(moment: datetime) -> bool:
    """Say whether its year is one that a moment can be of."""
    return FIRST_YEAR <= moment.year <= LAST_YEAR
