"""Callers: who asks, what they may do, and how much."""

from dataclasses import dataclass, fields
from typing import Final, Literal, TypeAlias, get_args

from worker.jobs.common.settings import Settings

__all__ = ["LOCAL", "SCOPES", "Principal", "Quotas", "Scope"]

Scope: TypeAlias = Literal["submit", "read", "record", "admin", "kiosk"]

SCOPES: Final[tuple[Scope, ...]] = get_args(Scope)

#: What a scope allows beside itself. A kiosk's page submits, shows and records its own jobs, and nothing else.
_ALLOWS: Final[dict[Scope, frozenset[Scope]]] = {
    "submit": frozenset({"submit"}),
    "read": frozenset({"read"}),
    "record": frozenset({"record"}),
    "kiosk": frozenset({"kiosk", "submit", "read", "record"}),
    "admin": frozenset(SCOPES),
}


@dataclass(frozen=True, slots=True)
class Quotas:
    """How much one key may ask for. None leaves it to the settings; 0 sets no limit."""

    #: Requests in a minute.
    requests: int | None = None
    #: Jobs that are queued or running.
    waiting: int | None = None
    #: Jobs submitted in a day (UTC).
    daily: int | None = None
    #: Cells of all drawers of one spec.
    cells: int | None = None
    #: Bytes of results.
    bytes: int | None = None

    def limits(self) -> dict[str, int]:
        """Return those that are set, by name."""
        every = {quota.name: getattr(self, quota.name) for quota in fields(self)}
        return {name: value for name, value in every.items() if value is not None}

    def with_defaults(self, settings: Settings) -> "Quotas":
        """Return them with the settings' defaults where they say nothing."""
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
    """Somebody who asks."""

    #: Whose jobs these are: the key's id, or "local".
    owner: str
    scopes: frozenset[Scope]
    quotas: Quotas = Quotas()

    def may(self, scope: Scope) -> bool:
        """Return whether one of the scopes allows this one."""
        return any(scope in _ALLOWS[own] for own in self.scopes)

    @property
    def sees(self) -> str | None:
        """Whose jobs they see; None: everybody's."""
        return None if "admin" in self.scopes else self.owner


#: Whoever uses an open service on its own machine: its owner, and so without quotas.
LOCAL: Final = Principal("local", frozenset({"admin"}), Quotas(0, 0, 0, 0, 0))
