"""Requests for API keys."""

from typing import Annotated, Literal

from pydantic import AfterValidator, Field

from worker.spec.errors import SpecError
from worker.spec.primitives.model import Noun
from worker.spec.primitives.names import Count, Name
from worker.spec.primitives.pydantic_errors import refusal

__all__ = ["KeyQuotas", "KeyRequest"]


def _each_once(scopes: tuple[str, ...]) -> tuple[str, ...]:
    if len(set(scopes)) != len(scopes):
        error = SpecError(
            "A scope is listed twice.",
            value=list(scopes), limit="each scope once", remedy="Remove the duplicate.",
        )  # fmt: skip
        raise refusal(error)
    return scopes


_Quota = Annotated[Count, Field(ge=0, le=2**53)] | None


class KeyQuotas(Noun):
    """Quotas of a key. Null: the default of the service; 0: no limit."""

    requests: _Quota = Field(default=None, description="Requests per minute.")
    waiting: _Quota = Field(default=None, description="Jobs queued or running at once.")
    daily: _Quota = Field(default=None, description="Jobs per day (UTC).")
    cells: _Quota = Field(default=None, description="Grid cells of one spec; 0: the limit of the service.")
    bytes: _Quota = Field(default=None, description="Bytes of stored results.")


class KeyRequest(Noun):
    """A key to create."""

    name: Name = Field(description="Name of the key's owner or purpose.")
    scopes: Annotated[
        tuple[Literal["submit", "read", "record", "admin", "kiosk"], ...],
        Field(min_length=1),
        AfterValidator(_each_once),
    ] = Field(description="Permissions of the key.", json_schema_extra={"uniqueItems": True})
    expires_days: Annotated[Count, Field(ge=1, le=36_500)] | None = Field(
        default=None, description="Days after which the key expires; null: never."
    )
    quotas: KeyQuotas = Field(default=KeyQuotas(), description="Quotas of the key.")
