"""Dates with times (RFC 3339)."""

from datetime import datetime
from typing import Annotated, Any, Final, TypeAlias

from pydantic import BeforeValidator

from worker.spec.errors import SpecError
from worker.spec.primitives.pydantic_errors import refusal

__all__ = ["FIRST_YEAR", "LAST_YEAR", "Instant", "read_moment", "within_years"]

#: Range of years that every database and time zone can represent; beyond it, time zone rules are guesswork.
FIRST_YEAR: Final = 2000
LAST_YEAR: Final = 2199

_INSTANT: Final = "a date and time with its offset, as in 2026-03-01T18:00:00+01:00 (RFC 3339)"


def read_moment(value: Any, form: str) -> datetime:
    """Return the date and time, with a time zone if the text has an offset.

    Args:
        value: the text, or a datetime, which is returned as it is.
        form: the required form, for the error's limit.

    Raises:
        ValueError: a `SpecError` in pydantic's form, if the value is not a date and time.
    """
    if isinstance(value, datetime):
        return value
    refused = refusal(
        SpecError(
            "The value is not a date and time.",
            value=value,
            limit=form,
            remedy='Write "2026-03-01T18:00:00+01:00".',
        )
    )
    if not isinstance(value, str) or "T" not in value:
        raise refused
    try:
        return datetime.fromisoformat(value)
    except ValueError:
        raise refused from None


def within_years(moment: datetime) -> bool:
    """Return whether the year is within the supported range."""
    return FIRST_YEAR <= moment.year <= LAST_YEAR


def _instant(value: Any) -> datetime:
    moment = read_moment(value, _INSTANT)
    if moment.tzinfo is None or not within_years(moment):
        error = SpecError(
            "The value is not a date and time with a UTC offset.",
            value=value, limit=_INSTANT, remedy='Write "2026-03-01T18:00:00+01:00".',
        )  # fmt: skip
        raise refusal(error)
    return moment


#: A date and time with its UTC offset.
Instant: TypeAlias = Annotated[datetime, BeforeValidator(_instant)]
