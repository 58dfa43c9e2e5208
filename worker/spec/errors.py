"""The base class of all errors, and the errors in specs, layouts, parts and print events.

The first line of a class's docstring is its default message and the title of its problem document. An error carries a
JSON Pointer to the faulty value (RFC 6901), that value, the limit and a remedy; `problem` returns it as a problem
document (RFC 9457). `api.http.problems.status_codes` assigns the HTTP statuses.
"""

from collections.abc import Sequence
from typing import Any, ClassVar

__all__ = [
    "CheckFailed",
    "DrawerwrightError",
    "JointError",
    "LayoutError",
    "LengthError",
    "PanelError",
    "PrintRefused",
    "SpecError",
    "SpecTooLarge",
    "TrayError",
]


class DrawerwrightError(Exception):
    """An error occurred."""

    #: Last path segment of the problem type's URI.
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
        """Create an error.

        Args:
            message: what is wrong; the first line of the class's docstring if omitted.
            pointer: JSON Pointer (RFC 6901) to the faulty value.
            value: the faulty value.
            limit: the allowed values.
            remedy: how the caller can fix it.
            part: mark of the affected part.
            errors: the individual errors, if this one groups several.
        """
        self.message = message or (type(self).__doc__ or "").splitlines()[0]
        self.pointer = pointer
        self.value = value
        self.limit = limit
        self.remedy = remedy
        self.part = part
        self.errors = tuple(errors)
        super().__init__(self.message)

    def __str__(self) -> str:
        """Return the message, the structured fields and the remedy on one line."""
        details = [
            f"{name} {detail}"
            for name, detail in (
                ("at", self.pointer),
                ("got", _plain(self.value)),
                ("limit", self.limit),
                ("part", self.part),
            )
            if detail is not None
        ]
        tail = f" ({'; '.join(details)})" if details else ""
        return f"{self.message}{tail}" + (f" {self.remedy}" if self.remedy else "")

    @property
    def title(self) -> str:
        """The first line of the class's docstring: the same for every occurrence."""
        return (type(self).__doc__ or "").splitlines()[0]

    def fields(self) -> dict[str, Any]:
        """Return the fields that are set, as in the problem document."""
        fields = {
            "detail": self.message,
            "pointer": self.pointer,
            "value": _plain(self.value),
            "limit": self.limit,
            "remedy": self.remedy,
            "part": self.part,
        }
        return {name: value for name, value in fields.items() if value is not None}

    def problem(
        self, type_base: str = "/problems/", instance: str | None = None, *, status: int | None = None
    ) -> dict[str, Any]:
        """Return the problem document (RFC 9457).

        Args:
            type_base: URL prefix of the document's `type`; the slug follows it.
            instance: URL of the failed request.
            status: HTTP status of the response.
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
    """The spec is invalid."""

    slug = "invalid-spec"


class SpecTooLarge(SpecError):
    """The spec exceeds the limits of one job."""

    slug = "spec-too-large"


class LengthError(SpecError):
    """A length is invalid or out of range."""

    slug = "invalid-length"


class JointError(SpecError):
    """The joint profile cannot be printed or assembled."""

    slug = "invalid-joint"


class LayoutError(SpecError):
    """The drawer cannot be laid out."""

    slug = "no-layout"


class TrayError(LayoutError):
    """A tray cannot be made or placed."""

    slug = "invalid-tray"


class PanelError(LayoutError):
    """A panel cannot be made or placed."""

    slug = "invalid-panel"


class CheckFailed(DrawerwrightError):
    """A part failed its checks; none of its files were stored."""

    slug = "check-failed"


class PrintRefused(DrawerwrightError):
    """The print event is invalid or contradicts the job's state."""

    slug = "print-refused"


def _plain(value: object) -> object:
    """Return the value in a form that JSON can represent, cut to about one line."""
    if value is None or isinstance(value, bool):
        return value
    if isinstance(value, int):
        # some JSON writers fail beyond 64 bits, and Python does not convert integers of thousands of digits
        return value if value.bit_length() < 64 else f"a number of {value.bit_length()} bits"  # noqa: PLR2004 - 64 bits
    if isinstance(value, float):
        return value if value - value == 0.0 else _repr(value)
    if isinstance(value, list | tuple) and len(value) <= 8:  # noqa: PLR2004 - longer lists are cut below
        return [_plain(_repr(item) if isinstance(item, list | tuple) else item) for item in value]
    text = value[:200] if isinstance(value, str) else _repr(value)
    text = text.encode(errors="backslashreplace").decode()  # UTF-8 cannot encode a lone surrogate
    return text if len(text) <= 120 else f"{text[:117]}..."  # noqa: PLR2004 - about one line


def _repr(value: object) -> str:
    """Return the value's `repr`, or the name of its type if it has none."""
    try:
        return repr(value)
    except ValueError:  # it contains an integer of thousands of digits
        return f"a {type(value).__name__}"
