"""Errors about files that give no silhouette: each has a reason that programs can compare, and a remedy for people."""

from typing import Any

from worker.spec.errors import DrawerwrightError

__all__ = ["DrawingRefused", "ModelRefused", "PhotoRefused", "SilhouetteError"]


class SilhouetteError(DrawerwrightError):
    """No silhouette can be made of what was sent."""

    slug = "no-silhouette"

    def __init__(
        self,
        message: str | None = None,
        *,
        reason: str | None = None,
        pointer: str | None = None,
        value: object = None,
        limit: str | None = None,
        remedy: str | None = None,
    ) -> None:
        """Create an error.

        Args:
            message: what is wrong; the first line of the class's docstring if omitted.
            reason: short code of the cause, in lower case with hyphens, such as `too-few-markers`; it never changes.
            pointer: JSON Pointer (RFC 6901) to the faulty option.
            value: the faulty value, or the figure that was measured.
            limit: the allowed values.
            remedy: how the caller can fix it.
        """
        super().__init__(message, pointer=pointer, value=value, limit=limit, remedy=remedy)
        self.reason = reason

    def fields(self) -> dict[str, Any]:
        """Return the fields that are set, as in the problem document."""
        return super().fields() | ({} if self.reason is None else {"reason": self.reason})


class PhotoRefused(SilhouetteError):
    """The photo gives no silhouette."""

    slug = "photo-refused"


class DrawingRefused(SilhouetteError):
    """The drawing gives no silhouette."""

    slug = "drawing-refused"


class ModelRefused(SilhouetteError):
    """The model gives no silhouette."""

    slug = "model-refused"
