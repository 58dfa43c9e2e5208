"""Principals: who makes a request, with which scopes and quotas."""

from dataclasses import dataclass, fields
from typing import Final, Literal, TypeAlias, get_args

from worker.jobs.common.settings import Settings

__all__ = ["LOCAL", "SCOPES", "Principal", "Quotas", "Scope"]

Scope: TypeAlias = Literal["submit", "read", "record", "admin", "kiosk"]

SCOPES: Final[tuple[Scope, ...]] = get_args(Scope)

#: The scopes that a scope includes. The kiosk page submits, reads and records its own jobs only.
_ALLOWS: Final[dict[Scope, frozenset[Scope]]] = {
    "submit": frozenset({"submit"}),
    "read": frozenset({"read"}),
    "record": frozenset({"record"}),
    "kiosk": frozenset({"kiosk", "submit", "read", "record"}),
    "admin": frozenset(SCOPES),
}


@dataclass(frozen=True, slots=True)
class Quotas:
    """Quotas of one API key. None stands for the default in the settings, 0 for no limit."""

    #: Requests per minute.
    requests: int | None = None
    #: Jobs that are queued or running.
    waiting: int | None = None
    #: Jobs submitted per day (UTC).
    daily: int | None = None
    #: Cells in all drawers of one spec.
    cells: int | None = None
    #: Bytes of stored results.
    bytes: int | None = None

    def limits(self) -> dict[str, int]:
        """Return the quotas that are set, by name."""
        every = {quota.name: getattr(self, quota.name) for quota in fields(self)}
        return {name: value for name, value in every.items() if value is not None}

    def with_defaults(self, settings: Settings) -> "Quotas":
        """Return the quotas with those that are not set taken from the settings."""
        defaults = {
            "requests": settings.requests_per_minute,
            "waiting": settings.jobs_waiting,
            "daily": settings.jobs_a_day,
            "cells": 0,
            "bytes": settings.most_bytes,
        }
        return Quotas(**(defaults | self.limits()))


@dataclass(frozen=True, slots=True)
class Principal:
    """The owner of a request, as authentication established it."""

    #: The owner of the jobs: the id of an API key, or "local".
    owner: str
    scopes: frozenset[Scope]
    quotas: Quotas = Quotas()

    def may(self, scope: Scope) -> bool:
        """Return whether the principal's scopes include this one."""
        return any(scope in _ALLOWS[own] for own in self.scopes)

    @property
    def sees(self) -> str | None:
        """The owner whose jobs are visible; None for all owners."""
        return None if "admin" in self.scopes else self.owner


#: The principal of a service without API keys on its own machine: full access, no quotas.
LOCAL: Final = Principal("local", frozenset({"admin"}), Quotas(0, 0, 0, 0, 0))
