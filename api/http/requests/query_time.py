"""Times in query parameters."""

from typing import Annotated, TypeAlias

from pydantic import AwareDatetime, BeforeValidator

__all__ = ["QueryTime"]


def _dated(value: object) -> object:
    if isinstance(value, str) and "T" not in value.upper():
        raise ValueError("use the format of RFC 3339, such as 2026-03-07T18:42:00Z")
    return value


#: A date and time. A bare number is refused: pydantic would read it as seconds since 1970.
QueryTime: TypeAlias = Annotated[AwareDatetime, BeforeValidator(_dated)]
