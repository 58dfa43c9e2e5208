"""Every error that a caller can cause, in one tree.

A class's docstring is its default message and the title of its problem document. An error carries a JSON Pointer to
the faulty value (RFC 6901), that value, the limit and a remedy; `problem` returns it as a problem document (RFC 9457).
Which HTTP status a kind of error has is decided in `api.http.status_codes`.
"""

from collections.abc import Sequence
from typing import Any, ClassVar

__all__ = [
    "CheckFailed",
    "DrawerwrightError",
    "JointError",
    "LayoutError",
    "LengthError",
    "PrintRefused",
    "SpecError",
    "SpecTooLarge",
    "TrayError",
]


class DrawerwrightError(Exception):
    """Something went wrong."""

    #: The last part of the problem's type.
    slug: ClassVar[str] = "error"

    def __init__(
        self,
        message: str | None = None,
        *,
        pointer: str | None = None,
        value: object = None,
        limit: str | None = None,
        remedy: str | None = None,
        part: str | None = None,
        errors: Sequence["DrawerwrightError"] = (),
    ) -> None:
        """Keep the fields; without a message the class's docstring speaks."""
        self.message = message or (type(self).__doc__ or "").splitlines()[0]
        self.pointer = pointer
        self.value = value
        self.limit = limit
        self.remedy = remedy
        self.part = part
        self.errors = tuple(errors)
        super().__init__(self.message)

    def __str__(self) -> str:
        """Say it in one line, with what is known."""
        facts = [
            f"{name} {fact}"
            for name, fact in (
                ("at", self.pointer),
                ("got", _plain(self.value)),
                ("limit", self.limit),
                ("part", self.part),
            )
            if fact is not None
        ]
        tail = f" ({'; '.join(facts)})" if facts else ""
        return f"{self.message}{tail}" + (f" {self.remedy}" if self.remedy else "")

    @property
    def title(self) -> str:
        """The class's docstring: the same for every occurrence."""
        return (type(self).__doc__ or "").splitlines()[0]

    def fields(self) -> dict[str, Any]:
        """Return the structured fields that are set."""
        known = {
            "detail": self.message,
            "pointer": self.pointer,
            "value": _plain(self.value),
            "limit": self.limit,
            "remedy": self.remedy,
            "part": self.part,
        }
        return {name: fact for name, fact in known.items() if fact is not None}

    def problem(
        self, type_base: str = "/problems/", instance: str | None = None, *, status: int | None = None
    ) -> dict[str, Any]:
        """Return the problem document (RFC 9457).

        Args:
            type_base: the URL before the slug in the document's `type`.
            instance: the URL of the request that failed.
            status: the HTTP status of the response; the error itself knows none.
        """
        document: dict[str, Any] = {"type": f"{type_base}{self.slug}", "title": self.title}
        if status is not None:
            document["status"] = int(status)
        document |= self.fields()
        if instance is not None:
            document["instance"] = instance
        if self.errors:
            document["errors"] = [error.fields() for error in self.errors]
        return document


class SpecError(DrawerwrightError):
    """The spec cannot be used as it stands."""

    slug = "invalid-spec"


class SpecTooLarge(SpecError):
    """The spec asks for more than one job may."""

    slug = "spec-too-large"


class LengthError(SpecError):
    """A length is not readable or out of bounds."""

    slug = "invalid-length"


class JointError(SpecError):
    """The joint's profile cannot be printed or assembled."""

    slug = "invalid-joint"


class LayoutError(SpecError):
    """The drawer cannot be laid out."""

    slug = "no-layout"


class TrayError(LayoutError):
    """A tray cannot be made or placed."""

    slug = "invalid-tray"


class CheckFailed(DrawerwrightError):
    """A part did not pass its checks; nothing of it was stored."""

    slug = "check-failed"


class PrintRefused(DrawerwrightError):
    """What was said of a print cannot be so."""

    slug = "print-refused"


def _plain(value: object) -> object:
    """Return the value as JSON can carry it, cut short."""
    if value is None or isinstance(value, bool):
        return value
    if isinstance(value, int):
        # some JSON writers stop at 64 bits, and Python writes out no integer of thousands of digits
        return value if value.bit_length() < 64 else f"a number of {value.bit_length()} bits"  # noqa: PLR2004 - as said
    if isinstance(value, float):
        return value if value - value == 0.0 else _written(value)
    if isinstance(value, list | tuple) and len(value) <= 8:  # noqa: PLR2004 - long values are cut below
        return [_plain(one) if not isinstance(one, list | tuple) else _plain(_written(one)) for one in value]
    text = value[:200] if isinstance(value, str) else _written(value)
    text = text.encode(errors="backslashreplace").decode()  # a lone surrogate is no UTF-8
    return text if len(text) <= 120 else f"{text[:117]}..."  # noqa: PLR2004 - a line


def _written(value: object) -> str:
    try:
        return repr(value)
    except ValueError:  # somewhere in it is an integer of thousands of digits
        return f"a {type(value).__name__}"
